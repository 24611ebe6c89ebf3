"""The editor knows every kind of test: each is shown, ticked, and read back as it was."""

import re

import pytest

from coldtake.domain import criterion as c
from coldtake.errors import InputError
from coldtake.web.forms.criteria import editor_of, read_criterion
from coldtake.web.forms.thresholds import thresholds
from making import one_of_each

SPECIAL = (
    c.TuneTest(tolerance_cents=15, a4_hz=442),  # the editor does not show A4, and keeps it
    c.TempoTest(mark=72, beat_unit_beats=0.75),  # a beat that it does not offer
    c.ChangesTest(choruses=2, lowest=60, highest=84),
    c.ConditionsTest(stated=("standing", "in the hall")),
)


def sent(editor) -> dict[str, str]:
    """What a browser sends of an editor that nobody touched."""
    form = {**editor.fields, **dict.fromkeys(editor.ticked, "1")}
    return form | {f"condition {words}": "1" for words in editor.stated}


@pytest.mark.parametrize("test", [*one_of_each(), *SPECIAL], ids=lambda t: c.tag_of(type(t)))
def test_a_test_is_read_back_as_it_was(test):
    assert read_criterion(sent(editor_of(c.Criterion(tests=(test,))))).tests == (test,)


@pytest.mark.parametrize("tag", c.KINDS)
def test_every_threshold_is_read_and_shown(tag):
    entered = {t.name: t.text(t.most or True) for t in thresholds(c.KINDS[tag])}
    form = {"conditions_more": "in the hall"} if tag == "conditions" else {"own_words": "Why"}
    criterion = read_criterion({**entered, tag: "1", **form})
    assert {k: v for k, v in editor_of(criterion).fields.items() if k in entered} == entered
    for one in thresholds(c.KINDS[tag]):
        if one.shape in ("number", "whole", "choice"):
            with pytest.raises(InputError, match="not allowed"):
                read_criterion({**entered, tag: "1", one.name: f"{one.most + 1:g}"})


def test_the_beat_that_is_not_offered_is_shown_and_a4_is_carried(client, desk):
    step = desk.step(desk.topic(), criterion=c.Criterion(tests=SPECIAL[:2]))
    page = client.get(f"/steps/{step.id}").text
    assert "<option selected>0.75</option>" in page
    assert '<input type="hidden" name="tune_a4_hz" value="442">' in page


def test_the_page_shows_each_kind(client, desk):
    page = client.get(f"/steps/{desk.step(desk.topic()).id}").text
    shown = set(re.findall(r'name="(\w+)" value="1"', page)) | {
        "conditions" for _ in re.findall(r'name="conditions_more"', page)
    }
    assert set(c.KINDS) <= shown

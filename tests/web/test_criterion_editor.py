"""The editor knows every kind of test: each is shown, ticked, and read back as it was."""

import re

import pytest

from coldtake.domain import criterion as c
from coldtake.web.forms.criteria import editor_of, read_criterion

EACH = (
    c.NotesTest(allowed=2),
    c.TempoTest(mark=72, beat_unit_beats=1.5, within_percent=5),
    c.SteadinessTest(change_percent=4),
    c.TimingTest(tolerance_ms=40, share_percent=80),
    c.EvennessTest(deviation_ms=20),
    c.TuneTest(tolerance_cents=15, share_percent=85),
    c.NoStopsTest(hesitation_beats=0.5),
    c.RhythmTest(swing=1.5),
    c.ChangesTest(choruses=2, lowest=60, highest=84),
    c.ConditionsTest(stated=("standing", "in the hall")),
    c.OwnQuestionTest(question="Does it sing"),
)


@pytest.mark.parametrize("test", EACH, ids=lambda t: t.__struct_config__.tag)
def test_a_test_is_read_back_as_it_was(test):
    editor = editor_of(c.Criterion(tests=(test,)))
    form = {**editor.fields, **dict.fromkeys(editor.ticked, "1")}
    form |= {f"condition {words}": "1" for words in editor.stated}
    assert read_criterion(form).tests == (test,)


def test_these_are_all_kinds_and_the_page_shows_each(client, desk):
    assert {t.__struct_config__.tag for t in EACH} == set(c.CriterionKind)
    page = client.get(f"/steps/{desk.step(desk.topic()).id}").text
    shown = set(re.findall(r'name="(\w+)" value="1"', page)) | {
        "conditions" for _ in re.findall(r'name="conditions_more"', page)
    }
    assert set(c.CriterionKind) <= shown

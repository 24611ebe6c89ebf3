"""What is declared once is declared whole: every kind has its parts in every layer."""

import json
from pathlib import Path

import pytest

from coldtake.domain.criterion import KINDS, Criterion, PlayerTest
from coldtake.domain.criterion_words import WORDS, question, words_of
from coldtake.domain.topic import TopicKind
from coldtake.listening.verdict.measures import MEASURES
from coldtake.practice.topics.proposals.asks import AnyAsk
from coldtake.web.forms.criteria import LINES
from coldtake.web.forms.proposal_form import WAYS
from coldtake.web.forms.thresholds import Shape, thresholds
from making import one_of_each

SCHEMA = Path(__file__).parents[1] / "docs" / "log.schema.json"


def test_every_kind_of_test_has_its_words_and_what_measures_it():
    heard = {kind for kind in KINDS.values() if not issubclass(kind, PlayerTest)}
    assert set(WORDS) == set(KINDS.values())
    assert set(MEASURES) == heard
    assert [line.tag for line in LINES] == [tag for tag, kind in KINDS.items() if kind in heard]


@pytest.mark.parametrize("test", one_of_each(), ids=lambda t: type(t).__name__)
def test_a_test_says_itself_in_the_question(test):
    said = words_of(test)
    assert said
    assert "{" not in said
    assert question(Criterion(tests=(test,))).lower().startswith(said.lower())


@pytest.mark.parametrize("tag", KINDS)
def test_every_threshold_has_a_label_a_unit_and_a_usual_value_that_may_be_entered(tag):
    kind = KINDS[tag]
    assert {t.key for t in thresholds(kind)} == set(WORDS[kind].labels)
    for one in thresholds(kind):
        assert one.label
        if one.shape in (Shape.NUMBER, Shape.WHOLE, Shape.CHOICE):
            assert one.unit, one
            assert one.least < one.most, one
            assert one.optional or one.least <= float(one.first) <= one.most, one
        if one.choices:
            assert all(one.least <= float(value) <= one.most for value in one.choices)


def test_the_published_schema_has_every_kind_with_its_units():
    known = json.loads(SCHEMA.read_text(encoding="utf-8"))["$defs"]
    for tag, kind in KINDS.items():
        told = json.dumps(known[kind.__name__])
        assert f'"{tag}"' in told
        for one in thresholds(kind):
            assert f'"{one.key}"' in told
            assert not one.unit or f'"unit": "{one.unit}"' in told, one


def test_every_kind_of_proposal_has_a_form_and_every_kind_of_topic_a_proposal():
    assert set(WAYS) == {str(ask.__struct_config__.tag) for ask in AnyAsk.__args__}
    assert set(TopicKind) - {TopicKind.OTHER} <= set(WAYS)

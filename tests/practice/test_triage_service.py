"""Triage decided: one append, within the limit, and taken back."""

import pytest

from coldtake.domain import events as ev
from coldtake.domain.criterion import default_criterion
from coldtake.domain.topic import Place, Step
from coldtake.errors import NotFoundError, RuleError


@pytest.fixture
def topics(services):
    """Two current topics with a step, one waiting, one laid aside."""
    made = [services.pile.add(t) for t in ("One", "Two", "Three", "Four")]
    for topic in made[:2]:
        services.pile.place(topic.id, Place.CURRENT)
        services.pile.keep_step(
            Step(
                id=services.log.new_id(),
                topic_id=topic.id,
                title="A step",
                criterion=default_criterion(),
            )
        )
    services.pile.place(made[3].id, Place.LAID_ASIDE)
    return [t.id for t in made]


def places(services):
    return [t.place for t in services.state().topics.values()]


W, C, A = Place.WAITING, Place.CURRENT, Place.LAID_ASIDE


def test_a_decision_is_one_append_of_what_moves(services, topics):
    before = services.store.last_sequence()
    moved = services.triage.decide(dict(zip(topics, (A, C, C, A), strict=True)))
    assert moved == 2
    assert places(services) == [A, C, C, A]
    new = [event.data for _, event in services.store.events(after=before)]
    assert [type(d) for d in new] == [ev.TopicPlaced, ev.TopicPlaced]


def test_a_decision_is_taken_back_but_not_what_was_moved_since(services, topics):
    services.triage.decide(dict(zip(topics, (A, W, C, W), strict=True)))
    services.pile.place(topics[3], Place.LAID_ASIDE)  # by hand, afterwards
    assert services.triage.undoable() == (topics[0], topics[1], topics[2])
    assert services.triage.undo() == 3
    assert places(services) == [C, C, W, A]
    with pytest.raises(NotFoundError, match="nothing left to undo"):
        services.triage.undo()


def test_nothing_moves_past_the_limit(services, topics):
    services.append(ev.SettingChosen(name="current_topics", value="2"))
    before = services.store.last_sequence()
    with pytest.raises(RuleError, match="3 topics would be current"):
        services.triage.decide({topics[2]: C})
    assert services.store.last_sequence() == before
    services.triage.decide({topics[2]: C, topics[0]: W})
    assert places(services) == [W, C, C, A]


def test_what_is_past_the_limit_already_can_still_be_made_less(services, topics):
    services.append(ev.SettingChosen(name="current_topics", value="1"))
    services.triage.decide({topics[0]: C, topics[1]: C, topics[2]: A})
    assert places(services) == [C, C, A, A]


def test_a_topic_that_is_not_there(services, topics):
    with pytest.raises(NotFoundError):
        services.triage.decide({"none": C, topics[2]: C})
    assert places(services) == [C, C, W, A]
    with pytest.raises(NotFoundError):
        services.triage.undo()


def test_the_proposal_follows_the_log(services, topics):
    first = services.triage.propose()
    assert services.triage.propose() is first
    assert {t.topic_id for t in first.now} >= set(topics[:2])
    services.pile.place(topics[0], Place.LAID_ASIDE)
    assert topics[0] not in {t.topic_id for t in services.triage.propose().now}

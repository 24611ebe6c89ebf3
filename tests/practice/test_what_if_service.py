"""What if, in the background: first numbers at once, better ones later, stopped and asked anew."""

import pytest

from coldtake.domain.criterion import default_criterion
from coldtake.domain.topic import Place, Step
from coldtake.errors import InputError
from coldtake.planning.what_if.comparison import BATCHES, DRAWS
from coldtake.planning.what_if.what_if_scenario import WhatIf
from coldtake.practice.jobs import Stage

MORE = WhatIf(more_min=20)


@pytest.fixture
def topic(services):
    made = services.pile.add("One", place=Place.CURRENT)
    for n in range(3):
        services.pile.keep_step(
            Step(
                id=services.log.new_id(),
                topic_id=made.id,
                title=f"Step {n}",
                criterion=default_criterion(),
            )
        )
    return made


def to_the_end(services, supposed):
    answer = services.what_if.ask(supposed)
    while answer.running:
        answer = services.what_if.ask(supposed)
    return answer


@pytest.mark.usefixtures("topic")
def test_numbers_come_at_once_and_get_better(services):
    first = services.what_if.ask(MORE)
    assert first.found is not None
    assert first.found.draws >= DRAWS
    last = to_the_end(services, MORE)
    assert last.job.stage is Stage.DONE
    assert last.found.draws == BATCHES * DRAWS
    assert last.found == services.what_if.answer(MORE)
    assert services.what_if.ask(MORE).found is last.found  # nothing is computed twice


@pytest.mark.usefixtures("topic")
def test_nothing_goes_into_the_log(services):
    before = services.store.last_sequence()
    to_the_end(services, MORE)
    assert services.store.last_sequence() == before


def test_another_question_or_another_log_is_another_answer(services, topic):
    to_the_end(services, MORE)
    other = services.what_if.ask(WhatIf(more_min=40))
    assert other.found.all.mean != 0.0
    services.pile.place(topic.id, Place.LAID_ASIDE)
    assert to_the_end(services, MORE).found is None


@pytest.mark.usefixtures("topic")
def test_it_stops_with_what_is_known_and_begins_anew_when_asked(services):
    services.what_if.ask(MORE)
    services.what_if.stop()
    answer = services.what_if.ask(MORE)
    assert not answer.running
    assert answer.found is not None
    if answer.job.stage is Stage.STOPPED:  # else it was done before the stop came
        assert answer.found.draws < BATCHES * DRAWS
        assert services.what_if.ask(MORE, again=True).job.stage is not Stage.STOPPED
    assert to_the_end(services, MORE).found.draws >= DRAWS


def test_a_topic_that_is_not_there(services):
    with pytest.raises(InputError, match="topic was not found"):
        services.what_if.ask(WhatIf(leave=("none",)))


def test_an_empty_pile(services):
    assert to_the_end(services, MORE).found is None

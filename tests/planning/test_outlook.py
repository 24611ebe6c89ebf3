from dataclasses import replace
from datetime import timedelta

import msgspec
import numpy as np
import pytest

from coldtake.domain import events as ev
from coldtake.domain.requirement import Appointment, Requirement, Resource
from coldtake.planning.outlook.summary import by_date, outlook, refined
from coldtake.planning.value.forecast import BATCHES, DRAWS
from coldtake.planning.value.lookahead import begun
from coldtake.planning.value.priority_index import (
    IndexPolicy,
    costs,
    costs_each,
    fitting,
    fitting_each,
    topic_rows,
)
from coldtake.planning.value.rollout import CalendarAssumptions, lived
from logs import DAY, Log


def on(days):
    return DAY + timedelta(days=days)


@pytest.fixture(scope="module")
def log():
    made = Log().topic("a", 3, on=on(30)).topic("b", 2)
    return made.practised("a.0", [0, 2, 5]).practised("a.1", [1, 3, 6], yes=False)


def ordered(interval):
    return interval.low <= interval.mid <= interval.high


def test_an_empty_pile_has_no_outlook():
    assert outlook(Log().state, DAY) == ()


def test_each_topic_on_its_date_with_intervals(log):
    a, b = outlook(log.state, on(7))
    assert (a.topic_id, a.on) == ("a", on(30))
    assert b.on > on(50)  # no date: eight weeks
    for topic in (a, b):
        assert ordered(topic.clean_steps)
        assert topic.clean_steps.low >= 0.0
        assert topic.clean_steps.high <= len(topic.steps)
        assert 0.0 <= topic.ready_chance <= min(s.chance.mid for s in topic.steps) + 1e-9
        assert all(ordered(s.chance) for s in topic.steps)
    assert a.enough
    assert not b.enough
    assert [s.enough for s in a.steps] == [True, True, False]


def test_equal_logs_give_equal_outlooks(log):
    assert outlook(log.state, on(7)) == outlook(log.state, on(7))


def test_more_minutes_a_day_make_more_ready(log):
    little = outlook(log.state, on(7), minutes_per_day=5.0)
    much = outlook(log.state, on(7), minutes_per_day=60.0)
    for few, many in zip(little, much, strict=True):
        assert many.clean_steps.mid >= few.clean_steps.mid
        assert many.ready_chance >= few.ready_chance
    assert much[0].ready_chance > little[0].ready_chance + 0.05


def test_early_middle_and_late_come_in_order(log):
    a = outlook(log.state, on(7), minutes_per_day=60.0)[0]
    early, middle, late = a.ready_by
    assert early is not None
    known = [d for d in (early, middle, late) if d is not None]
    assert known == sorted(known)
    assert late is None or middle is not None


def test_it_can_be_stopped_and_tells_how_far_it_is(log):
    class Watch:
        seen = ()

        def step(self, done, total, words):
            self.seen = (*self.seen, (done, total, words))
            return done < 2

    watch = Watch()
    found = outlook(log.state, on(7), progress=watch)
    assert [s[:2] for s in watch.seen] == [(1, BATCHES), (2, BATCHES)]
    assert watch.seen[0][2].startswith(str(DRAWS))
    batches = list(refined(log.state, on(7)))
    assert len(batches) == BATCHES
    assert found == batches[1]


def test_a_date_is_told_by_all_steps_of_its_topics():
    log = Log().topic("a", 3, on=on(30)).topic("b", 2, on=on(30)).topic("c", 2, on=on(50))
    log.topic("d", 2).practised("a.0", [0, 2, 5])
    soon, later = by_date(log.state, on(7), minutes_per_day=60.0)
    assert (soon.on, soon.topic_ids, soon.steps) == (on(30), ("a", "b"), 5)
    assert (later.on, later.topic_ids, later.steps) == (on(50), ("c",), 2)
    assert soon.enough
    assert not later.enough
    assert ordered(soon.clean_steps)
    a, b, *_ = outlook(log.state, on(7), minutes_per_day=60.0)
    assert soon.ready_chance <= min(a.ready_chance, b.ready_chance)
    assert soon.ready_chance >= a.ready_chance * b.ready_chance  # a good day helps both
    assert by_date(Log().state, DAY) == ()


def test_what_fits_is_thought_over_again_while_the_days_pass():
    """One slot a day and two topics, of which one fits tonight: the other's turn comes after it."""
    log = Log().topic("a", 1, on=on(60), need=30).topic("b", 1, on=on(60), need=90)
    start = begun(log.state, on(1), 2.0, 64, np.random.default_rng(1))
    tonight = CalendarAssumptions(minutes=5.0, share=1.0, topics=4)
    course = IndexPolicy(reach=1.2, met_share=0.5)
    both = costs(start.steps, start.need, start.played, course.reach)
    start = replace(start, per_day=0.93 * sum(both.values()) / start.steps.left.max())
    [held] = lived(start, [course], tonight, np.random.default_rng(2))
    [anew] = lived(start, [course], replace(tonight, anew=3), np.random.default_rng(2))
    assert anew.final[1].mean() > held.final[1].mean() + 0.05


@pytest.mark.parametrize("ahead", [0, 9])
def test_many_futures_take_on_what_each_would_by_itself(ahead):
    log = Log().topic("a", 3, on=on(20)).topic("b", 2, on=on(45), importance=5)
    log.topic("c", 2).topic("d", 4, on=on(30), importance=1)
    steps = begun(log.state, on(1), 20.0, 4, np.random.default_rng(1)).steps
    rng = np.random.default_rng(5)
    cost = rng.uniform(20.0, 150.0, (len(steps.ids), 200))
    found = fitting_each(steps, cost, 12.0, ahead)
    later = replace(steps, left=steps.left - ahead)
    rows = topic_rows(steps)
    alone = [
        fitting(later, {t: cost[r, c].sum() for t, r in rows.items()}, 12.0) for c in range(200)
    ]
    assert found == pytest.approx(np.stack(alone, axis=1))
    assert 0.2 < np.mean(found == 1.0) < 0.8


def test_costs_of_many_futures_are_those_of_each():
    log = Log().topic("a", 3, on=on(20)).topic("b", 2, on=on(45))
    steps = begun(log.state, on(1), 20.0, 4, np.random.default_rng(1)).steps
    need = np.array([40.0, 30.0, 20.0, 50.0, 60.0])
    played = np.random.default_rng(2).uniform(0.0, 80.0, (5, 6))
    reach = np.linspace(0.8, 2.2, 6)
    found = costs_each(steps, need, played, reach, 4)
    later = replace(steps, left=steps.left - 4)
    for c in range(6):
        alone = costs(later, need, played[:, c], reach[c])
        assert {t: found[r, c].sum() for t, r in topic_rows(steps).items()} == pytest.approx(alone)


def test_the_outlook_does_not_count_on_practising_at_home_what_needs_others():
    """By itself such a step only fades; a rehearsal counts for what it is: one slot on its day."""

    def seen(*rehearsals):
        log = Log().topic("a", 2, on=on(30)).practised("a.0", (0, 1)).practised("a.1", (0, 1))
        needs = (Requirement(what=Resource.PEOPLE),)
        step = msgspec.structs.replace(log.state.steps["a.1"], requires=needs)
        log.put(ev.StepKept(step=step), 1)
        for n, days in enumerate(rehearsals):
            made = Appointment(id=f"r{n}", on=on(days), offers=needs)
            log.put(ev.AppointmentKept(appointment=made), 1)
        [topic] = outlook(log.state, on(1), minutes_per_day=60.0)
        return {s.step_id: s.chance.mid for s in topic.steps}

    none, one, five = seen(), seen(20), seen(8, 14, 20, 25, 28)
    assert none["a.0"] > none["a.1"] + 0.1
    assert none["a.1"] < one["a.1"] < five["a.1"]

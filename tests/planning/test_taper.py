"""The last days before a performance come out of the model, without a rule that says when."""

import itertools
from datetime import time, timedelta

import numpy as np
import pytest

from coldtake.domain import events as ev
from coldtake.domain.performance import Performance, RunKind, RunPart
from coldtake.domain.plan import PlanRequest, PlanRules, SlotKind, Wish, violations
from coldtake.domain.take import Answer
from coldtake.domain.topic import StepPhase, Topic
from coldtake.learning.posterior import beliefs
from coldtake.learning.stage import stage_effect
from coldtake.learning.stage_log import effect_of
from coldtake.planning.day.plan_day import plan_day
from coldtake.planning.programme.run_worth import best_run, told_by, what_it_tells
from coldtake.planning.programme.stage_day import REMARK
from coldtake.planning.programme.taper import HORIZON_DAYS, shares_left, tapered
from coldtake.planning.value.lookahead import day_values
from logs import DAY, Log

TODAY = DAY + timedelta(days=22)
PIECES = ("air", "dance", "song")


def world(*, need=60):
    """Three pieces: one whole, two with steps that were never played."""
    log = Log()
    for topic, steps, played in (("air", 5, 4), ("dance", 5, 3), ("song", 4, 4)):
        log.topic(topic, steps, need=need)
        for n in range(played):
            log.practised(f"{topic}.{n}", range(n, 21, 3))
    return log


def concert(log, days, programme=PIECES):
    on = TODAY + timedelta(days=days)
    performance = Performance(id="c", title="Concert", on=on, programme=programme)
    return log.put(ev.PerformanceKept(performance=performance), 21)


def request(**more):
    return PlanRequest(day=TODAY, starts_at=time(17), minutes=60, **more)


def minutes_of(state, plan):
    """Minutes of work on what was never met, of cold takes, and of a run-through."""
    new = {i for i, phase in state.phases().items() if phase is StepPhase.OPEN}
    work = [s for s in plan.slots if s.kind is SlotKind.WORK]
    return (
        sum(s.minutes for s in work if s.step_id in new),
        sum(s.minutes for s in plan.slots if s.kind is SlotKind.COLD),
        plan.run.minutes if plan.run else 0,
    )


def test_far_from_a_performance_nothing_is_changed():
    state = concert(world(), HORIZON_DAYS).state
    values = day_values(state, TODAY, slot_most=24)
    assert tapered(state, TODAY, values, 12) == values


def test_without_a_performance_nothing_is_changed():
    state = world().state
    values = day_values(state, TODAY, slot_most=24)
    assert tapered(state, TODAY, values, 12) == values
    assert best_run(state, TODAY, PlanRules(), 60) is None


def shares(days, *, stage=-0.5, need=60):
    b = beliefs(world(need=need).state, TODAY)
    found = shares_left(b, np.full(len(b.step_ids), days), 12, stage)
    return dict(zip(b.step_ids, found, strict=True))


def test_what_work_still_adds_falls_as_the_day_comes_near():
    told = [shares(days) for days in (1, 2, 3, 5, 8, 12, 18, 24, 28)]
    for step_id in told[0]:
        row = [one[step_id] for one in told]
        assert all(b >= a - 0.05 for a, b in itertools.pairwise(row)), step_id
        assert row[0] < 0.4, "the day before, little"
        assert row[-1] == 1.0


def test_a_longer_need_is_given_up_earlier_and_a_harder_stage_too():
    fresh = "dance.4"
    assert shares(4, need=200)[fresh] < shares(4, need=60)[fresh] < shares(4, need=20)[fresh]
    assert shares(4, stage=-1.5)[fresh] < shares(4, stage=0.0)[fresh]


def test_the_plans_of_the_last_days_hold_less_new_work_and_more_single_chances():
    told = {}
    for days in (27, 26, 2, 1):  # the new steps need more than can be played in two days
        state = concert(world(need=200), days).state
        told[days] = minutes_of(state, plan_day(state, request()))
    new, cold, run = zip(*told.values(), strict=True)
    assert max(new[2:]) < 0.5 * min(new[:2])
    assert min(cold[2:]) > max(cold[:2])
    assert max(run[:2]) <= min(run[2:]), "a run-through is never worth less in the last days"
    assert min(run[2:]) > 0


def test_the_taper_is_the_programmes_doing_not_that_of_the_dates():
    """The same three pieces, with the same date as their own, and no programme."""
    for days in (2, 1):
        on = TODAY + timedelta(days=days)
        plain = world(need=200)
        for topic_id in PIECES:
            kept = Topic(id=topic_id, title=topic_id, performance_on=on)
            plain.put(ev.TopicKept(topic=kept), 21)
        staged = concert(world(need=200), days)
        dated, told = (
            minutes_of(log.state, plan_day(log.state, request())) for log in (plain, staged)
        )
        assert told[0] < dated[0]
        assert told[1] > dated[1]
        assert (dated[2], told[2]) == (0, 5)


def test_what_is_not_in_the_programme_waits_until_after_it():
    def share(days, *, on=None):
        log = world().topic("study", 1, on=on)
        state = concert(log, days).state
        before = day_values(state, TODAY, slot_most=24)
        after = tapered(state, TODAY, before, 12)
        row = next(n for n, v in enumerate(before) if v.topic_id == "study")
        assert after[row].cold_value == before[row].cold_value
        return after[row].work_value[-1] / before[row].work_value[-1]

    assert share(1) == pytest.approx(1 / HORIZON_DAYS)
    assert share(14) == pytest.approx(14 / HORIZON_DAYS)
    assert share(2, on=TODAY + timedelta(days=4)) == pytest.approx(0.5)
    assert share(2, on=TODAY + timedelta(days=1)) == 1.0, "its own date comes first"


def test_a_run_through_stands_before_the_slots_and_keeps_every_rule():
    state = concert(world(need=200), 2).state
    plan = plan_day(state, request())
    assert plan.run is not None
    assert plan.run.topic_ids == ("song",), "the others cannot come out yet"
    assert plan.minutes <= 60
    assert [v for v in violations(plan) if v.hard] == []
    first = next(plan.along(request_start()))
    assert first.begins == request_start() + timedelta(minutes=plan.run.minutes + 5)
    assert plan.run.reason.count(" in 100") == 4
    assert plan == plan_day(concert(world(need=200), 2).state, request())


def request_start():
    from datetime import datetime

    return datetime.combine(TODAY, time(17))


def test_the_player_may_refuse_it():
    state = concert(world(need=200), 2).state
    assert plan_day(state, request(run_through=False)).run is None
    short = PlanRequest(day=TODAY, starts_at=time(17), minutes=9)
    assert plan_day(state, short).run is None, "half the session is for the rest"


def told(log, days, topics=("song",)):
    state = concert(log, days).state
    return what_it_tells(
        state, TODAY, TODAY + timedelta(days=days), topics, effect_of(state, TODAY)
    )


def test_what_is_told_is_an_expectation_and_never_more_than_there_is_to_tell():
    """Law of total expectation; the explained variance is at most that of a yes or no."""
    found = told(world(), 3)
    says = 0.12 + 0.83 * found.yes  # chance of the answer yes, the judge's errors included
    assert says * found.after_yes + (1 - says) * found.after_no == pytest.approx(found.on_day)
    assert found.after_no < found.on_day < found.after_yes
    assert 0 < found.spread <= np.sqrt(found.on_day * (1 - found.on_day))


def test_a_piece_that_cannot_come_out_tells_nothing_and_a_far_day_less():
    assert told(world(), 3, ("dance",)).spread < 0.02
    assert told(world(), 3).spread > 1.2 * told(world(), 84).spread
    assert told(world(), 3, ("gone",)) is None


def test_run_throughs_told_already_leave_less_to_be_told():
    log = world()
    before = told(world(), 3).spread
    for day in (14, 16, 18, 20, 21):
        part = RunPart(topic_id="song", answer=Answer.YES)
        log.put(ev.RunTold(run_id=f"r{day}", run_kind=RunKind.RUN_THROUGH, parts=(part,)), day)
    assert told(log, 3).spread < before


def test_an_unsure_stage_leaves_more_to_be_told():
    b = beliefs(world().state, TODAY, ["song.0", "song.1"])
    wide = stage_effect([])
    sharp = np.zeros_like(wide.grid)
    sharp[30, 33] = 1.0  # both effects known
    known = type(wide)(wide.stage, wide.run, 99, 99, 9, sharp)
    assert told_by(b, wide, 2).spread > told_by(b, known, 2).spread


def test_on_the_day_itself_only_beginnings_and_two_weak_places_are_looked_at():
    """It planned the whole session of new work on the evening of the concert."""
    log = world()
    log.topic("study", 3)
    state = concert(log, 0, programme=("air", "dance")).state
    plan = plan_day(state, request())
    looked = [s.step_id for s in plan.slots]
    assert {s.topic_id for s in plan.slots} == {"air", "dance"}
    assert {"air.0", "dance.0"} <= set(looked)
    assert len(looked) == len(set(looked)) == 4
    assert all(s.minutes == plan.rules.slot_least_min for s in plan.slots)
    assert all(state.played(i) for i in looked), "nothing new on the day"
    assert plan.run is None
    assert REMARK in plan.remarks


def test_on_the_day_what_the_player_pins_is_kept():
    log = world()
    log.topic("study", 3)
    state = concert(log, 0, programme=("air", "dance")).state
    wish = Wish(step_id="study.0", minutes=6)
    plan = plan_day(state, request(wishes=(wish,)))
    assert ("study.0", 6) in [(s.step_id, s.minutes) for s in plan.slots]


def test_a_first_performance_without_history_looks_at_the_beginnings():
    log = Log()
    for topic in PIECES:
        log.topic(topic, 3)
    plan = plan_day(concert(log, 0).state, request())
    assert sorted(s.step_id for s in plan.slots) == ["air.0", "dance.0", "song.0"]


def test_after_the_performance_was_told_the_day_is_like_another():
    log = world()
    concert(log, 0)
    parts = tuple(RunPart(topic_id=t, answer=Answer.YES) for t in PIECES)
    told = ev.RunTold(run_id="r", run_kind=RunKind.STAGE, performance_id="c", parts=parts)
    state = log.put(told, 22).state
    assert REMARK not in plan_day(state, request()).remarks

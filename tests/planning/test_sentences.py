"""Goals, reasons and notices: short, with their numbers, from the log."""

import dataclasses
import re
from datetime import date, timedelta

import msgspec
import pytest
from builders import DAY, MARK, random_values, ready, request, state_of, try_on, value, work_on

from coldtake.domain.criterion import Criterion, NotesTest, OwnQuestionTest, TempoTest, Times
from coldtake.domain.estimate import Interval
from coldtake.domain.plan import PlanRules, SlotKind
from coldtake.domain.take import Answer
from coldtake.domain.topic import StepPhase
from coldtake.planning.day.goals import begins_cold, goal
from coldtake.planning.day.keeping import KeepingTerms
from coldtake.planning.day.load import load_notice
from coldtake.planning.day.plan_day import plan_day
from coldtake.planning.day.reasons import Reasons
from coldtake.planning.tempi import mark_above, mark_below, tempi_of
from coldtake.planning.value.left_alone import LeftAlone
from coldtake.planning.words import (
    between,
    counted,
    first_sentence,
    in_hundred,
    listed,
    on_day,
    raised,
)


def goal_at(step, kind, tries, phase, **more):
    """The goal by a step's own tries alone."""
    return goal(step, kind, tempi_of(step, tries, phase), phase, **more)


@pytest.mark.parametrize(
    ("fastest", "said"),
    [
        (None, "Find a tempo at which it is clean. Start near ♩ = 56."),
        (72.0, "Clean at ♩ = 76. Clean so far: 72. Target: 96."),
        (92.0, "Reach the target today: ♩ = 96. Clean so far: 92."),
        (100.0, "Clean again at ♩ = 96."),
    ],
)
def test_tempo_goal_is_the_next_traditional_mark(fastest, said):
    """Marks: traditional metronome series (common practice, no standard)."""
    state = state_of((1,))
    tries = () if fastest is None else (try_on("t0s0", 3, bpm=fastest),)
    assert goal_at(state.steps["t0s0"], SlotKind.WORK, tries, StepPhase.IN_WORK) == said


def test_work_begins_at_the_tempo_that_the_player_named_as_clean():
    step = state_of((1,)).steps["t0s0"]
    exercise = msgspec.structs.replace(step.exercise, clean_bpm=84.0)
    step = msgspec.structs.replace(step, exercise=exercise)
    said = goal_at(step, SlotKind.WORK, (), StepPhase.OPEN)
    assert said == "Start at ♩ = 84, your clean tempo."
    heard = goal_at(step, SlotKind.WORK, (try_on("t0s0", 1, bpm=72.0),), StepPhase.IN_WORK)
    assert heard.startswith("Clean at ♩ = 76. Clean so far: 72")  # what was played counts more


def test_tempo_goal_counts_in_the_criterion_s_beat_unit():
    criterion = Criterion(tests=(TempoTest(mark=80.0, beat_unit_beats=1.5),))
    step = msgspec.structs.replace(state_of((1,)).steps["t0s0"], criterion=criterion)
    said = goal_at(step, SlotKind.WORK, (try_on("t0s0", 1, bpm=90.0),), StepPhase.IN_WORK)
    assert said == "Clean at ♩. = 63. Clean so far: 60. Target: 80."


def test_what_was_met_was_clean_at_the_tempo_that_was_asked():
    """A player who answers without a take leaves no tempo; the question has one."""
    state = state_of((1,))
    said = goal_at(state.steps["t0s0"], SlotKind.WORK, (), StepPhase.MET, cold=True)
    assert said == "First try cold, without warm-up. Clean again at ♩ = 96."
    slipped = goal_at(state.steps["t0s0"], SlotKind.WORK, (), StepPhase.SLIPPED)
    assert slipped == "Clean again at ♩ = 96."  # not from the slow tempo of the first day again


def test_only_clean_tries_count_for_the_goal():
    tries = (try_on("t0s0", 2, Answer.NO, bpm=90.0), try_on("t0s0", 3, bpm=60.0))
    said = goal_at(state_of((1,)).steps["t0s0"], SlotKind.WORK, tries, StepPhase.IN_WORK)
    assert "♩ = 63. Clean so far: 60" in said


def test_marks_of_the_traditional_series():
    assert [mark_above(m) for m in (40, 58, 60, 72, 120, 144, 207)] == [
        42,
        60,
        63,
        76,
        126,
        152,
        208,
    ]
    assert mark_above(208) == 216
    assert [mark_below(m) for m in (61, 60, 39)] == [60, 60, 40]


@pytest.mark.parametrize(
    ("times", "phase", "said"),
    [
        (Times(wanted=3), StepPhase.OPEN, "3 clean tries in a row."),
        (Times(wanted=4, among=5), StepPhase.OPEN, "4 of 5 tries clean."),
        (Times(), StepPhase.OPEN, "One clean try, slow enough to hear every note."),
        (
            Times(),
            StepPhase.HELD,
            "First try cold, without warm-up. Clean again after a pause.",
        ),
    ],
)
def test_goal_without_a_tempo(times, phase, said):
    criterion = Criterion(tests=(NotesTest(),), times=times)
    step = msgspec.structs.replace(state_of((1,)).steps["t0s0"], criterion=criterion)
    cold = begins_cold(SlotKind.WORK, phase, again=False)
    assert goal_at(step, SlotKind.WORK, (), phase, cold=cold) == said
    assert not begins_cold(SlotKind.WORK, phase, again=True), "only the day's first try is cold"
    second = goal_at(step, SlotKind.WORK, (), phase)
    assert said.endswith(second)
    assert "cold" not in second


def test_goal_of_a_breath_speaks_of_no_notes():
    own = Criterion(tests=(OwnQuestionTest(question="Does the hiss stay even"),))
    step = msgspec.structs.replace(state_of((1,)).steps["t0s0"], criterion=own)
    assert goal_at(step, SlotKind.WORK, (), StepPhase.OPEN) == "One clean try."


def worked_state(performance_on=None, ago=2):
    state = state_of((2, 2), performance_on=performance_on, settings={"keep_chance": "0"})
    for step_id in state.steps:
        state.keep_work(work_on(step_id, ago, 10.0), "work")
    state.keep_try(try_on("t0s0", 6), "try")
    return state


def reasons_of(state, values, minutes=40):
    plan = plan_day(state, request(minutes), values=values)
    return {(s.step_id, s.kind): s.reason for s in plan.slots}


def slots_of(state, values, minutes=40):
    return plan_day(state, request(minutes), values=values).slots


def chances_of(state, step_id, on, *minutes):
    """The one home of what is said: a clean first try on a day, nothing more being done."""
    alone = LeftAlone(state, DAY, state.steps)
    return [round(100 * alone.chance(step_id, on, minutes=m).mid) for m in minutes]


def test_reason_of_work_says_what_it_adds_to_which_date():
    on = date(2026, 3, 2)
    state = worked_state(performance_on=on)
    values = [value(i, best=10.0, half=3.0, need=15) for i in state.steps]
    slot = next(s for s in slots_of(state, values) if s.step_id == "t1s0")
    low, high = chances_of(state, "t1s0", on, 0, slot.minutes)
    assert high > low
    assert slot.reason == (
        f"Rough estimate: raises the chance on 2 March by {high - low} in 100. "
        "It raises the chance of a clean first try on 2 March "
        f"from {low} to {high} in 100, if you do no more after it. "
        f"{slot.minutes} min of about 15 min still needed. Last played 2 days ago."
    )


def test_reason_of_work_without_a_date_is_for_eight_weeks_ahead():
    state = worked_state()
    values = [value(i, best=10.0, half=1.0, need=15) for i in state.steps]
    reason = reasons_of(state, values)["t1s0", SlotKind.WORK]
    assert f"clean first try on {on_day(DAY + timedelta(days=56))} from " in reason


def test_reason_where_the_chance_hardly_moves(monkeypatch):
    state = worked_state(performance_on=date(2026, 3, 2))
    chance = Interval(low=0.3, mid=0.401, high=0.5)
    monkeypatch.setattr(LeftAlone, "chance", lambda *_, **__: chance)
    values = [value(i, best=0.15, half=1.0, need=15) for i in state.steps]
    assert reasons_of(state, values)["t1s0", SlotKind.WORK].startswith(
        "Rough estimate: keeps the chance for 2 March at 40 in 100. It keeps the chance of a clean "
        "first try on 2 March at 40 in 100, if you do no more after it. "
    )


def otherwise(one, **fields):
    return dataclasses.replace(one, **fields)


def test_reason_of_a_second_slot_counts_from_the_first():
    state = state_of((1, 1))
    for step_id in state.steps:
        state.keep_work(work_on(step_id, 2, 10.0), "work")
    values = [value(i, best=10.0, half=20.0, need=100) for i in ("t0s0", "t1s0")]
    plan = plan_day(state, request(60), values=values)
    first, second = [s.reason for s in plan.slots if s.step_id == "t0s0"]
    assert re.search(r"to (\d+) in", first)[1] == re.search(r"from (\d+) to", second)[1]
    assert "Last played" in first
    assert "Last played" not in second


def test_reason_names_the_steps_that_wait_and_what_does_not_fit():
    state = state_of((3, 1), needs={"t0s1": ["t0s0"], "t0s2": ["t0s1"]})
    values = [value(i, available=i in ("t0s0", "t1s0")) for i in state.steps]
    said = reasons_of(state, values, 12)["t0s0", SlotKind.WORK]
    assert said.endswith("Not played yet; 2 steps wait for it.")
    values = [otherwise(v, fits=False, enough=False) for v in values]
    said = reasons_of(state, values, 12)["t1s0", SlotKind.WORK]
    assert said.startswith("Rough estimate: keeps the chance for ")
    assert said.endswith("Not played yet. Not all of its topic fits into the next 8 weeks.")
    dated = state_of((3, 1), performance_on=DAY + timedelta(days=20))
    said = reasons_of(dated, values, 12)["t1s0", SlotKind.WORK]
    assert said.endswith(f"Not all of its topic fits before {on_day(DAY + timedelta(days=20))}.")


def test_reason_of_a_cold_take_says_its_chance_that_day():
    state = worked_state(performance_on=date(2026, 3, 2))
    values = [value(i, cold=2.0) for i in state.steps]
    said = reasons_of(state, values)["t0s0", SlotKind.COLD]
    [chance] = chances_of(state, "t0s0", DAY, 0)
    assert said == (
        "Check whether it is still clean. Last clean: 6 days ago. Rough estimate of "
        f"the chance of a clean first try on {on_day(DAY)}: {chance} in 100."
    )


def slip(state, step_id):
    """The latest first try of a day was not clean: a step that was met has slipped."""
    no = msgspec.structs.replace(try_on(step_id, 1), id="no", answer=Answer.NO, cold=True)
    state.keep_try(no, "no")
    assert state.phase(step_id) is StepPhase.SLIPPED


def test_reason_of_a_slipped_step_does_not_ask_whether_it_is_still_clean():
    state = worked_state(performance_on=date(2026, 3, 2))
    slip(state, "t0s0")
    values = [value(i, cold=2.0) for i in state.steps]
    said = reasons_of(state, values)["t0s0", SlotKind.COLD]
    assert said.startswith("Check whether it is clean again. Last clean: 6 days ago.")


@pytest.mark.parametrize(
    ("wanted", "said"),
    [
        ("1", " It is checked before the chance falls below your limit of 1 in 100."),
        ("95", " That is below your limit of 95 in 100."),
    ],
)
def test_reason_of_a_due_cold_take_agrees_with_its_chance(wanted, said):
    state = worked_state()
    state.settings["keep_chance"] = wanted
    kept = [KeepingTerms("t0s0", 0.5, DAY)]
    reasons = Reasons(state, PlanRules(), DAY, state.steps, kept=kept)
    assert reasons.slot(value("t0s0"), SlotKind.COLD, 2).endswith(said)


def test_no_step_waits_for_one_that_was_met_and_slipped():
    """The planner opens what needs a step once that was met, for good; so must the sentences."""
    state = state_of((3, 1), needs={"t0s1": ["t0s0"], "t0s2": ["t0s1"]})
    state.keep_try(try_on("t0s0", 6), "try")
    slip(state, "t0s0")
    values = [value(i, available=i != "t0s2") for i in state.steps]
    said = reasons_of(state, values)
    assert "wait" not in said["t0s0", SlotKind.WORK]
    assert "1 step waits for it" in said["t0s1", SlotKind.WORK]


def test_reason_of_a_due_topic_says_when_it_was_last_practised():
    state = worked_state(ago=5)
    values = [value(i) for i in state.steps]
    assert reasons_of(state, values)["t1s0", SlotKind.WORK].endswith(
        "“Topic 1” was last practised 5 days ago."
    )


def played(minutes_a_day, days=range(1, 29), first=40):
    state = state_of((1,))
    for ago, minutes in ((first, 1.0), *((d, minutes_a_day) for d in days)):
        state.keep_work(work_on("t0s0", ago, minutes), "work")
    return state


def test_usual_load_has_no_notice():
    assert load_notice(played(60.0), DAY, 60) is None


def test_a_week_above_the_limit_is_said_with_the_caution():
    """Suddenly increased load: Chan and Ackermann, Frontiers in Psychology 5:706, 2014."""
    state = played(30.0, days=range(7, 29))
    for ago in range(1, 7):
        state.keep_work(work_on("t0s0", ago, 70.0), "work")
    notice = load_notice(state, DAY, 70)
    assert notice.startswith("The week that ends on this day has 8 h 10 min of playing")
    assert "doctor" in notice
    assert "rest" in notice


def test_a_single_long_day_is_said():
    notice = load_notice(played(60.0, days=range(5, 29, 2)), DAY, 130)
    assert notice.startswith("This plan has 2 h 10 min of playing, 117% more than your")


def test_the_limit_is_the_player_s_own():
    state = played(60.0)
    assert load_notice(state, DAY, 100).startswith("This plan")
    state.settings["load_notice"] = "100"
    assert load_notice(state, DAY, 100) is None


def test_nothing_is_said_before_four_weeks_are_known():
    assert load_notice(played(20.0, days=range(1, 10), first=10), DAY, 200) is None
    assert load_notice(state_of((1,)), DAY, 200) is None


def test_after_a_long_pause_begin_gently():
    assert load_notice(played(0.0, days=()), DAY, 60).startswith("You did not play for four weeks.")


def test_left_out_reasons_name_points_minutes_or_topics():
    state, values = ready((10,) * 6, 4)
    plan = plan_day(state, request(60), values=values)
    said = [out.reason for out in plan.left_out]
    assert any("it needs about" in r for r in said)
    assert any("your limit is" in r for r in said)
    assert all(r.endswith(".") for r in said)
    open_ones = [r for r in said if not r.startswith("It waits")]
    pattern = (
        r"Left out: .*\. Rough estimate: \d+ min would (?:raise|leave) "
        r"the chance of a clean first try on \d+ \w+ "
        r"(from \d+ to|at|at fewer than) \d+ in 100\."
    )
    assert all(re.match(pattern, r) for r in open_ones)


def test_left_out_says_what_its_own_minutes_would_add():
    """The figure is that of these minutes, not a share of the plan's worth."""
    state = state_of((7,))
    state.keep_work(work_on("t0s0", 5, 60.0), "work")
    values = [value(i, best=1.0 if i == "t0s0" else 8.0, half=2.0) for i in state.steps]
    plan = plan_day(state, request(10), values=values)
    reason = next(o.reason for o in plan.left_out if o.step_id == "t0s0")
    told = re.search(r": (\d+) min would .* from (\d+) to (\d+) in 100", reason)
    minutes, *said = map(int, told.groups())
    assert said == chances_of(state, "t0s0", DAY + timedelta(days=56), 0, minutes)


def test_left_out_where_minutes_add_nothing_or_the_topic_does_not_fit():
    state = state_of((2, 2))
    values = [value(i, best=0.0 if i == "t0s1" else 3.0) for i in state.steps]
    plan = plan_day(state, request(30), values=values)
    reasons = {o.step_id: o.reason for o in plan.left_out}
    assert reasons["t0s1"].startswith("Left out: other steps come first (not played yet).")
    values = [otherwise(v, fits=v.step_id != "t0s1") for v in values]
    plan = plan_day(state, request(30), values=values)
    reasons = {o.step_id: o.reason for o in plan.left_out}
    assert reasons["t0s1"].startswith(
        "Left out: the topic needs more time than you have in 8 weeks."
    )


def test_the_reason_at_sight_is_short_and_the_rest_stands_under_why():
    """At most twelve words and one number beside the date and the scale of a hundred."""
    state = worked_state(performance_on=date(2026, 3, 2))
    values = [value(i, cold=2.0) for i in state.steps]
    for slot in slots_of(state, values):
        brief, why = first_sentence(slot.reason)
        assert len(brief.split()) <= 12
        own = brief.replace("2 March", "").replace("in 100", "")
        assert len(re.findall(r"\d+", own)) <= 1
        assert why


def test_small_words():
    assert on_day(date(2026, 1, 12)) == "12 January"
    assert [in_hundred(c) for c in (0.004, 0.414, 0.996)] == [
        "fewer than 1 in 100",
        "41 in 100",
        "more than 99 in 100",
    ]
    assert (counted(1, "day"), counted(2, "day")) == ("1 day", "2 days")
    assert [listed(n) for n in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]


@pytest.mark.parametrize(
    ("low", "mid", "high", "said"),
    [
        (0.591, 0.7, 0.93, "between 59 and 93 in 100"),
        (0.001, 0.02, 0.05, "at most 5 in 100"),
        (0.9, 0.97, 0.999, "at least 90 in 100"),
        (0.301, 0.302, 0.304, "30 in 100"),
        (0.001, 0.002, 0.003, "fewer than 1 in 100"),
        (0.001, 0.5, 0.999, "anything: too little is known"),
    ],
)
def test_an_interval_is_never_of_0_or_100(low, mid, high, said):
    assert between(Interval(low=low, mid=mid, high=high)) == said


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [
        (0.07, 0.08, "from 7 to 8 in 100"),
        (0.002, 0.08, "from fewer than 1 in 100 to 8 in 100"),
        (0.98, 0.999, "from 98 to more than 99 in 100"),
    ],
)
def test_a_rise_is_taken_from_the_rounded_numbers(start, end, said):
    assert raised(start, end) == said


def test_question_is_the_criterion_s():
    state = state_of((1,))
    plan = plan_day(state, request(10), values=random_values(state, 1, open_share=1.0))
    assert plan.slots[0].question == "Every note right, at ♩ = 96 or faster?"
    assert MARK.tests[1].mark == 96.0

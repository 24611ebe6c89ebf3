"""Where and with whom: what cannot be played is not planned, waits, and says for what."""

from datetime import time, timedelta

import msgspec
import pytest
from builders import DAY, random_values, request, state_of, try_on, value
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.domain import events as ev
from coldtake.domain.history.appointments import in_use, on_day
from coldtake.domain.history.projection import fold
from coldtake.domain.plan import Wish
from coldtake.domain.requirement import (
    Appointment,
    AppointmentKind,
    Requirement,
    Resource,
    missing,
)
from coldtake.planning.day.plan_day import plan_day
from coldtake.planning.value.at_hand import days_served, lacks, next_for, steps_for, usually_at_hand

FOUR = Requirement(what=Resource.PEOPLE, note="the other four")
PEOPLE = Requirement(what=Resource.PEOPLE)
PIANO = Requirement(what=Resource.PIANO)


def asking(state, step_id, *requires):
    state.steps[step_id] = msgspec.structs.replace(state.steps[step_id], requires=requires)


def meeting(state, days, *offers, topics=(), clock=None, kind=AppointmentKind.REHEARSAL):
    made = Appointment(
        id=f"a{len(state.appointments)}",
        kind=kind,
        on=DAY + timedelta(days=days),
        starts_at=clock,
        offers=offers,
        topic_ids=topics,
    )
    state.appointments[made.id] = made
    return made


def test_a_note_tells_two_of_a_kind_apart():
    trio = Requirement(what=Resource.PEOPLE, note="the trio")
    assert missing([FOUR], [trio]) == (FOUR,)
    assert missing([FOUR], [PEOPLE]) == ()  # whoever: the player will know
    assert missing([PEOPLE], [trio]) == ()
    assert missing([FOUR], [Requirement(what=Resource.PEOPLE, note=" The  Other Four ")]) == ()
    assert missing([FOUR, PIANO, FOUR], [PIANO]) == (FOUR,)


def test_alone_and_at_home_where_nothing_is_said():
    state = state_of((1,))
    have = {r.what for r in usually_at_hand(state)}
    assert have == {Resource.QUIET, Resource.RECORDER}
    state.settings["have_piano"] = "1"
    assert PIANO in usually_at_hand(state)


def test_a_step_inherits_what_its_topic_needs():
    state = state_of((2, 1))
    state.topics["t0"] = msgspec.structs.replace(state.topics["t0"], requires=(PIANO,))
    asking(state, "t0s1", FOUR)
    assert lacks(state, state.steps["t0s0"]) == (PIANO,)
    assert lacks(state, state.steps["t0s1"]) == (PIANO, FOUR)
    assert lacks(state, state.steps["t0s1"], [PIANO, PEOPLE]) == ()
    assert in_use(state) == (FOUR, PIANO)


@settings(max_examples=30, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    sizes=st.lists(st.integers(1, 6), min_size=1, max_size=5).map(tuple),
    minutes=st.integers(5, 120),
    wanted=st.lists(st.sets(st.sampled_from(list(Resource))), min_size=1, max_size=8),
    there=st.sets(st.sampled_from(list(Resource))),
)
def test_nothing_is_planned_that_cannot_be_played(seed, sizes, minutes, wanted, there):
    """Whatever the minutes are worth, and all that waits says for what."""
    state = state_of(sizes)
    for n, step_id in enumerate(list(state.steps)):
        asking(state, step_id, *(Requirement(what=w) for w in sorted(wanted[n % len(wanted)])))
    hand = tuple(Requirement(what=w) for w in sorted(there))
    asked = msgspec.structs.replace(request(minutes), at_hand=hand)
    plan = plan_day(state, asked, values=random_values(state, seed, due_share=0.3))
    for slot in (*plan.slots, *plan.spare):
        assert lacks(state, state.steps[slot.step_id], hand) == ()
    waiting = {o.step_id: o for o in plan.left_out if o.lacks}
    lacking = {i for i, s in state.steps.items() if lacks(state, s, hand)}
    assert set(waiting) == lacking
    assert all(o.reason.startswith("Needs ") for o in waiting.values())


def test_what_waits_says_for_which_rehearsal():
    state = state_of((2, 1))
    asking(state, "t0s1", FOUR)
    values = [value(i) for i in state.steps]

    def reason():
        plan = plan_day(state, request(30), values=values)
        assert "t0s1" not in {s.step_id for s in plan.slots}
        return next(o.reason for o in plan.left_out if o.step_id == "t0s1")

    assert reason() == "Needs other people (the other four). No rehearsal or lesson is planned."
    meeting(state, 20, PEOPLE)
    meeting(state, 5, PEOPLE, topics=("t1",))  # of another topic
    meeting(state, -1, PEOPLE)
    meeting(state, 3, PIANO)
    assert reason() == "Needs other people (the other four). Next rehearsal: Sun 1 Feb."
    meeting(state, 12, FOUR, kind=AppointmentKind.LESSON)
    assert reason() == "Needs other people (the other four). Next lesson: Sat 24 Jan."


def test_with_what_is_needed_at_hand_it_is_planned():
    state = state_of((1, 1))
    asking(state, "t0s0", FOUR)
    asked = msgspec.structs.replace(request(30), at_hand=(PEOPLE,))
    plan = plan_day(state, asked, values=[value(i) for i in state.steps])
    assert {s.step_id for s in plan.slots} == {"t0s0", "t1s0"}


def test_the_player_outranks_what_is_thought_to_be_there():
    state = state_of((1, 1))
    asking(state, "t0s0", PIANO)
    plan = plan_day(
        state, request(30, Wish(step_id="t0s0")), values=[value(i) for i in state.steps]
    )
    assert "t0s0" in {s.step_id for s in plan.slots}
    assert any("needs a piano. It is in the plan because you added it" in r for r in plan.remarks)


def test_a_rehearsal_gets_the_steps_that_only_it_can_serve():
    state = state_of((3, 2))
    asking(state, "t0s1", FOUR)
    asking(state, "t0s2", FOUR, PIANO)
    asking(state, "t1s0", PEOPLE)
    state.topics["t1"] = msgspec.structs.replace(state.topics["t1"], importance=5)
    all_of_it = meeting(state, 3, FOUR)
    assert [s.id for s in steps_for(state, all_of_it)] == ["t1s0", "t0s1"]
    assert [s.id for s in steps_for(state, meeting(state, 3, FOUR, topics=("t0",)))] == ["t0s1"]
    assert [s.id for s in steps_for(state, meeting(state, 3, FOUR, PIANO, topics=("t0",)))] == [
        "t0s1",
        "t0s2",
    ]
    state.keep_try(try_on("t1s0", 2), "met")
    assert [s.id for s in steps_for(state, all_of_it)] == ["t0s1", "t1s0"]  # what is met, later
    assert days_served(state, state.steps["t0s1"], DAY, 5) == (3,)


def test_the_next_appointment_is_the_first_by_the_clock():
    state = state_of((1,))
    asking(state, "t0s0", FOUR)
    meeting(state, 2, FOUR, clock=time(19))
    early = meeting(state, 2, FOUR, clock=time(10))
    meeting(state, 2, FOUR)
    assert next_for(state, state.steps["t0s0"], DAY) == early
    assert [a.starts_at for a in on_day(state, early.on)] == [time(10), time(19), None]


def test_an_appointment_is_kept_changed_deleted_and_restored():
    first = Appointment(id="a", on=DAY, offers=(FOUR,))
    later = msgspec.structs.replace(first, on=DAY + timedelta(days=1))
    said = [
        ev.AppointmentKept(appointment=first),
        ev.AppointmentKept(appointment=later),
        ev.AppointmentDeleted(appointment_id="a"),
        ev.AppointmentDeleted(appointment_id="nothing"),
        ev.AppointmentKept(appointment=later),
    ]

    def after(count):
        at = try_on("x", 0).at
        return fold(
            ev.from_json(ev.to_json(ev.Event(id=f"{n}", at=at, day=DAY, data=data)))
            for n, data in enumerate(said[:count])
        )

    assert after(1).appointments == {"a": first}
    assert after(2).appointments == {"a": later}
    assert after(4).appointments == {}
    assert after(4).appointments_off == {"a": later}
    assert after(5).appointments == {"a": later}
    assert after(5).appointments_off == {}


@pytest.mark.parametrize("tag", ["topic", "step", "request"])
def test_old_logs_say_nothing_of_it(tag):
    """What was written before has no such fields, and is read as asking for nothing."""
    made = {
        "topic": state_of((1,)).topics["t0"],
        "step": state_of((1,)).steps["t0s0"],
        "request": request(30),
    }[tag]
    told = msgspec.to_builtins(made)
    for name in ("requires", "at_hand"):
        told.pop(name, None)
    assert msgspec.convert(told, type(made)) == made

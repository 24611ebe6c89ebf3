"""Where and with whom: which steps can be played with what is at hand, and when the others can.

What a day's request does not say is what the player usually has, by the settings: at home and
alone. A step that lacks something is not planned for that day, and nothing that looks ahead counts
on practising it at home; it waits for an appointment that offers what is missing.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta

from coldtake.domain.history.appointments import in_time, requires_of
from coldtake.domain.history.state import State
from coldtake.domain.plan import PlanRequest
from coldtake.domain.requirement import Appointment, Requirement, Resource, missing
from coldtake.domain.topic import Place, Step, StepPhase
from coldtake.planning.value.values import StepValue
from coldtake.settings import value_of

_DONE = frozenset({StepPhase.MET, StepPhase.HELD})


def usually_at_hand(state: State) -> tuple[Requirement, ...]:
    """Return what the player usually has, by the settings."""
    return tuple(
        Requirement(what=what) for what in Resource if value_of(state.settings, f"have_{what}")
    )


def at_hand_on(state: State, request: PlanRequest) -> tuple[Requirement, ...]:
    """Return what there is on the day of a request."""
    return usually_at_hand(state) if request.at_hand is None else request.at_hand


def lacks(
    state: State, step: Step, at_hand: Iterable[Requirement] | None = None
) -> tuple[Requirement, ...]:
    """Return what playing a step lacks. at_hand : what is there; None: what usually is."""
    wanted = requires_of(state, step)
    if not wanted:
        return ()
    return missing(wanted, usually_at_hand(state) if at_hand is None else at_hand)


def only_playable(
    state: State, values: Iterable[StepValue], at_hand: Iterable[Requirement]
) -> tuple[StepValue, ...]:
    """Return step values in which a step that lacks something cannot be chosen."""
    there = tuple(at_hand)
    return tuple(
        replace(v, available=False, work_value=(0.0,), cold_value=0.0)
        if v.step_id in state.steps and lacks(state, state.steps[v.step_id], there)
        else v
        for v in values
    )


def serves(state: State, appointment: Appointment, step: Step) -> bool:
    """Say whether a step that cannot be played otherwise can be played at an appointment."""
    if appointment.topic_ids and step.topic_id not in appointment.topic_ids:
        return False
    lacking = lacks(state, step)
    return bool(lacking) and not missing(lacking, appointment.offers)


def next_for(state: State, step: Step, day: date) -> Appointment | None:
    """Return the first appointment from a day on that serves a step, None where there is none."""
    ahead = (a for a in state.appointments.values() if a.on >= day and serves(state, a, step))
    return min(ahead, key=in_time, default=None)


def days_served(state: State, step: Step, day: date, last: int) -> tuple[int, ...]:
    """Return in how many days, 0 to `last`, an appointment serves a step."""
    until = day + timedelta(days=last)
    found = {
        (a.on - day).days
        for a in state.appointments.values()
        if day <= a.on <= until and serves(state, a, step)
    }
    return tuple(sorted(found))


def steps_for(state: State, appointment: Appointment) -> tuple[Step, ...]:
    """Return the steps that only this appointment can serve, in the order to play them.

    Steps of topics that are current, or that the appointment names: what is still to be met
    first, then by importance, then in the player's order.
    """
    named = set(appointment.topic_ids)
    topics = [t for t in state.topics.values() if t.id in named or t.place is Place.CURRENT]
    topics.sort(key=lambda t: -t.importance)
    steps = [s for t in topics for s in state.topic_steps(t.id) if serves(state, appointment, s)]
    phases = state.phases(s.id for s in steps)
    return tuple(sorted(steps, key=lambda s: phases[s.id] in _DONE))

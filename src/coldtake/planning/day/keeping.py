"""When a met step is asked back: before its chance of a clean first try falls below the wanted one.

The chance is the learning model's own, left alone from now on
(`learning.posterior.cold_chances`): it only falls. A step is asked back on the last day on which it
is still as high as the player wants (`keep_chance`), or at once where it is not; where the player
does not come every day, on the last day that will probably have a session. More than a third of an
evening never goes to such cold takes, and no more than `ASKED_MOST` of them: with many met steps
they would take the minutes that finish the others. Of those that are due those wait whose bars are
asked for already, then those whose answers would change least, and the plan says so. Nothing here
depends on what minutes are worth.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from coldtake.domain.history.state import State
from coldtake.domain.history.told_days import minutes_told
from coldtake.domain.plan import AskedAgain
from coldtake.domain.topic import Place, Step, StepPhase
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import Posterior, beliefs, cold_chances
from coldtake.planning.day.going_round import days_left, near
from coldtake.planning.value.minutes_ahead import share_of_days
from coldtake.settings import value_of

LONGEST_DAYS = 128  # looked ahead; a step kept longer is asked then
SHARE_MIN = 3  # cold takes asked for take one minute of so many at the most
ASKED_MOST = 4  # cold takes asked for in an evening at the most; tried in bench/learning
TOLD_DAYS = 7
GAP_MOST = 4  # days between two sessions that are reckoned with at the most
OFF_MOST = 28  # days off in a row that are looked over
_MET = frozenset({StepPhase.MET, StepPhase.HELD})


@dataclass(frozen=True, slots=True)
class KeepingTerms:
    """A met step: its chance of a clean first try today, and the last day on which it is wanted."""

    step_id: str
    chance: float
    on: date


def kept_steps(
    state: State, day: date, only: Collection[str] | None = None
) -> tuple[KeepingTerms, ...]:
    """Say of every met step of a current topic when it is to be asked back, seen from `day`.

    only : ids of the steps wanted, default all. `on` is never before `day`
    """
    wanted = value_of(state.settings, "keep_chance") / 100.0
    ids = [i for i in state.steps if (only is None or i in only) and _is_kept(state, i)]
    if not ids or not wanted:
        return ()
    b = beliefs(state, day, ids)
    days = days_until(b, wanted)
    now = mean_chances(b, 0.0)
    return tuple(
        KeepingTerms(i, float(chance), day + timedelta(days=int(left)))
        for i, chance, left in zip(b.step_ids, now, days, strict=True)
    )


def _is_kept(state: State, step_id: str) -> bool:
    topic = state.topics.get(state.steps[step_id].topic_id)
    return topic is not None and topic.place is Place.CURRENT and state.phase(step_id) in _MET


def mean_chances(b: Posterior, more_days: Array | float) -> Array:
    """Chance of a clean first try of each step (S,), so many days more without playing."""
    rows = np.broadcast_to(np.asarray(more_days, dtype=float), (len(b.step_ids),))
    return np.asarray((cold_chances(b, rows) * b.weight).sum(axis=1))


def days_until(b: Posterior, wanted: float) -> Array:
    """Last day from b.on (0: that day, or none) on which each chance is as high as wanted (S,).

    Chances only fall, so the day is found by halving.
    """
    low = np.zeros(len(b.step_ids))
    high = np.full(len(b.step_ids), float(LONGEST_DAYS))
    for _ in range(math.ceil(math.log2(LONGEST_DAYS))):
        middle = np.floor((low + high) / 2.0)
        holds = mean_chances(b, middle) >= wanted
        low, high = np.where(holds, middle, low), np.where(holds, high, middle)
    return low


def gap_days(state: State, day: date) -> int:
    """Days from one session to the next, by the days really played in the last four weeks."""
    return min(max(round(1.0 / share_of_days(state, day)), 1), GAP_MOST)


def due_by(state: State, day: date) -> date:
    """Last day of those that are due on `day`: the day before the next session after it.

    Days off that are told go by without a session.
    """
    last = day + timedelta(days=gap_days(state, day) - 1)
    for _ in range(OFF_MOST):
        if minutes_told(state, last + timedelta(days=1)) != 0:
            break
        last += timedelta(days=1)
    return last


def asked_for(
    state: State, day: date, kept: Sequence[KeepingTerms], minutes: int, cold_min: int
) -> tuple[KeepingTerms, ...]:
    """Return the steps whose cold takes are asked for on a day, the most valuable first.

    Of steps with the same bars all but the most valuable come after the others: a try on bars that
    were played minutes before is hardly cold.

    kept : those that can be played; minutes : of the session; cold_min : of a cold take. At least
        one is asked for where one is due
    """
    last = due_by(state, day)
    best = sorted((k for k in kept if k.on <= last), key=lambda k: -worth(state, day, k))
    first: dict[object, KeepingTerms] = {}
    for one in best:
        first.setdefault(_bars(state.steps[one.step_id]), one)
    due = [*first.values(), *(k for k in best if k not in first.values())]
    return tuple(due[: most_asked(minutes, cold_min)])


def most_asked(minutes: int, cold_min: int) -> int:
    """How many cold takes of so many minutes a session asks for at the most."""
    return min(max(minutes // SHARE_MIN // cold_min, 1), ASKED_MOST)


def _bars(step: Step) -> object:
    """Return what is played, at whatever tempo; a step without notation is like no other."""
    played = step.exercise
    return step.id if played.passage is None else (step.topic_id, played.passage, played.key)


def worth(state: State, day: date, kept: KeepingTerms) -> float:
    """How much hangs on an answer: the topic's importance and date, and how open the answer is."""
    topic_id = state.steps[kept.step_id].topic_id
    weight = state.topics[topic_id].importance * near(days_left(state, topic_id, day))
    return weight * kept.chance * (1.0 - kept.chance)


def asked_again(
    state: State, day: date, kept: Sequence[KeepingTerms], planned: Collection[str]
) -> tuple[AskedAgain, ...]:
    """Tell when the kept steps are asked, those of the week after `day`, the soonest first.

    planned : ids of the steps with a cold take in the plan
    """
    last = day + timedelta(days=TOLD_DAYS)
    told = [
        AskedAgain(
            step_id=k.step_id,
            topic_id=state.steps[k.step_id].topic_id,
            on=k.on,
            chance=round(k.chance, 4),
        )
        for k in kept
        if k.on <= last and k.step_id not in planned
    ]
    return tuple(sorted(told, key=lambda a: (a.on, a.step_id)))

"""The minutes that are proposed for a day, and why: as told, as usual, or less after days away."""

from dataclasses import dataclass
from datetime import date
from statistics import median

from coldtake.domain.history.state import State
from coldtake.domain.history.told_days import minutes_told
from coldtake.domain.told_days import ToldDay
from coldtake.planning.value.coming_back import ComingBack, coming_back
from coldtake.planning.value.minutes_ahead import RHYTHM_DAYS, days_behind, told_on

LEAST_MIN = 5
STEP_MIN = 5  # shortened minutes are rounded to these
HABIT_DAYS = 3  # days played of a weekday before its minutes are told
HABIT_OFF = 0.25  # they are told where they differ by such a share of what is proposed


@dataclass(frozen=True, slots=True)
class ProposedMinutes:
    """minutes : proposed, 0 on a day off; usual : without the days away.

    told : what the player said of this day; back : how they come back, where that shortened it
    """

    minutes: int
    usual: int
    told: ToldDay | None
    back: ComingBack | None


def proposed_minutes(state: State, day: date, today: date) -> ProposedMinutes:
    """Propose the minutes of a day. What was told of the day itself is never shortened.

    today : the days from then on and before `day` are taken to be played as usual
    """
    told, usual = state.days_told.get(day), round(told_on(state, day))
    back = coming_back(state, day, today) if told is None and usual else None
    if back is None:
        return ProposedMinutes(usual, usual, told, None)
    less = STEP_MIN * round(usual * back.share / STEP_MIN)
    return ProposedMinutes(min(max(less, LEAST_MIN), usual), usual, None, back)


@dataclass(frozen=True, slots=True)
class WeekdayHabit:
    """What the last weeks say of a weekday: played on so many of its days, typically so long."""

    played: int
    days: int
    minutes: int


def weekday_habit(state: State, day: date) -> WeekdayHabit | None:
    """Say how long the player really plays on this weekday, where that is known and otherwise.

    None also where the minutes of the day or of its weekday were told: the player has said so.
    """
    if minutes_told(state, day) is not None:
        return None
    same = [
        d
        for d in days_behind(state, day, RHYTHM_DAYS)
        if d.weekday() == day.weekday() and d not in state.days_told
    ]
    minutes = [m for d in same if (m := state.minutes_on.get(d, 0.0)) >= 1.0]
    if len(minutes) < HABIT_DAYS:
        return None
    typical = max(round(median(minutes)), LEAST_MIN)
    usual = told_on(state, day)
    differs = abs(typical - usual) > HABIT_OFF * usual
    return WeekdayHabit(len(minutes), len(same), typical) if differs else None

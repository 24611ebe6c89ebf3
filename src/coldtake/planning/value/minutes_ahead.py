"""Minutes of practice on the days ahead: what was told of them, and what is really played.

What is told of a day outranks its weekday, and that the usual minutes (a setting). How much of what
is told is really played is learnt from the last four weeks; days told off say nothing about it. A
usual week of minutes is shared between its weekdays as told, and then as they are really played:
the deviations of the last eight weeks are drawn towards what was told by positive-part James and
Stein (Efron and Morris 1975, Data analysis using Stein's estimator and its generalizations, Journal
of the American Statistical Association 70:311, from memory), so that a player without a rhythm gets
none. Every number that speaks of "minutes before a date" is read from here.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from coldtake.domain.history.state import State
from coldtake.domain.history.told_days import minutes_told
from coldtake.learning.memory_law import Array
from coldtake.planning.value.coming_back import shares_back
from coldtake.settings import value_of

PACE_DAYS = 28  # days over which the minutes really played are averaged
FIRST_DAYS, FIRST_SHARE = 7.0, 0.85  # a first guess weighs as so many days: a share of what is told
RHYTHM_DAYS = 56  # days from which a rhythm of weekdays is learnt
TOLD_WEEKS, UNTOLD_WEEKS = 4.0, 1.0  # weeks as which it weighs that a weekday was told, or not
AHEAD_DAYS = 400  # days that are told apart; each one after them is an average day
WEEK = 7


@dataclass(frozen=True, slots=True)
class DayShares:
    """What each day ahead has of an average day's minutes: 1 as usual, 0 a day off.

    of_day : by the days from the first one, (AHEAD_DAYS,)
    before : their sum before each of them, (AHEAD_DAYS + 1,): an average day's minutes times
        `until(n)` are there on the n days from the first one on
    """

    of_day: Array
    before: Array

    @classmethod
    def of(cls, of_day: Array) -> "DayShares":
        """Add the days up."""
        return cls(of_day, np.concatenate([[0.0], np.cumsum(of_day)]))

    def until(self, days: Array | float) -> Array:
        """How many average days there are in the next so many days, of any shape."""
        over = np.maximum(np.asarray(days, dtype=float) - AHEAD_DAYS, 0.0)
        return np.asarray(np.interp(days, np.arange(len(self.before)), self.before) + over)

    def between(self, first: int, days: Array) -> Array:
        """Count the same in so many days that begin `first` days ahead."""
        return self.until(first + days) - self.until(first)

    def on(self, ahead: int) -> float:
        """What one day has."""
        return float(self.of_day[ahead]) if ahead < AHEAD_DAYS else 1.0

    def days_for(self, amount: Array | float) -> Array:
        """Return after how many days so many average days are there: `until` turned round."""
        over = np.maximum(np.asarray(amount, dtype=float) - self.before[-1], 0.0)
        return np.asarray(np.interp(amount, self.before, np.arange(len(self.before))) + over)

    def after(self, days: Array, amount: Array | float) -> Array:
        """Return the days after which so many average days have passed since some days ahead."""
        return self.days_for(self.until(days) + amount)

    def latest(self, days: int, amount: float) -> float:
        """Return the days after which so many average days are just left before a date.

        Negative, in average days, where there are fewer from the first one on.
        """
        least = float(self.until(days)) - amount
        return float(self.days_for(least)) if least >= 0.0 else least

    def without(self, first: int, days: int) -> "DayShares":
        """Return the same with so many days off."""
        of_day = self.of_day.copy()
        of_day[max(first, 0) : max(first + days, 0)] = 0.0
        return DayShares.of(of_day)


EVEN = DayShares.of(np.ones(AHEAD_DAYS))


def told_on(state: State, day: date) -> float:
    """Return the minutes that a day should have, by what was told, else by the setting."""
    told = minutes_told(state, day)
    return float(value_of(state.settings, "session_minutes") if told is None else told)


def usual_minutes(state: State) -> float:
    """Return the minutes of an average day of a usual week, as told; never 0."""
    setting = float(value_of(state.settings, "session_minutes"))
    week = [float(state.weekdays_told.get(w, setting)) for w in range(1, WEEK + 1)]
    return sum(week) / WEEK or setting


def minutes_per_day(state: State, day: date) -> float:
    """Minutes really played on an average day of a usual week, missed days included.

    By the last four weeks; before a week of history is there, what was told is mixed in.
    """
    offered = usual_minutes(state)
    told = sum(told_on(state, d) / offered for d in days_behind(state, day, PACE_DAYS))
    since = _since(state, day, PACE_DAYS)
    played = sum(minutes for on, minutes in state.minutes_on.items() if since <= on < day)
    return (played + FIRST_DAYS * offered * FIRST_SHARE) / (told + FIRST_DAYS)


def share_of_days(state: State, day: date) -> float:
    """Share of the days that are meant for practice on which something is played.

    The last four weeks, and a first guess: a week in which six days of seven are played.
    """
    since = _since(state, day, PACE_DAYS)
    played = sum(since <= on < day for on in state.minutes_on)
    meant = sum(told_on(state, d) > 0.0 for d in days_behind(state, day, PACE_DAYS))
    return min((played + 6.0) / (meant + 7.0), 1.0)


def days_behind(state: State, day: date, most: int) -> Iterator[date]:
    """Give the days before a day, at the most so many, from the first one played on."""
    since = _since(state, day, most)
    return (since + timedelta(days=n) for n in range((day - since).days))


def _since(state: State, day: date, most: int) -> date:
    return max(min(state.minutes_on, default=day), day - timedelta(days=most))


def week_shares(state: State, day: date) -> Array:
    """What each weekday, from Monday on, has of an average day of a usual week: (7,), mean 1."""
    offered = usual_minutes(state)
    setting = float(value_of(state.settings, "session_minutes"))
    told = np.array([state.weekdays_told.get(w, setting) / offered for w in range(1, WEEK + 1)])
    if not told.any():
        return told
    learnt = np.where(told > 0.0, told + _rhythm(state, day, told), 0.0)
    learnt = np.maximum(learnt, 0.0)
    mean = learnt.mean()
    return np.asarray(learnt * told.mean() / mean) if mean > 0.0 else told


def _rhythm(state: State, day: date, told: Array) -> Array:
    """By how much the weekdays are really played otherwise than told, shrunk (7,)."""
    days = [d for d in days_behind(state, day, RHYTHM_DAYS) if d not in state.days_told]
    played = np.array([state.minutes_on.get(d, 0.0) for d in days])
    at = np.array([d.weekday() for d in days], dtype=int)
    count = np.bincount(at, minlength=WEEK)
    level = played.sum() / max(float(told[at].sum()), 1e-9) if days else 0.0
    if (count - 1).clip(0).sum() < WEEK or level <= 0.0:  # not two weeks yet
        return np.zeros(WEEK)
    mean = np.bincount(at, played, minlength=WEEK) / np.maximum(count, 1)
    off = mean / level - told
    error = ((played - mean[at]) ** 2).sum() / (count - 1).clip(0).sum() / level**2
    spread = float((count * off**2).sum())
    kept = max(1.0 - (WEEK - 3) * error / spread, 0.0) if spread > 0.0 else 0.0
    weeks = np.array(
        [TOLD_WEEKS if w in state.weekdays_told else UNTOLD_WEEKS for w in range(1, 8)]
    )
    return np.asarray(kept * off * count / (count + weeks))


def shares_ahead(state: State, day: date) -> DayShares:
    """Say what each day from `day` on has of an average day's minutes."""
    offered, week = usual_minutes(state), week_shares(state, day)
    of_day = np.tile(week, AHEAD_DAYS // WEEK + 2)[day.weekday() :][:AHEAD_DAYS].copy()
    said = np.zeros(AHEAD_DAYS, dtype=bool)
    for on, told in state.days_told.items():
        ahead = (on - day).days
        if 0 <= ahead < AHEAD_DAYS:
            of_day[ahead], said[ahead] = told.minutes / offered, True
    return DayShares.of(np.array(shares_back(state, day, of_day.tolist(), said.tolist())))


def minutes_until(state: State, day: date, until: date) -> float:
    """Minutes of practice from `day` on and before another day, as they are expected."""
    days = max((until - day).days, 0)
    return minutes_per_day(state, day) * float(shares_ahead(state, day).until(days))

"""What tomorrow's minutes are worth, the days to the dates looked ahead.

The price of a minute is the one at which the best courses of all steps together take the minutes
that the player really plays: above it nothing more fits. Steps whose course is not worth its
minutes at that price are left alone (triage), and a step that others wait for carries their worth.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from coldtake.domain.state import State
from coldtake.learning.beliefs import enough_rows
from coldtake.learning.law import Array
from coldtake.learning.memory import minutes_to_met
from coldtake.planning import prices
from coldtake.planning.prices import PRICES
from coldtake.planning.prospect import Prospect, Steps, chances, kept_up, moved, prospect
from coldtake.planning.values import StepValue
from coldtake.settings import value_of

STEP_DAYS = 4  # days that a step before in the chain is thought to take; a guess
PACE_DAYS = 28  # days over which the minutes really played are averaged
SHOWN_MIN = 8  # minutes shown where none are worth their price
CHAIN_MOST = 4.0  # a step never counts more than this many times its own weight


@dataclass(frozen=True, slots=True)
class Priced:
    """The price of a minute, and each step's weight with the worth of those that wait for it."""

    price: float
    weight: Array
    minutes: Array


def minutes_per_day(state: State, day: date) -> float:
    """Minutes a day really played over the last four weeks, missed days included.

    Before a week of history is there, the setting is mixed in.
    """
    offered = float(value_of(state.settings, "session_minutes"))
    first = min((w.day for w in state.works), default=day)
    since = max(first, day - timedelta(days=PACE_DAYS))
    days = (day - since).days
    played = sum(w.minutes for w in state.works if since <= w.day < day)
    return (played + 7.0 * offered * 0.85) / (days + 7.0)


def best_ladder(p: Prospect) -> Array:
    """Value of each step's best course for each price, weight 1: (S, P)."""
    work = p.after - (PRICES[None, :] * p.minutes[:, None])[None, None]
    return np.asarray(np.maximum(work.max(axis=2), p.idle).mean(axis=1))


def _chained(steps: Steps, ladder: Array, never: Array, price: float) -> Array:
    """Weights: a step that others wait for carries what these are worth beyond doing nothing."""
    weight = steps.weight.copy()
    for i in np.argsort(-steps.depth, kind="stable"):
        if not steps.needs[i]:
            continue
        net = weight[i] * (_value(ladder[i], price / weight[i]) - never[i])
        days = max(steps.left[i] - STEP_DAYS * steps.depth[i], 0) / max(steps.left[i], 1)
        for n in steps.needs[i]:
            weight[n] += max(net, 0.0) * days / len(steps.needs[i])
    return np.minimum(weight, CHAIN_MOST * steps.weight)


def _value(ladder: Array, price: float) -> float:
    return float(prices.at_price(ladder[None], np.array([price]))[0])


def priced(p: Prospect, per_day: float) -> Priced:
    """Find the price at which the minutes to each date just fit (bisection on its logarithm)."""
    ladder, never = best_ladder(p), p.never.mean(axis=1)
    horizons = np.unique(p.steps.left)

    def crowded(price: float) -> bool:
        weight = _chained(p.steps, ladder, never, price)
        minutes = prices.minutes_at(ladder, price / weight)
        return any(minutes[p.steps.left <= h].sum() > per_day * h for h in horizons)

    price = _bisected(crowded, float(PRICES[0] / 4), float(PRICES[-1] * 4))
    weight = _chained(p.steps, ladder, never, price)
    return Priced(price, weight, prices.minutes_at(ladder, price / weight))


def _bisected(crowded: Callable[[float], bool], low: float, high: float) -> float:
    for _ in range(18):
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if crowded(middle) else (low, middle)
    return high


def day_values(state: State, day: date, *, slot_most: int = 12) -> tuple[StepValue, ...]:
    """Value every plannable step's minutes on `day`, from the log up to the evening before.

    Plannable are the steps of current topics; while none is current, those of waiting topics.
    Work values are in points: 0.01 of the chance of coming out clean, times importance / 3.
    """
    p = prospect(state, day, slot_most)
    if not p.steps.ids:
        return ()
    worth = priced(p, minutes_per_day(state, day))
    return _Table(state, day, slot_most, p, worth).values()


class _Table:
    """Turns prospect and price into the records that the choice of a day reads."""

    def __init__(self, state: State, day: date, slot_most: int, p: Prospect, worth: Priced) -> None:
        self.state, self.day, self.p, self.worth = state, day, p, worth
        self.slot_most = slot_most
        kappa = worth.price / worth.weight
        shape = p.after.shape[:3]
        self.after = prices.at_price(p.after, np.broadcast_to(kappa[:, None, None], shape))
        self.idle = prices.at_price(p.idle, np.broadcast_to(kappa[:, None], p.idle.shape[:2]))
        self.kappa = kappa

    def values(self) -> tuple[StepValue, ...]:
        """Make all records."""
        work, cold = self._work_values(), self._cold_values()
        need, due = self._needs(), self._due()
        alone = chances(self.p.thin, self.p.steps.left[:, None].astype(float)).mean(axis=1)
        helped = self._chance_with(work)
        now = chances(self.p.thin, 0.0).mean(axis=1)
        planned = self._planned()
        return tuple(
            StepValue(
                step_id=step_id,
                topic_id=self.state.steps[step_id].topic_id,
                work_value=tuple(float(v) for v in work[i]),
                cold_value=float(cold[i]),
                available=bool(self.p.steps.available[i]),
                due=self.state.steps[step_id].topic_id in due,
                chance_without=float(alone[i]),
                chance_with=float(max(helped[i], alone[i])),
                need_left_min=float(need[i]),
                chance_today=float(now[i]),
                why=self._why(i, alone[i], planned[i], need[i]),
            )
            for i, step_id in enumerate(self.p.steps.ids)
        )

    def _work_values(self) -> Array:
        """Points for 0 … slot_most minutes (S, slot_most + 1), never falling."""
        gain = (self.after - self.idle[:, :, None]).mean(axis=1)
        whole = np.arange(self.slot_most + 1, dtype=float)
        knots = np.concatenate([[0.0], self.p.minutes])
        rows = [np.interp(whole, knots, np.concatenate([[0.0], row])) for row in gain]
        points = 100.0 * self.worth.weight[:, None] * np.array(rows)
        points[~self.p.steps.available] = 0.0
        return np.asarray(np.maximum(np.maximum.accumulate(points, axis=1), 0.0))

    def _cold_values(self) -> Array:
        """Points for a cold take: what knowing is worth, and what playing it once keeps.

        Knowing: the best choice of minutes after a yes and after a no, against the best without.
        """
        choices = np.concatenate(
            [self.idle[:, :, None], self.after - self.kappa[:, None, None] * self.p.minutes], axis=2
        )
        yes = self.p.yes[:, :, None]
        told = (choices * yes).mean(axis=1).max(axis=1)
        told = told + (choices * (1.0 - yes)).mean(axis=1).max(axis=1)
        knowing = told - choices.mean(axis=1).max(axis=1)
        keeping = (self.after[:, :, 0] - self.idle).mean(axis=1)
        points = 100.0 * self.worth.weight * (np.maximum(knowing, 0.0) + np.maximum(keeping, 0.0))
        played = np.array([self.p.beliefs.filters[r].day is not None for r in self.p.steps.rows])
        return np.where(self.p.steps.available & played, points, 0.0)

    def _needs(self) -> Array:
        """Minutes still expected: to meet the step, and on the best course to its date."""
        b = self.p.beliefs
        to_met = (minutes_to_met(self.state, b) * b.weight).sum(axis=1)[self.p.steps.rows]
        course = self.worth.minutes
        return np.where(self.p.steps.done, course, np.maximum(to_met, course))

    def _chance_with(self, work: Array) -> Array:
        """Chance on the date after tomorrow's best minutes at the price, and nothing more.

        Where no minutes are worth the price, eight are shown for comparison.
        """
        net = work - 100.0 * self.worth.price * np.arange(self.slot_most + 1)
        best = np.maximum(net.argmax(axis=1), min(SHOWN_MIN, self.slot_most))
        left = self.p.steps.left[:, None].astype(float)
        chance = chances(self.p.thin, left)
        for minutes in np.unique(best[best > 0]):
            skill, half_life = moved(self.p.thin, 0.0, float(minutes))
            after = type(self.p.thin)(
                skill,
                half_life,
                self.p.thin.rate,
                self.p.thin.shape,
                self.p.thin.span,
                np.zeros_like(self.p.thin.gap),
            )
            chance = np.where((best == minutes)[:, None], chances(after, left), chance)
        return np.asarray(chance.mean(axis=1))

    def _planned(self) -> Array:
        """Chance that the best course leads to, roughly: its value without the price paid."""
        ladder = best_ladder(self.p)
        value = prices.at_price(ladder, self.kappa) + self.kappa * self.worth.minutes
        return np.clip(value, 0.0, 1.0)

    def _due(self) -> set[str]:
        """Topics that would not be met within `touch_days` if they were left out tomorrow.

        Kept-up topics wait for their cold takes, and with more topics than the sessions of those
        days can hold the rule cannot be kept: then nothing is due.
        """
        touch = value_of(self.state.settings, "touch_days")
        most = value_of(self.state.settings, "topics_most")
        topics = {self.state.steps[i].topic_id for i in self.p.steps.ids} - kept_up(self.state)
        if len(topics) > touch * most:
            return set()
        last = dict.fromkeys(topics, date.min)
        for step_id, day in self.state.touched:
            step = self.state.steps.get(step_id)
            if step and step.topic_id in last and day < self.day:
                last[step.topic_id] = max(last[step.topic_id], day)
        return {t for t, d in last.items() if (self.day - d).days >= touch}

    def _why(self, i: int, alone: float, planned: float, need: float) -> str:
        step = self.state.steps[self.p.steps.ids[i]]
        on = self.state.topics[step.topic_id].performance_on
        when = f"on {on.day} {on:%B}" if on and on > self.day else "in eight weeks"
        told = "" if enough_rows(self.p.beliefs)[self.p.steps.rows[i]] else "First guess: "
        words = (
            f"{told}{alone:.0%} clean cold {when} if left alone, about {planned:.0%} with the plan"
        )
        words += f"; about {max(round(need), 1)} more minutes."
        return words[:1].upper() + words[1:]

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
COLD_SHARE = 0.4  # of two minutes' work that one cold take is worth as playing; a guess
SEEING = 0.15  # points for each point of chance on the date that a cold take makes surer; a guess
CHECK_SHARE = 0.1  # of an average day's minutes that cold takes may claim so; a guess
REST_DAYS = 2.0  # days without playing before a cold take says anything about keeping; a guess
PRICE_LEAST = 0.0016  # points of chance / 100 a minute: nobody's minutes are free; a guess
NEED_LEAST = 10.0  # minutes that keeping a met step asks for at the least; a guess
SHOWN_MIN = 8  # minutes shown where none are worth their price
SPACING_DAYS = 8.0  # days after which a step's turn has come half-way again; see `_turns`
OUTSIDE = 0.2  # weight of topics that do not fit until their dates; see `_fitting`
COURSE = 1.6  # minutes that a step takes to its date, times those until it is met; a guess
KEEPING = 0.3  # the same for a step that has had them all; a guess
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
    first = min(state.minutes_on, default=day)
    since = max(first, day - timedelta(days=PACE_DAYS))
    days = (day - since).days
    played = sum(minutes for on, minutes in state.minutes_on.items() if since <= on < day)
    return (played + 7.0 * offered * 0.85) / (days + 7.0)


def best_ladder(p: Prospect) -> Array:
    """Value of each step's best course for each price, weight 1: (S, P)."""
    dear = prices.DEARNESS[p.steps.left, p.steps.aim][:, None, None, None]
    work = p.after - dear * PRICES * p.minutes[:, None]
    return np.asarray(np.maximum(work.max(axis=2), p.idle).mean(axis=1))


def _chained(steps: Steps, ladder: Array, never: Array, price: float) -> Array:
    """Weights: a step that others wait for carries what these are worth beyond doing nothing.

    From the far end of each chain, one depth at a time; the later a step's turn, the less time.
    """
    weight = steps.weight.copy()
    time_left = np.maximum(steps.left - STEP_DAYS * steps.depth, 0) / np.maximum(steps.left, 1)
    for depth in range(int(steps.depth.max(initial=0)), 0, -1):
        rows = np.flatnonzero(steps.depth == depth)
        value = prices.at_price(ladder[rows], price / weight[rows])
        net = np.maximum(weight[rows] * (value - never[rows]), 0.0) * time_left[rows]
        for i, worth in zip(rows, net, strict=True):
            for n in steps.needs[i]:
                weight[n] += worth / len(steps.needs[i])
    return np.minimum(weight, CHAIN_MOST * steps.weight)


def priced(p: Prospect, per_day: float) -> Priced:
    """Find the price at which the minutes to each date just fit (bisection on its logarithm)."""
    ladder, never = best_ladder(p), p.never.mean(axis=1)
    horizons = np.unique(p.steps.left)
    dear = prices.MEAN_DEARNESS[p.steps.left, p.steps.aim]

    def crowded(price: float) -> bool:
        weight = _chained(p.steps, ladder, never, price)
        minutes = prices.minutes_at(ladder, price / weight) / dear
        return any(minutes[p.steps.left <= h].sum() > per_day * h for h in horizons)

    price = _bisected(crowded, PRICE_LEAST, float(PRICES[-1] * 4))
    weight = _chained(p.steps, ladder, never, price)
    return Priced(price, weight, prices.minutes_at(ladder, price / weight) / dear)


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
        self.played = state.minutes_of
        kappa = worth.price / worth.weight
        shape = p.after.shape[:3]
        self.after = prices.at_price(p.after, np.broadcast_to(kappa[:, None, None], shape))
        self.idle = prices.at_price(p.idle, np.broadcast_to(kappa[:, None], p.idle.shape[:2]))
        self.kappa = kappa
        self.today = kappa * prices.DEARNESS[p.steps.left, p.steps.aim]

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
        weight = self.worth.weight * self._turns() * self._fitting()
        points = 100.0 * weight[:, None] * np.array(rows)
        points[~self.p.steps.available] = 0.0
        return np.asarray(np.maximum(np.maximum.accumulate(points, axis=1), 0.0))

    def _turns(self) -> Array:
        """Spacing: how far each step's turn has come again; 1 after 16 days or when never played.

        The tables see too little difference between today and tomorrow to space a step's visits
        well; measured in bench/learning: without this the plan loses a sixth.
        """
        b, rows = self.p.beliefs, self.p.steps.rows
        played = np.array([b.filters[r].day is not None for r in rows])
        gap = np.where(played, b.gap_days[rows], 2.0 * SPACING_DAYS)
        return np.asarray((1.5 * gap / (gap + SPACING_DAYS)) ** 2)

    def _fitting(self) -> Array:
        """Take on only what fits: 1 for steps of topics that fit until their dates, else OUTSIDE.

        Topics are taken by importance of what comes out over the minutes still needed. While there
        are no more topics than the limit of current ones, the player has chosen: all count.
        """
        topics: dict[str, list[int]] = {}
        for n, step_id in enumerate(self.p.steps.ids):
            topics.setdefault(self.state.steps[step_id].topic_id, []).append(n)
        if len(topics) <= value_of(self.state.settings, "current_topics"):
            return np.ones(len(self.p.steps.ids))
        cost = {t: self._course_minutes(rows) for t, rows in topics.items()}
        worth = {t: self.p.steps.weight[rows].sum() / cost[t] for t, rows in topics.items()}
        room = minutes_per_day(self.state, self.day) * float(self.p.steps.left.max())
        fits = np.full(len(self.p.steps.ids), OUTSIDE)
        for topic in sorted(topics, key=lambda t: -worth[t]):
            if cost[topic] <= room:
                room -= cost[topic]
                fits[topics[topic]] = 1.0
        return fits

    def _course_minutes(self, rows: list[int]) -> float:
        """Minutes that the steps of a topic still take to the date, roughly."""
        total = 0.0
        for n in rows:
            need = self.state.steps[self.p.steps.ids[n]].need_min
            keeping = KEEPING * need * min(float(self.p.steps.left[n]) / 40.0, 1.0)
            total += max(COURSE * need - self.played.get(self.p.steps.ids[n], 0.0), keeping)
        return max(total, 1.0)

    def _cold_values(self) -> Array:
        """Points for a cold take: what knowing is worth, and what playing it once keeps."""
        keeping = COLD_SHARE * (self.after[:, :, 0] - self.idle).mean(axis=1)
        worth = np.maximum(self._deciding(), 0.0) + np.maximum(keeping, 0.0)
        points = 100.0 * self.worth.weight * (worth + SEEING * self._surer())
        return np.where(self.p.steps.available & self.p.steps.done, points, 0.0)

    def _deciding(self) -> Array:
        """Value of the best minutes after a yes and after a no, above the best without asking."""
        choices = np.concatenate(
            [self.idle[:, :, None], self.after - self.today[:, None, None] * self.p.minutes], axis=2
        )
        yes = self.p.yes[:, :, None]
        told = (choices * yes).mean(axis=1).max(axis=1)
        told = told + (choices * (1.0 - yes)).mean(axis=1).max(axis=1)
        return np.asarray(told - choices.mean(axis=1).max(axis=1))

    def _surer(self) -> Array:
        """Say how much of the doubt about the date one cold take is expected to take away.

        The standard deviation of the chance on the date that the answer explains (expected
        reduction of variance: Lindley 1956, Annals of Mathematical Statistics 27:986, for the
        idea of valuing an experiment by what it tells). Only what has rested REST_DAYS counts, and
        only the steps that tell most, as many as CHECK_SHARE of an average day has room for: a
        plan made of questions alone would play nothing. Measured on four simulated players of 25
        minutes a day: the score falls by 0.00 to 0.02, the price of an honest outlook.
        """
        date_chance = chances(self.p.thin, self.p.steps.left[:, None].astype(float))
        yes = np.clip(self.p.yes.mean(axis=1), 1e-6, 1.0 - 1e-6)
        mean = date_chance.mean(axis=1)
        after_yes = (date_chance * self.p.yes).mean(axis=1) / yes
        after_no = (date_chance * (1.0 - self.p.yes)).mean(axis=1) / (1.0 - yes)
        told = np.sqrt(yes * (after_yes - mean) ** 2 + (1.0 - yes) * (after_no - mean) ** 2)
        rested = self.p.beliefs.gap_days[self.p.steps.rows] >= REST_DAYS
        told = np.where(rested & self.p.steps.available & self.p.steps.done, told, 0.0)
        cold_min = value_of(self.state.settings, "cold_minutes")
        room = max(int(CHECK_SHARE * minutes_per_day(self.state, self.day) / cold_min), 1)
        told[np.argsort(-(told * self.worth.weight), kind="stable")[room:]] = 0.0
        return np.asarray(told)

    def _needs(self) -> Array:
        """Minutes still expected: to meet the step, and on the best course to its date."""
        b = self.p.beliefs
        to_met = (minutes_to_met(self.state, b) * b.weight).sum(axis=1)[self.p.steps.rows]
        course = self.worth.minutes
        return np.where(
            self.p.steps.done, np.maximum(course, NEED_LEAST), np.maximum(to_met, course)
        )

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

        Kept-up topics wait for their cold takes. With more topics than the limit of current ones
        the rule would be paid for by what matters more, so then nothing is due.
        """
        touch = value_of(self.state.settings, "touch_days")
        most = value_of(self.state.settings, "current_topics")
        topics = {self.state.steps[i].topic_id for i in self.p.steps.ids} - kept_up(self.state)
        if len(topics) > most:
            return set()
        last = dict.fromkeys(topics, date.min)
        for step_id in self.p.steps.ids:
            topic_id = self.state.steps[step_id].topic_id
            days = [day for day in self.state.past(step_id).days if day < self.day]
            if topic_id in last and days:
                last[topic_id] = max(last[topic_id], *days)
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

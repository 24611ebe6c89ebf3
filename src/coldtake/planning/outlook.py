"""What will be ready when: the coming days played through many times, the planner in the loop.

Each draw takes one possible player and one possible truth for every step from the posterior, then
lives day after day: the steps whose turn is worth most at tonight's price get slots until the
minutes are used up, and days are missed as often as they have been. The planner in the loop is a
shortcut of planning.lookahead: the price stays as it is tonight, slots have one length, and a
step's turn is judged by doing it today against tomorrow. Not yet held against the real planner,
and its intervals are not yet calibrated on simulated players.

Draws come from a seed made of the log's own content: equal logs give equal outlooks.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from coldtake.domain.estimate import Interval, StepOutlook, TopicOutlook
from coldtake.domain.state import State
from coldtake.learning import law
from coldtake.learning.beliefs import Beliefs, enough_rows
from coldtake.learning.law import Array
from coldtake.planning import prices
from coldtake.planning.lookahead import Priced, minutes_per_day, priced
from coldtake.planning.prices import DAYS_MOST
from coldtake.planning.prospect import OPEN_DAYS, Steps, Thin, chances, moved, prospect
from coldtake.ports import Progress

Flags = NDArray[np.bool_]

BATCHES = 4
DRAWS = 32  # in a batch
SLOT_MIN = 8.0
READY = 0.7  # a step counts as ready from this chance of a clean cold take on


@dataclass(frozen=True, slots=True)
class Days:
    """How the coming days go: minutes of a session, and the share of days that have one."""

    minutes: float
    share: float


@dataclass(frozen=True, slots=True)
class Played:
    """What a batch of draws came to: chance on the date (D, S), first ready day or -1 (D, S)."""

    final: Array
    ready: Array


def outlook(
    state: State,
    today: date,
    *,
    minutes_per_day: float | None = None,
    progress: Progress | None = None,
) -> tuple[TopicOutlook, ...]:
    """Look ahead for every plannable topic, in the state's order.

    A topic without a date (or whose date is past) is looked at on the day OPEN_DAYS ahead.
    minutes_per_day : what is really played on the average day; default from the log
    progress : asked after every batch; when it says stop, the batches so far are the answer
    """
    found: tuple[TopicOutlook, ...] = ()
    batches = refined(state, today, minutes_per_day=minutes_per_day)
    for done, latest in enumerate(batches, start=1):
        found = latest
        words = f"{done * DRAWS} of {BATCHES * DRAWS} possible futures"
        if progress and not progress.step(done, BATCHES, words):
            break
    return found


def refined(
    state: State, today: date, *, minutes_per_day: float | None = None
) -> Iterator[tuple[TopicOutlook, ...]]:
    """Give the outlook after each batch of draws, every time from all draws so far."""
    p = prospect(state, today + timedelta(days=1), int(SLOT_MIN))
    if not p.steps.ids:
        yield ()
        return
    per_day = _per_day(state, today, minutes_per_day)
    worth = priced(p, per_day)
    days = _days(state, today, per_day)
    rng = np.random.default_rng(_seed(state, today, per_day))
    done: list[Played] = []
    for _ in range(BATCHES):
        futures = _drawn(p.beliefs, p.steps, rng)
        done.append(_lived(p.steps, futures, worth, days, rng))
        yield _told(state, today, p.steps, p.beliefs, done)


def _per_day(state: State, today: date, given: float | None) -> float:
    return minutes_per_day(state, today + timedelta(days=1)) if given is None else given


def _seed(state: State, today: date, per_day: float) -> int:
    said = (today.isoformat(), f"{per_day:.3f}", *state.steps, str(state.try_count))
    return int.from_bytes(hashlib.sha256("\x1f".join(said).encode()).digest()[:8], "big")


def _days(state: State, today: date, per_day: float) -> Days:
    """Share of days played in the last four weeks (a week of five in six is mixed in)."""
    since = today - timedelta(days=28)
    first = min(state.minutes_on, default=today)
    span = max((today - max(since, first)).days, 0)
    played = len([day for day in state.minutes_on if since <= day < today])
    share = min((played + 6.0) / (span + 7.0), 1.0)
    return Days(per_day / share, share)


def _drawn(b: Beliefs, steps: Steps, rng: np.random.Generator) -> Thin:
    """Draw players, then for each a particle of every step, given the player's type: (S, D)."""
    loglik = np.stack([b.filters[r].loglik for r in steps.rows])
    likelihood = np.exp(loglik - loglik.max(axis=1, keepdims=True))
    _, size, kinds = b.cloud.given_type.shape
    types = rng.choice(b.types.size, size=DRAWS, p=b.types.ravel())
    chosen = np.empty((len(steps.rows), DRAWS), dtype=int)
    for d, (k, g) in enumerate(zip(*np.divmod(types, kinds), strict=True)):
        own = likelihood[:, k * size : (k + 1) * size] * b.cloud.given_type[k, :, g]
        reached = np.cumsum(own, axis=1)
        aims = rng.random(len(reached)) * reached[:, -1]
        spot = (reached < aims[:, None]).sum(axis=1)
        chosen[:, d] = k * size + np.minimum(spot, size - 1)
    rows = steps.rows[:, None]
    gap = np.broadcast_to(b.gap_days[rows], chosen.shape).copy()
    return Thin(
        skill=b.skill[rows, chosen],
        half_life=b.half_life[rows, chosen],
        rate=b.rate[rows, chosen],
        shape=b.cloud.shape[chosen],
        span=b.cloud.span[chosen],
        gap=gap,
    )


class _Life:
    """The days of one batch of draws."""

    def __init__(self, steps: Steps, thin: Thin, worth: Priced) -> None:
        self.steps, self.thin, self.worth = steps, thin, worth
        self.kappa = np.broadcast_to((worth.price / worth.weight)[:, None], thin.skill.shape)
        self.met = np.broadcast_to(steps.done[:, None], thin.skill.shape).copy()
        self.kind = prices.Kind(steps.aim[:, None], thin.shape)

    def _value(self, days: int, left: Array) -> Array:
        skill, half_life = moved(self.thin, float(days), SLOT_MIN)
        seen = skill * self.thin.span / law.SPAN
        ladder = prices.ladder_after(
            self.kind, left.astype(int)[:, None], seen, half_life, self.thin.rate
        )
        dear = prices.DEARNESS[left.astype(int).clip(0), self.steps.aim][:, None]
        return np.asarray(prices.at_price(ladder, self.kappa) - self.kappa * SLOT_MIN * dear)

    def turn(self, left: Array) -> Array:
        """Worth of a slot today against the same tomorrow, or never: (S, D), points per weight."""
        now, later = self._value(0, left), self._value(1, left - 1)
        aims = [prices.AIMS[a] for a in self.steps.aim]
        flow = np.array([a.kept_per_day for a in aims])[:, None]
        final = np.array([a.final for a in aims])[:, None]
        on_date = chances(self.thin, left[:, None])
        middle = chances(self.thin, left[:, None] / 2.0)
        never = final * on_date + flow * left[:, None] * middle
        later = np.where(left[:, None] > 1, later + flow * chances(self.thin, 1.0), never)
        dear = prices.DEARNESS[left.astype(int).clip(0), self.steps.aim][:, None]
        gain = now - np.maximum(later, never) + self.kappa * SLOT_MIN * dear
        return np.where(self.open & (left[:, None] >= 1), gain * self.worth.weight[:, None], 0.0)

    @property
    def open(self) -> Flags:
        """Steps whose needs are met, (S, D)."""
        free: Flags = np.ones_like(self.met)
        for i, needs in enumerate(self.steps.needs):
            for n in needs:
                free[i] &= self.met[n]
        return free

    def play(self, chosen: Flags) -> None:
        """Work on the chosen steps (S, D); the others grow a day older."""
        skill, half_life = moved(self.thin, 0.0, SLOT_MIN)
        self.thin = replace(
            self.thin,
            skill=np.where(chosen, skill, self.thin.skill),
            half_life=np.where(chosen, half_life, self.thin.half_life),
            gap=np.where(chosen, 0.0, self.thin.gap),
        )
        self.met |= chosen & (chances(self.thin, 0.0) > READY)

    def night(self) -> None:
        """A day passes."""
        self.thin = replace(self.thin, gap=self.thin.gap + 1.0)


def _lived(steps: Steps, thin: Thin, worth: Priced, days: Days, rng: np.random.Generator) -> Played:
    """Live from tomorrow to the last date."""
    life = _Life(steps, thin, worth)
    size = thin.skill.shape
    final, ready = np.full(size, np.nan), np.full(size, -1.0)
    for ahead in range(int(steps.left.max()) + 1):
        chance = chances(life.thin, 0.0)
        on_date = steps.left == ahead
        final[on_date] = chance[on_date]
        live = np.greater_equal(steps.left, ahead)[:, None]
        ready = np.where((chance >= READY) & (ready < 0) & live, ahead + 1.0, ready)
        comes = np.less(rng.random(size[1:]), days.share)
        left = (steps.left - ahead).astype(float)
        slots = int(rng.random() + days.minutes / SLOT_MIN)
        life.play(_best(life.turn(left), slots) & comes[None, :])
        life.night()
    return Played(final, ready)


def _best(turn: Array, slots: int) -> Flags:
    """Mark the steps whose turn is worth most, `slots` of them in each draw, worthless ones not."""
    if slots < 1:
        return np.zeros(turn.shape, dtype=bool)
    count = min(slots, len(turn))
    least = -np.sort(-turn, axis=0)[count - 1]
    return np.asarray((turn >= least) & (turn > 0.0))


def _told(
    state: State, today: date, steps: Steps, b: Beliefs, done: list[Played]
) -> tuple[TopicOutlook, ...]:
    final = np.concatenate([d.final for d in done], axis=1)
    ready = np.concatenate([d.ready for d in done], axis=1)
    known = np.array(enough_rows(b))[steps.rows]
    rng = np.random.default_rng(len(steps.ids))
    clean = rng.random(final.shape) < final
    topics: dict[str, list[int]] = {}
    for n, step_id in enumerate(steps.ids):
        topics.setdefault(state.steps[step_id].topic_id, []).append(n)
    return tuple(
        _topic(today, t, rows, steps, known, final, clean, ready) for t, rows in topics.items()
    )


def _topic(
    today: date,
    topic_id: str,
    rows: list[int],
    steps: Steps,
    known: Flags,
    final: Array,
    clean: Flags,
    ready: Array,
) -> TopicOutlook:
    left = int(steps.left[rows[0]])
    return TopicOutlook(
        topic_id=topic_id,
        on=today + timedelta(days=1 + left),
        steps=tuple(
            StepOutlook(
                step_id=steps.ids[n], chance=_interval(final[n], mean=True), enough=bool(known[n])
            )
            for n in rows
        ),
        clean_steps=_interval(clean[rows].sum(axis=0)),
        ready_chance=float(final[rows].prod(axis=0).mean()),
        ready_by=_ready_by(today, ready[rows]),
        enough=bool(known[rows].any()),
    )


def _interval(values: Array, *, mean: bool = False) -> Interval:
    low, mid, high = np.quantile(values.astype(float), (0.1, 0.5, 0.9))
    if mean:
        mid = min(max(float(values.mean()), low), high)
    return Interval(low=float(low), mid=float(mid), high=float(high))


def _ready_by(today: date, ready: Array) -> tuple[date | None, date | None, date | None]:
    """Days by which every step has been ready once, in 1, 5 and 9 of 10 draws; None: not so."""
    whole = np.where((ready < 0).any(axis=0), np.inf, ready.max(axis=0))
    ordered = np.sort(whole)
    places = [min(int(np.ceil(len(ordered) * s)) - 1, len(ordered) - 1) for s in (0.1, 0.5, 0.9)]
    early, middle, late = (
        today + timedelta(days=int(ordered[p])) if np.isfinite(ordered[p]) else None for p in places
    )
    return early, middle, late


assert OPEN_DAYS <= DAYS_MOST

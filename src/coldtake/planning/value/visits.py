"""How many visits each step gets until its date, and what one tonight is worth.

Practice days couple only through their minutes. So every step is looked at by itself: visits of a
few minutes, evenly over the days to its date, 0, 1, 2 … of them, each number lived through on what
may be true of the step (`learning.memory_law`). What a step is worth with so many visits, less the
price of their minutes, decides how many it gets; the price is that at which all together ask for
the minutes that there are a day (Lagrangian relaxation of a multiple-choice knapsack: Everett 1963,
Operations Research 11:399; weakly coupled problems: Hawkins 2003, MIT; both from memory). The
visits are spread evenly because without a limit on single days every step would wait for the last
ones.

A visit tonight is worth what the step is worth with it and the later ones, against the later ones
alone. What others wait for is worth their turn too: a chain is never left at a hard link.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldtake.learning import memory_law
from coldtake.learning.memory_law import Array
from coldtake.planning.value.step_arrays import (
    KINDS,
    ON_DATE,
    PSI,
    Flags,
    StepArrays,
    ThinnedParticles,
)

Whole = NDArray[np.intp]

COUNTS = np.array([0, 1, 2, 3, 4, 5, 6, 8, 10, 13, 17, 22, 30])
VISIT_MIN = 6.0  # minutes of a visit, after which more bring less; tried in bench/learning
FINAL = 0.7  # weight of the chance on the date; the rest is its average until then
FINAL_KEPT = 0.5  # the same for what has no date; a guess
OPENING_DAYS = 3.0  # that each unmet step before it keeps a step waiting; a guess
WHOLE = 0.3  # what a whole topic counts against its steps; tried in bench/learning
ROUNDS = 2  # in which that is found: it hangs on what all of them get
OPENER = 0.3  # worth of a minute on what others wait for, in prices and days since; tried
OPENER_FRESH, OPENER_MOST = 6.0, 6.0  # days that count then for a step never played, and at most
COUNTED_ON = 0.7  # share of the minutes that is planned for; steps take longer than they look
OUTSIDE = 0.02  # share of its worth that a visit keeps which has no minutes in the days ahead


@dataclass(frozen=True, slots=True)
class Ahead:
    """Steps with M things that may be true of each (S, M), and the days to their dates (S, 1).

    fades : 0 for a step never played, which has nothing to lose; starts : days until it is open
    """

    steps: StepArrays
    thin: ThinnedParticles
    fades: Array
    left: Array
    starts: Array
    final: Array

    @staticmethod
    def of(steps: StepArrays, thin: ThinnedParticles, never: Flags) -> "Ahead":
        """Collect; never : steps that were never played (S,)."""
        left = steps.left.astype(float)
        return Ahead(
            steps=steps,
            thin=thin,
            fades=np.where(never, 0.0, 1.0)[:, None],
            left=left[:, None],
            starts=np.minimum(OPENING_DAYS * steps.depth, left - 1.0)[:, None],
            final=np.where(np.equal(steps.aim, ON_DATE), FINAL, FINAL_KEPT)[:, None],
        )

    def start(self) -> "Lived":
        """Where everything stands tonight."""
        thin = self.thin
        nothing = np.zeros_like(thin.skill)
        return Lived(
            self, thin.skill, thin.half_life, nothing + thin.gap, self.fades, self.left * 0, nothing
        )


@dataclass(frozen=True, slots=True)
class Lived:
    """How it stands after some visits: gap days after the last, `day` days from tonight.

    area : sum of the chance over the days so far (S, M)
    """

    ahead: Ahead
    skill: Array
    half_life: Array
    gap: Array
    fades: Array
    day: Array
    area: Array

    def chance(self, days: Array | float) -> Array:
        """Chance of a clean take after so many days without playing (S, M)."""
        thin = self.ahead.thin
        kept = memory_law.retention(self.gap + days * self.fades, self.half_life, PSI[thin.shape])
        return memory_law.clean_chance(self.skill * kept, thin.span)

    def visited(self, days: Array, minutes: float, going: Flags | bool = True) -> "Lived":
        """After so many days and a visit, for the rows that are `going` (S, 1)."""
        thin = self.ahead.thin
        days = np.where(going, days, 0.0)
        area = self.area + days * (self.chance(0.0) + self.chance(days)) / 2.0
        kinds = tuple(KINDS[:, thin.shape])
        skill, half_life = memory_law.after_day(
            self.skill,
            self.half_life,
            self.gap + days * self.fades,
            minutes,
            thin.rate,
            kinds,
        )
        return Lived(
            self.ahead,
            np.where(going, skill, self.skill),
            np.where(going, half_life, self.half_life),
            np.where(going, 0.0, self.gap),
            np.where(going, 1.0, self.fades),
            self.day + days,
            area,
        )

    def on_date(self) -> Array:
        """Chance on the date, nothing more being played (S,)."""
        return np.asarray(self.chance(self.ahead.left - self.day).mean(axis=1))

    def worth(self) -> Array:
        """Chance on the date and its average till then, weighed, nothing more played (S,)."""
        rest = self.ahead.left - self.day
        now, half, end = self.chance(0.0), self.chance(rest / 2.0), self.chance(rest)
        area = self.area + rest * (now + 4.0 * half + end) / 6.0
        final = self.ahead.final
        return np.asarray((final * end + (1.0 - final) * area / self.ahead.left).mean(axis=1))


@dataclass(frozen=True, slots=True)
class Offers:
    """What each step is worth with each of COUNTS visits, and its chance on the date (S, C)."""

    worth: Array
    clean: Array


def offers(ahead: Ahead) -> Offers:
    """Live through every number of visits."""
    worth, clean = [], []
    room = ahead.left - ahead.starts
    for count in COUNTS:
        lived = ahead.start()
        for visit in range(count):
            lived = lived.visited(room / count if visit else ahead.starts, VISIT_MIN)
        fits = count <= room[:, 0]
        worth.append(np.where(fits, lived.worth(), -1.0))
        clean.append(lived.on_date())
    return Offers(np.stack(worth, axis=1), np.stack(clean, axis=1))


@dataclass(frozen=True, slots=True)
class Shares:
    """What was decided: visits of each step (S,), the price of a minute, weight of each step (S,).

    The price is in weight times chance.
    """

    visits: Whole
    price: float
    weight: Array
    clean: Array


def shared_out(
    ahead: Ahead, made: Offers, topics: Mapping[str, Sequence[int]], per_day: float
) -> Shares:
    """Share the minutes of the days between the steps."""
    weight = ahead.steps.weight
    shares = _at_weights(ahead, made, weight, per_day)
    for _ in range(ROUNDS):
        more = whole_weights(weight, shares.clean, topics)
        shares = _at_weights(ahead, made, more, per_day)
    return shares


def _at_weights(ahead: Ahead, made: Offers, weight: Array, per_day: float) -> Shares:
    """Find the price at which the visits ask for no more minutes a day than there are."""
    daily = COUNTS[None, :] * VISIT_MIN / ahead.left
    rows = np.arange(len(weight))
    low, high = 1e-7, 1.0

    def chosen(price: float) -> Whole:
        paid = price * COUNTS[None, :] * VISIT_MIN
        return np.asarray((weight[:, None] * made.worth - paid).argmax(axis=1))

    for _ in range(28):
        price = float(np.sqrt(low * high))
        over = daily[rows, chosen(price)].sum() > COUNTED_ON * per_day
        low, high = (price, high) if over else (low, price)
    visits = chosen(high)
    return Shares(COUNTS[visits], high, weight, made.clean[rows, visits])


def whole_weights(weight: Array, clean: Array, topics: Mapping[str, Sequence[int]]) -> Array:
    """Weigh a step more where the rest of its topic comes out too (S,)."""
    found = weight.copy()
    for rows in topics.values():
        for row in rows:
            rest = [r for r in rows if r != row]
            found[row] *= 1.0 + WHOLE * len(rows) * float(clean[rest].prod())
    return found


def gains(ahead: Ahead, shares: Shares, minutes: Sequence[float]) -> Array:
    """What a visit of so many minutes tonight is worth to each step (S, len(minutes))."""
    every = ahead.left / np.maximum(shares.visits, 1)[:, None]
    every = np.maximum(every, 1.0)
    without = _later(ahead.start(), every).worth()
    found = [
        _later(ahead.start().visited(ahead.left * 0.0, m), every).worth() - without for m in minutes
    ]
    worth = np.stack(found, axis=1) * shares.weight[:, None]
    return worth * np.where(shares.visits > 0, 1.0, OUTSIDE)[:, None]


def _later(lived: Lived, every: Array) -> Lived:
    """Visits to the date, `every` so many days from tonight."""
    left = lived.ahead.left
    for _ in range(int((left / every).max())):
        going = lived.day + every < left - 0.5
        if not going.any():
            break
        lived = lived.visited(every, VISIT_MIN, going)
    return lived


def openers(steps: StepArrays, shares: Shares, gap: Array, never: Flags) -> Array:
    """Worth of a minute on steps that others with visits wait for (S,)."""
    wanted = np.zeros(len(steps.ids), dtype=bool)
    for row in np.flatnonzero(shares.visits > 0):
        wanted[[*_before(steps, int(row))]] = True
    days = np.minimum(np.where(never, OPENER_FRESH, gap), OPENER_MOST)
    return np.where(wanted & ~steps.done, OPENER * shares.price * days, 0.0)


def _before(steps: StepArrays, row: int) -> Iterator[int]:
    """Rows of all unmet steps that must be met first."""
    for need in steps.needs[row]:
        yield need
        yield from _before(steps, need)

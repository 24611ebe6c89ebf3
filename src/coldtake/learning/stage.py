"""Stage and practice room: by how much a piece comes out less surely before people.

Two effects, in logits of a clean cold take in the room: of a performance, and of a run-through,
which lies between. Both have a prior that says little; each run told piece by piece corrects them.

    prior     stage ~ N(STAGE_MID, STAGE_SD^2); run | stage ~ N(RUN_SHARE * stage, RUN_SD^2)
    a step    clean with sigmoid(room + effect + form); room: what the log supported that morning
    the day   form ~ N(0, DAY_FORM_SD^2), the same for all pieces of one run
    a piece   yes when all its steps were clean; a no names its steps, or leaves them open

This is the item response model of Rasch (1960, Probabilistic Models for Some Intelligence and
Attainment Tests) with the steps' places known beforehand and the two effects to be found, its
posterior taken on a grid; the day's form is integrated by Gauss-Hermite quadrature. The numbers of
the prior are guesses, no source: players report that less comes out on stage, by amounts that
differ widely. Nothing here says why.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from coldtake.domain.estimate import Interval
from coldtake.domain.performance import RunKind
from coldtake.learning.filter import DAY_FORM_SD, PLAYER_ERRORS
from coldtake.learning.memory_law import Array

STAGE_MID, STAGE_SD = -0.5, 0.8  # logits; guesses
RUN_SHARE, RUN_SD = 0.5, 0.4  # a run-through has half of it, give or take; guesses
ENOUGH_PIECES = 6  # answered, and on
ENOUGH_DAYS = 3  # days; before, nothing is shown as if it were known
GRID = np.linspace(-3.5, 2.5, 61)
_NODES = 7


@dataclass(frozen=True, slots=True)
class PieceSaid:
    """One piece in one run.

    room : (S, M) logits of a clean cold take of its steps that morning, M equally likely values
    clean : for each step yes, no, or None where the answer leaves it open; whole : the piece
    """

    room: Array
    clean: tuple[bool | None, ...]
    whole: bool


@dataclass(frozen=True, slots=True)
class RunSaid:
    """The pieces of one run on one day (ordinal), under one form."""

    kind: RunKind
    day: int
    pieces: tuple[PieceSaid, ...]


@dataclass(frozen=True, slots=True)
class StageEffect:
    """What the runs support.

    stage, run : effects in logits, mean and 80 % interval; grid : posterior over (stage, run)
    """

    stage: Interval
    run: Interval
    pieces: int
    days: int
    performances: int
    grid: Array

    @property
    def enough(self) -> bool:
        """False means "not enough yet": the numbers are then the first guess, hardly moved."""
        return self.pieces >= ENOUGH_PIECES and self.days >= ENOUGH_DAYS

    def drawn(self, count: int, rng: np.random.Generator) -> tuple[Array, Array]:
        """Draw (stage, run) effects that the runs allow, each (count,)."""
        flat = rng.choice(self.grid.size, size=count, p=self.grid.ravel())
        stage, run = np.divmod(flat, len(GRID))
        return GRID[stage], GRID[run]

    def on_stage(self, room: float) -> Interval:
        """Chance on stage of what comes out with chance `room` (0..1) in the practice room."""
        logit, e = float(np.log(room / (1.0 - room))), self.stage
        low, mid, high = (float(_sigmoid(logit + by)) for by in (e.low, e.mid, e.high))
        return Interval(low=low, mid=mid, high=high)


def stage_effect(runs: Sequence[RunSaid]) -> StageEffect:
    """Weigh the effects by everything that was told."""
    logs = np.log(_prior())
    for said in runs:
        likely = np.log(np.maximum(run_likelihood(said), 1e-300))
        logs = logs + (likely[:, None] if said.kind is RunKind.STAGE else likely[None, :])
    grid = np.exp(logs - logs.max())
    grid /= grid.sum()
    return StageEffect(
        stage=_interval(grid.sum(axis=1)),
        run=_interval(grid.sum(axis=0)),
        pieces=sum(len(r.pieces) for r in runs),
        days=len({r.day for r in runs}),
        performances=sum(r.kind is RunKind.STAGE for r in runs),
        grid=grid,
    )


def run_likelihood(said: RunSaid) -> Array:
    """Likelihood of what one run brought under each effect of GRID, the day's form integrated."""
    forms, weights = day_forms()
    shift = GRID[:, None] + forms[None, :]
    pieces = [_piece_likelihood(piece, shift) for piece in said.pieces]
    return np.asarray(np.prod(pieces, axis=0) @ weights) if pieces else np.ones(len(GRID))


def day_forms() -> tuple[Array, Array]:
    """Nodes [logits] and weights of the day's form (Gauss-Hermite); the weights sum to 1."""
    return _day_forms()


@lru_cache(maxsize=1)
def _day_forms() -> tuple[Array, Array]:
    nodes, weights = np.polynomial.hermite.hermgauss(_NODES)
    return np.sqrt(2.0) * DAY_FORM_SD * nodes, weights / weights.sum()


def _piece_likelihood(piece: PieceSaid, shift: Array) -> Array:
    """Likelihood of one piece's answer at each shift [logits], same shape."""
    clean = _sigmoid(piece.room[:, :, None, None] + shift[None, None]).mean(axis=1)
    if not piece.whole and None not in piece.clean:
        said = np.array(piece.clean)[:, None, None]
        return np.asarray(np.where(said, clean, 1.0 - clean).prod(axis=0))
    false_yes, false_no = PLAYER_ERRORS
    yes = false_yes + (1.0 - false_yes - false_no) * clean.prod(axis=0)
    return np.asarray(yes if piece.whole else 1.0 - yes)


def _prior() -> Array:
    """First guess on the grid (stage, run), unnormalised."""
    stage = np.exp(-0.5 * ((GRID - STAGE_MID) / STAGE_SD) ** 2)
    off = (GRID[None, :] - RUN_SHARE * GRID[:, None]) / RUN_SD
    return np.asarray(stage[:, None] * np.exp(-0.5 * off**2)) + 1e-300


def _sigmoid(logit: Array | float) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-np.asarray(logit))))


def _interval(weight: Array) -> Interval:
    """Return the 80 % interval and the mean of a distribution on GRID."""
    reached = np.cumsum(weight)
    low, high = (float(np.interp(share, reached, GRID)) for share in (0.1, 0.9))
    return Interval(low=low, mid=float(np.clip(weight @ GRID, low, high)), high=high)

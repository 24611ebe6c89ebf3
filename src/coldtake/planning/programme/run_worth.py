"""What a run-through tonight would tell, and whether it is worth its minutes.

A run-through is an experiment. It is valued by what its answer would tell of the chance that its
pieces come out on the day: the standard deviation of that chance which a yes or a no explains
(`telling`). Unknown are the steps' true chances and the stage effect. So it is worth nothing
while a piece cannot come out anyway, most when it may or may not, and less when much has been told
already; the nearer the day, the more does today say of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from coldtake.domain.history.state import State
from coldtake.domain.performance import Performance
from coldtake.domain.plan import PlannedRun, PlanRules
from coldtake.learning import memory_law
from coldtake.learning.filter import PLAYER_ERRORS
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import Posterior, beliefs
from coldtake.learning.stage import StageEffect, day_forms
from coldtake.learning.stage_log import effect_of
from coldtake.planning.programme.readiness import programme_of
from coldtake.planning.programme.taper import ahead
from coldtake.planning.value.step_arrays import Whole
from coldtake.planning.value.value_of_information import (
    OutcomePosteriors,
    posteriors_by_answer,
    spread,
)
from coldtake.planning.words import counted, in_hundred, on_day

DRAWS = 64
TOLD_WORTH = 0.8  # points for each point of standard deviation that is explained; a guess
PIECE_MIN = 5  # minutes of a piece that was never run through; a guess
LEAST_WORTH = 0.2  # points; below, nothing is said of it


@dataclass(frozen=True, slots=True)
class RunInformation:
    """What a run-through would tell: chance of a yes now, and on the day before and after."""

    yes: float
    on_day: float
    after_yes: float
    after_no: float

    @property
    def spread(self) -> float:
        """Standard deviation of the chance on the day that the answer explains."""
        told = OutcomePosteriors(*map(np.asarray, (self.yes, self.after_no, self.after_yes)))
        return float(spread(told, self.on_day))


def best_run(state: State, day: date, rules: PlanRules, minutes: int) -> PlannedRun | None:
    """Find the run-through that would tell most for its minutes, None where none tells anything.

    Whole programmes, and each piece by itself, as long as a period holds them and half the session
    is left.
    """
    coming = ahead(state, day)
    if not coming:
        return None
    effect = effect_of(state, day)
    room = min(rules.period_cap_min, minutes // 2)
    found = [
        run
        for performance in coming
        for topics in _ways(performance)
        if (long := run_minutes(state, topics)) <= room
        and (run := _planned(state, day, performance, topics, long, effect)) is not None
    ]
    return max(found, key=lambda run: run.gain / run.minutes, default=None)


def _ways(performance: Performance) -> list[tuple[str, ...]]:
    single = [(topic_id,) for topic_id in performance.programme]
    whole = [performance.programme] if len(performance.programme) > 1 else []
    return [*whole, *single]


def run_minutes(state: State, topics: Sequence[str]) -> int:
    """Minutes that a run-through of these takes: as the last one took, else a guess each."""
    told = [r for r in state.runs.values() if r.minutes > 0 and set(topics) <= set(r.topic_ids)]
    if not told:
        return PIECE_MIN * len(topics)
    last = max(told, key=lambda r: r.at)
    return max(round(last.minutes * len(topics) / len(last.topic_ids)), 1)


def _planned(
    state: State,
    day: date,
    performance: Performance,
    topics: Sequence[str],
    minutes: int,
    effect: StageEffect,
) -> PlannedRun | None:
    told = what_it_tells(state, day, performance.on, topics, effect)
    if told is None:
        return None
    weight = sum(state.topics[t].importance for t in topics) / 3.0
    gain = 100.0 * TOLD_WORTH * weight * told.spread
    if gain < LEAST_WORTH:
        return None
    return PlannedRun(
        performance_id=performance.id,
        topic_ids=tuple(topics),
        minutes=minutes,
        reason=_reason(told, performance, day),
        gain=round(gain, 6),
    )


def _reason(told: RunInformation, performance: Performance, day: date) -> str:
    """Say what it would tell; the chances are of the stage, nothing more being practised."""
    left = counted((performance.on - day).days, "day")
    return (
        f"It shows what to practise before {on_day(performance.on)}, in {left}. "
        f"Chance that it is clean in this run-through: {in_hundred(told.yes)}. "
        f"Chance on stage, if you do no more: {in_hundred(told.on_day)}; "
        f"after a yes {in_hundred(told.after_yes)}, after a no {in_hundred(told.after_no)}."
    )


def what_it_tells(
    state: State, day: date, on: date, topics: Sequence[str], effect: StageEffect
) -> RunInformation | None:
    """Work out what a run-through of these topics on `day` says of their coming out on `on`.

    None where one of them is gone or has no steps.
    """
    programme = programme_of(state, topics)
    if len(programme.topics) < len(topics):
        return None
    b = beliefs(state, day, programme.steps)
    return told_by(b, effect, (on - day).days)


def told_by(b: Posterior, effect: StageEffect, days: int) -> RunInformation:
    """The same from what is believed of the steps and of the stage."""
    rng = np.random.default_rng(len(b.step_ids))
    spots = _drawn(b, rng)
    stage, run = effect.drawn(DRAWS, rng)
    clean_now = _comes_out(_logits(b, spots, 0.0), run)
    on_day = _comes_out(_logits(b, spots, float(days)), stage)
    false_yes, false_no = PLAYER_ERRORS
    says = false_yes + (1.0 - false_yes - false_no) * clean_now
    told = posteriors_by_answer(on_day, says)
    return RunInformation(
        yes=float(clean_now.mean()),
        on_day=float(on_day.mean()),
        after_yes=float(told.after_yes),
        after_no=float(told.after_no),
    )


def _drawn(b: Posterior, rng: np.random.Generator) -> Whole:
    """Particles at equal shares of each step's posterior, in a random order (S, DRAWS)."""
    reached = np.cumsum(b.weight, axis=1)
    shares = (np.arange(DRAWS) + 0.5) / DRAWS
    spots = (reached[:, None, :] < shares[None, :, None]).sum(axis=2)
    return np.asarray(rng.permuted(np.minimum(spots, b.weight.shape[1] - 1), axis=1))


def _logits(b: Posterior, spots: Whole, days: float) -> Array:
    gap = (b.gap_days + days)[:, None]
    kept = memory_law.retention(gap, b.half_life, b.cloud.psi)
    chance = np.clip(memory_law.clean_chance(b.skill * kept, b.cloud.span), 1e-6, 1.0 - 1e-6)
    return np.take_along_axis(np.log(chance / (1.0 - chance)), spots, axis=1)


def _comes_out(logits: Array, effect: Array) -> Array:
    """Chance that all steps come out, of each draw, the form of the day integrated (D,)."""
    forms, weights = day_forms()
    shifted = logits[:, :, None] + effect[None, :, None] + forms[None, None, :]
    return np.asarray((1.0 / (1.0 + np.exp(-shifted))).prod(axis=0) @ weights)

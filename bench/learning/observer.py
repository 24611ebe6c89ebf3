"""The most that a log can tell: an observer who knows the law and the population, not the player.

He knows all that coldtake.learning.simulated draws from (law, spreads, the listener's errors, this
player's own errors) but none of the drawn numbers; he weighs 2048 possible steps by the log, the
player's pace and holding joined over steps. What he cannot predict no model can, save for what the
days' form adds. Used to say what share of what can be predicted a model reaches.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.special import expit, ndtri
from scipy.stats import qmc

from coldtake.domain.history.state import State
from coldtake.domain.topic import Step
from coldtake.learning.history import HistoryMark, histories
from coldtake.learning.simulated import Law, SimulatedPlayer

SIZE = 2048
PLAYER_PACE, PLAYER_HOLD, STEP_PACE = 0.35, 0.4, 0.4
FORM = np.polynomial.hermite_e.hermegauss(7)
Array = np.ndarray


@dataclass
class Population:
    """Possible steps as `simulated` draws them, and how likely each is for 81 types of player."""

    law: Law
    pace: Array = field(init=False)
    hold: Array = field(init=False)
    given: Array = field(init=False)
    first: Array = field(init=False)

    def __post_init__(self) -> None:
        share = qmc.Sobol(9, seed=5).random(SIZE)
        deviate = ndtri(np.clip(share, 1e-6, 1 - 1e-6))
        power = self.law == "power"
        step_hold = 0.4 if power else 0.45
        wide = np.hypot(PLAYER_PACE, STEP_PACE), np.hypot(PLAYER_HOLD, step_hold)
        self.pace, hold = deviate[:, 0] * wide[0], deviate[:, 1] * wide[1]
        self.hold = (3.0 if power else 9.0) * np.exp(hold)
        self.start = np.clip(0.1 + 0.12 * deviate[:, 2], 0.0, 0.6)
        self.limit = 0.92 + 0.08 * share[:, 3]
        self.steep = 6.5 + 2.5 * share[:, 4]
        self.half = 0.48 + 0.12 * share[:, 5]
        self.decay = 0.3 + 0.3 * share[:, 6]
        self.growth = 1.0 + 2.0 * share[:, 7] if power else 0.15 + 0.35 * share[:, 7]
        self.savings = 1.5 + 1.5 * share[:, 8]
        self._types(self.pace, hold, wide, step_hold)

    def _types(self, pace: Array, hold: Array, wide: tuple[float, float], step_hold: float) -> None:
        all_players = _normal(pace, 0.0, wide[0]) * _normal(hold, 0.0, wide[1])
        grid = [(a, b) for a in np.linspace(-2.2, 2.2, 9) for b in np.linspace(-2.2, 2.2, 9)]
        given = np.stack(
            [
                _normal(pace, a * PLAYER_PACE, STEP_PACE)
                * _normal(hold, b * PLAYER_HOLD, step_hold)
                / all_players
                for a, b in grid
            ],
            axis=1,
        )
        first = np.array([np.exp(-0.5 * (a * a + b * b)) for a, b in grid])
        self.given, self.first = given / given.sum(axis=0), first / first.sum()

    def reached(self, worked: Array, pace: Array) -> Array:
        if self.law == "power":
            return self.limit * (1.0 - np.exp(-1.5 * worked / pace))
        return self.limit * (1.0 - (1.0 + 1.8 * worked / pace) ** -1.45)

    def minutes_at(self, skill: Array, pace: Array) -> Array:
        left = 1.0 - np.minimum(skill / self.limit, 0.999)
        if self.law == "power":
            return -pace / 1.5 * np.log(left)
        return pace / 1.8 * (left ** (-1.0 / 1.45) - 1.0)

    def retained(self, hold: Array, days: float) -> Array:
        if self.law == "power":
            return (1.0 + days / hold) ** -self.decay
        return 2.0 ** (-days / hold)

    def clean(self, skill: Array, shift: float) -> Array:
        logit = self.steep * (skill - self.half) + shift
        over_form = sum(w * expit(logit + 0.5 * x) for x, w in zip(*FORM, strict=True))
        return np.asarray(over_form) / FORM[1].sum()


class StepSeen:
    """All possible truths of one step, living through its log as `simulated` would."""

    def __init__(self, step: Step, people: Population) -> None:
        self.people = people
        self.pace = step.need_min * np.exp(people.pace)
        self.worked = people.minutes_at(people.start, self.pace)
        self.lost, self.hold = np.zeros(SIZE), people.hold.copy()
        self.kept, self.played = np.full(SIZE, 0.5), 0.0
        self.day: int | None = None
        self.loglik, self.answers = np.zeros(SIZE), 0

    def skill(self, day: int) -> Array:
        days = 0 if self.day is None else day - self.day
        bare = self.people.reached(self.worked, self.pace) - self.lost
        return bare * self.people.retained(self.hold, float(days))

    def live(self, mark: HistoryMark, errors: tuple[float, float]) -> None:
        self._wake(mark.day)
        if mark.cold and mark.yes is not None:
            self._answer(mark, errors)
            self._work(mark.minutes)
        else:
            self._work(mark.minutes)
            self._answer(mark, errors)

    def _answer(self, mark: HistoryMark, errors: tuple[float, float]) -> None:
        if mark.yes is None:
            return
        clean = self.people.clean(self.skill(mark.day), 0.0 if mark.cold else 0.6)
        yes = errors[0] + (1.0 - sum(errors)) * clean
        self.loglik = self.loglik + np.log(yes if mark.yes else 1.0 - yes)
        self.answers += 1

    def _wake(self, day: int) -> None:
        if self.day is not None and day > self.day:
            self.kept = self.people.retained(self.hold, float(day - self.day))
            reached = self.people.reached(self.worked, self.pace)
            self.lost = reached - (reached - self.lost) * self.kept
            self.played = 0.0
        self.day = day

    def _work(self, minutes: float) -> None:
        before = self.people.reached(self.worked, self.pace)
        self.worked = self.worked + minutes
        gained = self.people.reached(self.worked, self.pace) - before
        back = (self.people.savings - 1.0) * gained + self.lost * minutes / 12.0
        self.lost = np.maximum(self.lost - np.minimum(self.lost, back), 0.0)
        effect = np.exp(-self.played / 4.0) - np.exp(-(self.played + minutes) / 4.0)
        missing = 1.0 - self.kept + (0.0 if self.people.law == "power" else 0.3)
        self.hold = np.minimum(self.hold * (1.0 + self.people.growth * missing * effect), 400.0)
        self.played += minutes

    def said(self) -> Array:
        likelihood = np.exp(self.loglik - self.loglik.max())
        return np.log(np.maximum(likelihood @ self.people.given, 1e-300))

    def chance(self, day: int, types: Array) -> float:
        """Chance of a clean cold take on the day, the form unknown."""
        likelihood = np.exp(self.loglik - self.loglik.max())
        marginal = np.maximum(likelihood @ self.people.given, 1e-300)
        weight = likelihood * (self.people.given @ (types / marginal))
        return float(weight @ self.people.clean(self.skill(day), 0.0) / weight.sum())


def observed(
    state: State, player: SimulatedPlayer, people: Population
) -> dict[tuple[int, str], float]:
    """Chance of yes that the observer gives each cold take, told on its morning.

    Keys are the day (ordinal) and the step; only steps that were answered before.
    """
    days: dict[int, dict[str, list[HistoryMark]]] = {}
    for step_id, marks in histories(state, max(w.day for w in state.works)).items():
        for mark in marks:
            days.setdefault(mark.day, {}).setdefault(step_id, []).append(mark)
    own = player.false_yes, player.false_no
    seen: dict[str, StepSeen] = {}
    said: dict[str, Array] = {}
    told: dict[tuple[int, str], float] = {}
    for day in sorted(days):
        log_types = np.log(people.first) + sum(said.values(), np.zeros(len(people.first)))
        types = np.exp(log_types - log_types.max())
        types /= types.sum()
        for step_id, marks in days[day].items():
            step = seen.setdefault(step_id, StepSeen(state.steps[step_id], people))
            if step.answers and marks[0].cold:
                errors = (0.03, 0.03) if marks[0].heard else own
                clean = step.chance(day, types)
                told[day, step_id] = errors[0] + (1.0 - sum(errors)) * clean
        for step_id, marks in days[day].items():
            for mark in marks:
                seen[step_id].live(mark, (0.03, 0.03) if mark.heard else own)
            said[step_id] = seen[step_id].said()
    return told


def _normal(values: Array, mid: float, sd: float) -> Array:
    return np.exp(-0.5 * ((values - mid) / sd) ** 2) / sd

"""What a passed criterion supports, and tests that say after each take how things stand.

Closed forms and exact recursions; sources at each function. Chances are 0..1.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from coldtake.domain.criterion import Times, lucky_pass_chances
from coldtake.domain.estimate import Interval


def _beta_point(a: float, b: float, share: float) -> float:
    """Quantile of Beta(a, b)."""
    from scipy.special import betaincinv  # pages that need none of it should not wait for it

    return float(betaincinv(a, b, share))


def clean_chance_interval(yeses: int, tries: int, *, share: float = 0.8) -> Interval:
    """Chance of a clean first try that `yeses` of `tries` support, 0 <= yeses <= tries.

    Jeffreys' interval, Beta(yeses + 1/2, noes + 1/2), its limit 0 or 1 where all tries agree
    (Brown, Cai and DasGupta 2001, Interval Estimation for a Binomial Proportion, Statistical
    Science 16:101, section 4.3). The middle is the median.
    """
    if not 0 <= yeses <= tries:
        raise ValueError(f"{yeses} yeses of {tries} tries cannot be")
    a, b = yeses + 0.5, tries - yeses + 0.5
    tail = (1.0 - share) / 2.0
    low = 0.0 if yeses == 0 else _beta_point(a, b, tail)
    high = 1.0 if yeses == tries else _beta_point(a, b, 1.0 - tail)
    if tries == 0:
        low, high = tail, 1.0 - tail
    return Interval(low=low, mid=min(max(_beta_point(a, b, 0.5), low), high), high=high)


def exact_interval(yeses: int, tries: int, *, share: float = 0.8) -> tuple[float, float]:
    """Limits that cover at least `share` whatever the chance is (Clopper and Pearson 1934).

    Biometrika 26:404. Wider than `clean_chance_interval`.
    """
    tail = (1.0 - share) / 2.0
    low = 0.0 if yeses == 0 else _beta_point(yeses, tries - yeses + 1, tail)
    high = 1.0 if yeses == tries else _beta_point(yeses + 1, tries - yeses, 1.0 - tail)
    return low, high


def passed_supports(times: Times, *, share: float = 0.8) -> Interval:
    """What the criterion, passed at the very first chance, supports about a clean first try.

    A run that came after many tries supports less: see `lucky_pass`.
    """
    among = times.among if times.among is not None else times.wanted
    return clean_chance_interval(times.wanted, among, share=share)


def lucky_pass(times: Times, chance: float, tries: int) -> float:
    """Chance that a passage which comes out with `chance` passes the criterion within `tries`.

    Runs: exact (domain.criterion). k of n: exact too, over all ways the last n answers can stand;
    n <= 16, beyond it the chance that some block of n fresh tries passes (a lower bound).
    """
    return (0.0, *lucky_passes(times, chance, tries))[-1]


def lucky_passes(times: Times, chance: float, most: int) -> tuple[float, ...]:
    """Return `lucky_pass` for 1, 2, ... `most` tries."""
    if times.among is None:
        return lucky_pass_chances(times, chance, most)
    if times.among > _WINDOW_MOST:
        block = _block_pass(times.wanted, times.among, chance)
        return tuple(1.0 - (1.0 - block) ** (n // times.among) for n in range(1, most + 1))
    return _window_passes(times.wanted, times.among, chance, most)


_WINDOW_MOST = 16


def _window_passes(wanted: int, among: int, chance: float, most: int) -> tuple[float, ...]:
    """Walk over all windows at once: a window's place is its answers as bits, the oldest on top."""
    import numpy as np

    yeses = np.array([place.bit_count() for place in range(1 << among)])
    standing = np.zeros(1 << among)
    standing[0], done, told = 1.0, 0.0, []
    for _ in range(most):
        before = standing.reshape(2, -1).sum(axis=0)  # the oldest answer leaves the window
        standing = np.stack([before * (1.0 - chance), before * chance], axis=1).ravel()
        done += float(standing[yeses >= wanted].sum())
        standing[yeses >= wanted] = 0.0
        told.append(done)
    return tuple(told)


def _block_pass(wanted: int, among: int, chance: float) -> float:
    return 1.0 - math.fsum(
        math.comb(among, k) * chance**k * (1.0 - chance) ** (among - k) for k in range(wanted)
    )


def tries_to_yes(yeses: int, chance: float, share: float = 0.8) -> int:
    """Tries within which the `yeses`-th yes comes with probability `share` (negative binomial)."""
    from scipy.stats import nbinom  # heavy, and nothing else here needs it

    return yeses + int(nbinom.ppf(share, yeses, chance))


def run_waiting_mean(run: int, chance: float) -> float:
    """Mean number of tries until `run` yeses in a row, 0 < chance < 1.

    (1 - p^r) / (q p^r): Feller, An Introduction to Probability Theory, vol. I, ch. XIII.7.
    """
    power = chance**run
    return (1.0 - power) / ((1.0 - chance) * power)


def run_waiting_variance(run: int, chance: float) -> float:
    """Variance of the number of tries until `run` yeses in a row (Feller, same place)."""
    q, power = 1.0 - chance, chance**run
    return 1.0 / (q * power) ** 2 - (2 * run + 1) / (q * power) - chance / q**2


def half_life_days(chance: float, days: float) -> float:
    """Half-life of a memory recalled with `chance` after `days`: h = -days / log2 p.

    Settles and Meeder 2016, A Trainable Spaced Repetition Model for Language Learning, p. 1849.
    The chance is clipped to 0.0001..0.9999, as it must be for p = 1.
    """
    return -days / math.log2(min(max(chance, 1e-4), 1.0 - 1e-4))


def half_life_chance(half_life: float, days: float) -> float:
    """Chance of recall after `days`: 2 ** (-days / h) (Settles and Meeder 2016)."""
    return float(2.0 ** (-days / half_life))


class Decision(StrEnum):
    """How a sequential test stands."""

    HELD = "held"
    NOT_HELD = "not_held"
    GO_ON = "go_on"


@dataclass(frozen=True, slots=True)
class SequentialTest:
    """Wald's sequential probability ratio test of a step, one cold take after the other.

    Wald 1945, Sequential Tests of Statistical Hypotheses, Annals of Mathematical Statistics 16:117.
    poor, good : chances of a clean cold take to tell apart, 0 < poor < good < 1
    false_held : chance of saying held of a poor step; false_not : of not held of a good one
    """

    poor: float = 0.6
    good: float = 0.9
    false_held: float = 0.05
    false_not: float = 0.10

    def __post_init__(self) -> None:
        if not 0.0 < self.poor < self.good < 1.0:
            raise ValueError("a sequential test needs 0 < poor < good < 1")
        if not (0.0 < self.false_held < 0.5 and 0.0 < self.false_not < 0.5):
            raise ValueError("errors must lie between 0 and one half")

    @property
    def upper(self) -> float:
        """Log ratio at which the step is held."""
        return math.log((1.0 - self.false_not) / self.false_held)

    @property
    def lower(self) -> float:
        """Log ratio at which the step is not held."""
        return math.log(self.false_not / (1.0 - self.false_held))

    @property
    def yes_weight(self) -> float:
        """What a yes adds to the log ratio."""
        return math.log(self.good / self.poor)

    @property
    def no_weight(self) -> float:
        """What a no adds to the log ratio (negative)."""
        return math.log((1.0 - self.good) / (1.0 - self.poor))

    def standing(self, yeses: int, noes: int) -> Decision:
        """Say how the test stands after so many, wherever it may have stood before."""
        ratio = yeses * self.yes_weight + noes * self.no_weight
        if ratio >= self.upper - 1e-12:
            return Decision.HELD
        return Decision.NOT_HELD if ratio <= self.lower + 1e-12 else Decision.GO_ON

    def decide(self, answers: Sequence[bool]) -> Decision:
        """Go through the answers, oldest first, to the first decision."""
        yeses = 0
        for count, answer in enumerate(answers, start=1):
            yeses += answer
            standing = self.standing(yeses, count - yeses)
            if standing is not Decision.GO_ON:
                return standing
        return Decision.GO_ON

    def exact(self, chance: float, most: int = 2000) -> tuple[float, float]:
        """Chance of "held", and mean number of takes, for a true chance; exact, by recursion.

        Truncated at `most` takes, where what is left is far below 1e-9 for the usual tests.
        """
        going, held, mean = {0: 1.0}, 0.0, 0.0
        for count in range(1, most + 1):
            mean += math.fsum(going.values())
            after: dict[int, float] = {}
            for yeses, weight in going.items():
                for more, p in ((1, chance), (0, 1.0 - chance)):
                    standing = self.standing(yeses + more, count - yeses - more)
                    if standing is Decision.HELD:
                        held += weight * p
                    elif standing is Decision.GO_ON:
                        after[yeses + more] = after.get(yeses + more, 0.0) + weight * p
            going = after
            if math.fsum(going.values()) < 1e-13:
                break
        return held, mean

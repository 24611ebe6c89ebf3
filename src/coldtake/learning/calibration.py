"""How right the forecasts were: chances against answers, intervals against counts.

Brier score: mean of (said - came)^2, 0 is perfect (Brier 1950, Verification of Forecasts Expressed
in Terms of Probability, Monthly Weather Review 78:1; here for one of its two classes, half of the
score printed there). The constant guess says the share that came out, known only afterwards: the
hardest constant to beat. Limits of a share are Clopper and Pearson's (see `support`).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from coldtake.domain.estimate import Interval
from coldtake.learning.support import exact_interval

LEAST = 20  # chances said and answered below which there is "not enough yet"; a guess
LEAST_IN_GROUP = 5  # the same for one line of the table
GROUPS = 10
_Z80 = 1.2815515655446004  # standard normal quantile at 0.9: an 80 % interval

_LITTLE = 1e-9
FAR_OFF = 2.0  # standard deviations, passed by chance about once in twenty

Said = tuple[float, bool]  # a chance 0..1, and whether it came out clean


@dataclass(frozen=True, slots=True)
class ChanceGroup:
    """What was said between `low` and `high`: `came` of `of` came out clean.

    said : mean of what was said; share : limits of 80 % of the true share, None: not enough yet
    """

    low: float
    high: float
    said: float
    came: int
    of: int
    share: tuple[float, float] | None

    @property
    def fits(self) -> bool | None:
        """Say whether what was said lies within the limits; None: not enough yet."""
        return None if self.share is None else self.share[0] <= self.said <= self.share[1]


@dataclass(frozen=True, slots=True)
class Calibration:
    """Forecast chances of a group compared with the answers that came.

    expected : sum of what was said, to be held against `came` of `of`
    off : how many standard deviations `came` lies above it, were every chance said the true one
    brier, constant : of what was said, and of always saying came / of
    better : constant - brier with an 80 % interval, positive where saying was worth something
    """

    of: int
    came: int
    expected: float
    off: float
    brier: float
    constant: float
    better: Interval
    groups: tuple[ChanceGroup, ...]

    @property
    def leaning(self) -> str:
        """Say whether it was said "too low" or "too high" on the whole; empty: by chance or not."""
        return "" if abs(self.off) < FAR_OFF else "too low" if self.off > 0 else "too high"


def yes_chance(clean: float, *, heard: bool) -> float:
    """Chance that a take is answered yes when it is clean with `clean`: an answer may be wrong.

    By the rates that the filter reckons with, the listener's where it was `heard`. Without them a
    player with a kind ear would make every chance look too low.
    """
    from coldtake.learning.filter import PLAYER_ERRORS, TOOL_ERRORS

    false_yes, false_no = TOOL_ERRORS if heard else PLAYER_ERRORS
    return clean * (1.0 - false_no) + (1.0 - clean) * false_yes


def calibration(told: Sequence[Said]) -> Calibration | None:
    """Hold chances against answers; None: not enough yet."""
    if len(told) < LEAST:
        return None
    of, came = len(told), sum(clean for _, clean in told)
    expected = math.fsum(said for said, _ in told)
    spread = math.sqrt(math.fsum(said * (1.0 - said) for said, _ in told))
    gains = [(came / of - clean) ** 2 - (said - clean) ** 2 for said, clean in told]
    return Calibration(
        of=of,
        came=came,
        expected=expected,
        off=(came - expected) / max(spread, _LITTLE),
        brier=brier(told),
        constant=brier([(came / of, clean) for _, clean in told]),
        better=_mean(gains),
        groups=groups(told),
    )


def brier(told: Sequence[Said]) -> float:
    """Mean squared distance of what was said from what came, 0..1; at least one is needed."""
    return math.fsum((said - clean) ** 2 for said, clean in told) / len(told)


def groups(told: Sequence[Said]) -> tuple[ChanceGroup, ...]:
    """Put chances into tenths, [0, 0.1), ... [0.9, 1]; empty ones are left out."""
    found: dict[int, list[Said]] = {}
    for said, clean in told:
        found.setdefault(min(int(said * GROUPS + 1e-9), GROUPS - 1), []).append((said, clean))
    return tuple(_group(place, found[place]) for place in sorted(found))


def _group(place: int, told: Sequence[Said]) -> ChanceGroup:
    of, came = len(told), sum(clean for _, clean in told)
    return ChanceGroup(
        low=place / GROUPS,
        high=(place + 1) / GROUPS,
        said=math.fsum(said for said, _ in told) / of,
        came=came,
        of=of,
        share=exact_interval(came, of) if of >= LEAST_IN_GROUP else None,
    )


def _mean(values: Sequence[float]) -> Interval:
    """Return the mean with its 80 % interval by the central limit."""
    n = len(values)
    mean = math.fsum(values) / n
    spread = math.sqrt(math.fsum((v - mean) ** 2 for v in values) / max(n - 1, 1) / n)
    return Interval(low=mean - _Z80 * spread, mid=mean, high=mean + _Z80 * spread)


class IntervalOutcome(StrEnum):
    """What became of an interval that was said."""

    YES = "yes"
    NO = "no"
    CANNOT_TELL = "cannot_tell"


def interval_kept(said: Interval, clean: int, untried: int) -> IntervalOutcome:
    """Say whether a count lies within the limits, when `untried` more might have been clean too."""
    least, most = clean, clean + untried
    if said.low <= least and most <= said.high:
        return IntervalOutcome.YES
    return (
        IntervalOutcome.NO if most < said.low or least > said.high else IntervalOutcome.CANNOT_TELL
    )

"""A measured value against its threshold: passed, not passed, or inside the uncertainty."""

from coldtake.domain.take import Figure
from coldtake.listening.features.audio_features import Floats


def share_within(
    off: Floats, errors: Floats, tolerance: float, wanted: float
) -> tuple[float, float, bool | None]:
    """Share of values within a tolerance [%], its half width, and whether it is enough."""
    surely = 100.0 * float((off + errors <= tolerance).mean())
    perhaps = 100.0 * float((off - errors <= tolerance).mean())
    value = 100.0 * float((off <= tolerance).mean())
    passed = True if surely >= wanted else (False if perhaps < wanted else None)
    return value, (perhaps - surely) / 2.0, passed


def not_told(name: str, threshold: float, unit: str, words: str) -> Figure:
    """Return the figure of a test for which nothing could be measured."""
    return Figure(
        name=name, value=None, uncertainty=None, threshold=threshold, unit=unit, passed=None,
        words=words,
    )  # fmt: skip

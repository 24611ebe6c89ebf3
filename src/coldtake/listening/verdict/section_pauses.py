"""A breath between two sections is no stop.

Where a repeat begins again, and where new music follows a repeated stretch, custom allows a pause
(common practice, no source); up to the length of one bar it is not counted as a hesitation.
"""

from collections.abc import Sequence
from dataclasses import replace

from coldtake.listening.verdict.evidence import Evidence
from coldtake.music.passage import Bar


def without_section_pauses(evidence: Evidence, bars: Sequence[Bar]) -> Evidence:
    """Return the evidence without the waits that custom allows; bars : of the passage as played."""
    fit = evidence.fit
    if fit is None or not fit.waits:
        return evidence
    starts = section_starts(bars)
    waits = tuple(
        (k, beats)
        for k, beats in fit.waits
        if not any(
            _beat(evidence, k - 1) < bar.onset_beats <= _beat(evidence, k)
            and beats <= 4.0 * bar.metre[0] / bar.metre[1]
            for bar in starts
        )
    )
    return replace(evidence, fit=replace(fit, waits=waits))


def section_starts(bars: Sequence[Bar]) -> list[Bar]:
    """Bars that begin a section: gone back to, or new after what was played again.

    The first new bar may be a second ending; then the bar after it begins the section.
    """
    found, seen = [], set[str]()
    again = ending = False
    for bar in bars:
        was, again = again, bar.label in seen
        if seen and (was != again or ending):
            found.append(bar)
        ending = was and not again
        seen.add(bar.label)
    return found


def _beat(evidence: Evidence, k: int) -> float:
    return evidence.notes[evidence.played[k]].expected_beat or 0.0

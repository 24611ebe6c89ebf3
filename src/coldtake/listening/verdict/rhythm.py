"""Note lengths against the written ones, and the swing ratio.

A note's length here is the time to the next onset (what is heard of a rhythm even where notes are
short), in beats of the player's own tempo at that place. The swing ratio is the time from beat to
off-beat over the time from off-beat to beat, its middle over all beats that are played so (the
measure of A. Friberg and A. Sundstroem, "Swing ratios and ensemble timing in jazz performance",
Music Perception 19, 2002). Pure functions over evidence.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coldtake.domain.criterion import RhythmTest
from coldtake.domain.take import Figure
from coldtake.listening.features.audio_features import Floats
from coldtake.listening.verdict.evidence import Evidence
from coldtake.listening.verdict.thresholds import not_told, share_within

LEAST_LENGTHS, LEAST_PAIRS = 3, 4
TEMPO_ERROR = 0.01  # of the tempo at a place
SAME_BEAT = 0.02
TOO_FEW = "too few notes of it were heard"
MEDIAN_ERROR = 1.25  # standard error of a median over that of a mean, for normal scatter


@dataclass(frozen=True, eq=False)
class Lengths:
    """From note to note where both were played and nothing came between; arrays of one shape.

    off : played over written length, minus 1; error : half width (95 %); first : place of the first
    note in `Evidence.played`
    """

    off: Floats
    error: Floats
    first: npt.NDArray[np.intp]


def lengths_of(evidence: Evidence, swing: float | None = None) -> Lengths | None:
    """Compare note lengths with the written ones, eighths swung where asked; None: no tempo."""
    fit = evidence.fit
    if fit is None:
        return None
    times, beats = _times(evidence), _swung(_beats(evidence), swing)
    written, heard = np.diff(beats), np.diff(times)
    broken = {k for k, _ in fit.waits} | _after_restarts(evidence, times)
    apart = np.diff(np.array(evidence.played)) == 1
    use = np.flatnonzero(
        (written > SAME_BEAT) & apart & [k + 1 not in broken for k in range(len(written))]
    )
    period = 60.0 / (0.5 * (fit.curve_bpm[1:] + fit.curve_bpm[:-1]))
    expected = (written * period)[use]
    blur = np.hypot(evidence.onset_errors_s[use], evidence.onset_errors_s[use + 1])
    return Lengths(heard[use] / expected - 1.0, blur / expected + TEMPO_ERROR, use)


def _times(evidence: Evidence) -> Floats:
    return np.array([evidence.notes[i].onset_s or 0.0 for i in evidence.played])


def _beats(evidence: Evidence) -> Floats:
    return np.array([evidence.notes[i].expected_beat or 0.0 for i in evidence.played])


def _swung(beats: Floats, swing: float | None) -> Floats:
    if swing is None:
        return beats
    off_beat = np.abs(beats % 1.0 - 0.5) < SAME_BEAT
    return np.where(off_beat, np.floor(beats) + swing / (1.0 + swing), beats)


def _after_restarts(evidence: Evidence, times: Floats) -> set[int]:
    """Places of the first notes after going back."""
    return {int(np.searchsorted(times, r.at_s - 0.05)) for r in evidence.restarts}


def swing_of(evidence: Evidence) -> tuple[float, float, int] | None:
    """(ratio, half width (95 %), beats that it rests on); None for fewer than four."""
    times, beats = _times(evidence), _beats(evidence)
    place = {round(float(b), 3): k for k, b in enumerate(beats)}
    logs, errors = [], []
    for k, beat in enumerate(beats):
        off, after = place.get(round(float(beat) + 0.5, 3)), place.get(round(float(beat) + 1.0, 3))
        if beat % 1.0 > SAME_BEAT or off != k + 1 or after != k + 2:
            continue
        long, short = times[off] - times[k], times[after] - times[off]
        if long > 0.02 and short > 0.02:
            logs.append(np.log(long / short))
            errors.append(evidence.onset_errors_s[off] * (1.0 / long + 1.0 / short))
    if len(logs) < LEAST_PAIRS:
        return None
    scatter = 2.0 * MEDIAN_ERROR * np.std(logs, ddof=1) / np.sqrt(len(logs))
    ratio = float(np.exp(np.median(logs)))
    return ratio, ratio * float(scatter + np.median(errors) / np.sqrt(len(logs))), len(logs)


def rhythm_figures(test: RhythmTest, evidence: Evidence) -> tuple[Figure, ...]:
    """The share of note lengths as written, and the swing ratio where it is asked."""
    share = _share_figure(test, evidence)
    return (share,) if test.swing is None else (share, _swing_figure(test, test.swing, evidence))


def _share_figure(test: RhythmTest, evidence: Evidence) -> Figure:
    lengths = lengths_of(evidence, test.swing)
    if lengths is None or len(lengths.off) < LEAST_LENGTHS:
        return not_told("rhythm", test.share_percent, "% of note lengths", TOO_FEW)
    limit = test.tolerance_percent / 100.0
    value, error, passed = share_within(
        np.abs(lengths.off), lengths.error, limit, test.share_percent
    )
    return Figure(
        name="rhythm", value=value, uncertainty=error,
        threshold=test.share_percent, unit="% of note lengths", passed=passed,
        words=f"{value:.0f} % of the note lengths within {test.tolerance_percent:g} % "
        f"of {evidence.lengths_of}",
    )  # fmt: skip


def _swing_figure(test: RhythmTest, wanted: float, evidence: Evidence) -> Figure:
    found = swing_of(evidence)
    if found is None:
        return not_told("swing", wanted, "to 1", TOO_FEW)
    ratio, error, count = found
    room = wanted * test.swing_within_percent / 100.0
    beyond = abs(ratio - wanted) - room
    passed = None if abs(beyond) <= error else beyond < 0
    return Figure(
        name="swing", value=ratio, uncertainty=error, threshold=wanted, unit="to 1", passed=passed,
        words=f"eighths swung {ratio:.2f} to 1 over {count} beats",
    )  # fmt: skip

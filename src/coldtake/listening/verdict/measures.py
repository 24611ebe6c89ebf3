"""The heard tests of a criterion, each measured with its uncertainty against its threshold.

`passed` is None where the threshold lies inside the uncertainty or nothing could be measured. Every
test that a listener is asked has a figure, also where nobody measures it: none counts as passed by
being left out.
"""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from coldtake.domain.criterion import (
    ChangesTest,
    CriterionTest,
    EvennessTest,
    NoStopsTest,
    NotesTest,
    PlayerTest,
    RhythmTest,
    SteadinessTest,
    TempoTest,
    TimingTest,
    TuneTest,
    tag_of,
)
from coldtake.domain.take import Figure, NoteEvidence, NoteStatus
from coldtake.listening.verdict.evidence import Evidence
from coldtake.listening.verdict.rhythm import rhythm_figures
from coldtake.listening.verdict.thresholds import not_told, share_within
from coldtake.units import A4_HZ, ratio_to_cents

CENTS_ERROR = 3.0  # half width of one note's mean pitch
WAIT_ERROR_BEATS = 0.12
UNKNOWN = "this version of Coldtake does not know such a test"


def unmeasured(test: CriterionTest, why: str) -> Figure:
    """Return the figure of a test that nobody measures here."""
    return Figure(
        name=tag_of(type(test)), value=None, uncertainty=None, threshold=0.0, unit="",
        passed=None, words=f"not measured, {why}", measured=False,
    )  # fmt: skip


def _decide(value: float, error: float, threshold: float, *, most: bool) -> bool | None:
    """Compare with a threshold that is the most (or the least) allowed."""
    if abs(value - threshold) <= error and value != threshold:
        return None
    return value <= threshold if most else value >= threshold


def _notes(test: NotesTest, evidence: Evidence) -> Figure:
    faults = [n for n in evidence.notes if n.status != NoteStatus.RIGHT]
    counts = {s: sum(n.status == s for n in faults) for s in (NoteStatus.WRONG, NoteStatus.MISSED)}
    extra = len(evidence.extras)
    value, unsure = len(faults) + extra, len(evidence.abstained)
    passed = False if value > test.allowed else (True if value + unsure <= test.allowed else None)
    parts = [f"{counts[NoteStatus.WRONG]} wrong", f"{counts[NoteStatus.MISSED]} missed"]
    words = ", ".join([*parts, f"{extra} extra"])
    if unsure:
        words += f", {unsure} not clear enough"
    return Figure(
        name="notes", value=float(value), uncertainty=float(unsure),
        threshold=float(test.allowed), unit="notes", passed=passed, words=words,
    )  # fmt: skip


def _tempo(test: TempoTest, evidence: Evidence) -> Figure:
    unit = "beats per minute"
    if evidence.fit is None:
        return not_told("tempo", test.mark, unit, "too few notes for a tempo")
    value = evidence.fit.bpm / test.beat_unit_beats
    error = evidence.fit.bpm_error / test.beat_unit_beats
    least = most = None
    if test.within_percent is None:
        passed = _decide(value, error, test.mark, most=False)
        words = f"{value:.1f}, wanted {test.mark:g} or faster"
    else:
        room = test.mark * test.within_percent / 100.0
        least, most = test.mark - room, test.mark + room
        passed = _decide(abs(value - test.mark), error, room, most=True)
        words = f"{value:.1f}, wanted {test.mark:g} within {test.within_percent:g} %"
    return Figure(
        name="tempo", value=value, uncertainty=error, threshold=test.mark, unit=unit,
        passed=passed, words=words, least=least, most=most,
    )  # fmt: skip


def _steadiness(test: SteadinessTest, evidence: Evidence) -> Figure:
    fit = evidence.fit
    if fit is None or len(fit.curve_bpm) < 6:
        return not_told("steadiness", test.change_percent, "%", "too few notes for a tempo curve")
    ends = max(2, len(fit.curve_bpm) // 4)
    start, end = fit.curve_bpm[:ends].mean(), fit.curve_bpm[-ends:].mean()
    value = float(100.0 * (end / start - 1.0))
    span = fit.played_beats[-1] * 60.0 / fit.bpm
    error = float(
        100.0 * 2.0 * np.sqrt(2.0) * fit.scatter_s / max(0.25 * span, 0.2) / np.sqrt(ends)
    )
    passed = _decide(abs(value), error, test.change_percent, most=True)
    turn = "faster" if value > 0 else "slower"
    return Figure(
        name="steadiness", value=value, uncertainty=error, threshold=test.change_percent, unit="%",
        passed=passed, words=f"{abs(value):.1f} % {turn} at the end than at the start",
    )  # fmt: skip


def _timing(test: TimingTest, evidence: Evidence) -> Figure:
    if evidence.fit is None:
        return not_told("timing", test.share_percent, "% of notes", "too few notes for a tempo")
    off = np.abs(evidence.deviations_s) * 1e3
    errors = (evidence.onset_errors_s + evidence.grid_error_s) * 1e3
    figure = share_within(off, errors, test.tolerance_ms, test.share_percent)
    value, error, passed = figure
    middle = float(np.median(evidence.deviations_s) * 1e3)
    words = f"{value:.0f} % within {test.tolerance_ms:g} ms; median deviation {middle:+.0f} ms"
    words += evidence.timed_by
    return Figure(
        name="timing", value=value, uncertainty=error, threshold=test.share_percent,
        unit="% of notes", passed=passed, words=words,
    )  # fmt: skip


def _evenness(test: EvennessTest, evidence: Evidence) -> Figure:
    fit = evidence.fit
    if fit is None or len(fit.deviations_s) < 4:
        return not_told("evenness", test.deviation_ms, "ms", "too few notes for a tempo")
    value = float(np.std(np.diff(fit.deviations_s)) * 1e3)
    blur = float(np.median(evidence.onset_errors_s) / 2.0 * 1e3) * np.sqrt(2.0)
    error = float(value - np.sqrt(max(value**2 - blur**2, 0.0))) + 0.5
    return Figure(
        name="evenness", value=value, uncertainty=error, threshold=test.deviation_ms, unit="ms",
        passed=_decide(value, error, test.deviation_ms, most=True),
        words=f"the time from note to note varies by {value:.0f} ms",
    )  # fmt: skip


def _tune(test: TuneTest, evidence: Evidence) -> Figure:
    shift = evidence.tuning_cents - ratio_to_cents(test.a4_hz / A4_HZ)
    off = np.array([c + shift for n in evidence.notes if (c := _cents_in_reach(n)) is not None])
    if not len(off):
        return not_told("tune", test.share_percent, "% of notes", "no pitch is clear enough")
    errors = np.full(len(off), CENTS_ERROR)
    value, error, passed = share_within(
        np.abs(off), errors, test.tolerance_cents, test.share_percent
    )
    middle = float(np.median(off))
    words = f"{value:.0f} % within {test.tolerance_cents:g} cents; on the whole {middle:+.0f} cents"
    return Figure(
        name="tune", value=value, uncertainty=error, threshold=test.share_percent,
        unit="% of notes", passed=passed, words=words,
    )  # fmt: skip


def _cents_in_reach(note: NoteEvidence) -> float | None:
    """Cents of a right note, unless its pitch reading is astray."""
    if note.status != NoteStatus.RIGHT or note.cents is None or abs(note.cents) > 100.0:
        return None
    return note.cents


def _no_stops(test: NoStopsTest, evidence: Evidence) -> Figure:
    if evidence.fit is None:
        return not_told("no_stops", test.hesitation_beats, "beats", "too few notes for a tempo")
    longest = max((w for _, w in evidence.fit.waits), default=0.0)
    passed = _decide(longest, WAIT_ERROR_BEATS, test.hesitation_beats, most=True)
    words = f"longest hesitation {longest:.1f} beats"
    if evidence.restarts:
        passed = False
        words += f", went back {_times(len(evidence.restarts))}"
    return Figure(
        name="no_stops", value=longest, uncertainty=WAIT_ERROR_BEATS,
        threshold=test.hesitation_beats, unit="beats", passed=passed, words=words,
    )  # fmt: skip


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _improvised(test: ChangesTest, _evidence: Evidence) -> Figure:
    return unmeasured(test, "written notes are no improvisation over changes")


# What measures each kind of test that a listener is asked, where something written is played.
MEASURES: dict[type[CriterionTest], Callable[[Any, Evidence], Figure | tuple[Figure, ...]]] = {
    NotesTest: _notes,
    NoStopsTest: _no_stops,
    TempoTest: _tempo,
    TimingTest: _timing,
    SteadinessTest: _steadiness,
    EvennessTest: _evenness,
    TuneTest: _tune,
    RhythmTest: rhythm_figures,
    ChangesTest: _improvised,
}


def measure(test: CriterionTest, evidence: Evidence) -> tuple[Figure, ...]:
    """Measure one test; a kind that nobody knows is named, one of the player's has no figure."""
    if isinstance(test, PlayerTest):
        return ()
    by = MEASURES.get(type(test))
    found = unmeasured(test, UNKNOWN) if by is None else by(test, evidence)
    return found if isinstance(found, tuple) else (found,)


def measure_all(tests: Sequence[CriterionTest], evidence: Evidence) -> tuple[Figure, ...]:
    """Measure every heard test, in order."""
    return tuple(figure for test in tests for figure in measure(test, evidence))

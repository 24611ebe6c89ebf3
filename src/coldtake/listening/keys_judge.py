"""A keyboard's take judged: exact keys and times through the same tests as a recording.

What MIDI does not carry is not told: in tune or not, and how loud in decibels.
"""

from collections.abc import Sequence

import numpy as np

from coldtake.domain.criterion import Criterion
from coldtake.domain.take import ClickTrack, NoteEvidence, NoteStatus, Restart, Verdict
from coldtake.listening.evidence import DISPLACED_S, DISPLACED_SPREADS, Evidence, pitch_name
from coldtake.listening.fitness import Obstacle
from coldtake.listening.keys import Keys, Press
from coldtake.listening.keys_alignment import Matched, match_keys
from coldtake.listening.tempo import TempoFit, fit_tempo
from coldtake.listening.verdicts import cannot_tell, decided, obstacle_in_notes, seems_another
from coldtake.music.passage import Passage, PassageNote

ONSET_ERROR_S = 0.002  # a message takes 1 ms on a MIDI cable (31 250 baud), and the browser's clock
NO_CLICK = ", to your own tempo: a keyboard does not tell when the click sounded"


def judge_keys(
    keys: Keys,
    passage: Passage,
    criterion: Criterion,
    *,
    click_bpm: float | None = None,
    click: ClickTrack | None = None,
) -> Verdict:
    """Judge a keyboard's take. Several notes at once and two hands are fine."""
    obstacle = obstacle_in_notes(passage)
    if obstacle is not None:
        return cannot_tell(obstacle, criterion)
    matched = match_keys(keys.presses, passage)
    evidence = _gathered(matched, passage, clicked=click is not None or click_bpm is not None)
    obstacle = _another(matched, passage)
    if obstacle is not None:
        return cannot_tell(obstacle, criterion)
    return decided(criterion, evidence, tuning_cents=None)


def _another(matched: Matched, passage: Passage) -> Obstacle | None:
    right = set(matched.played) - matched.wrong
    stretch = 0
    if matched.played:
        first, last = min(matched.played), max(matched.played)
        stretch = last - first + 1
    return seems_another(len(right), len(passage.notes), len(matched.extras), stretch)


def _gathered(matched: Matched, passage: Passage, *, clicked: bool) -> Evidence:
    played = [e for e in matched.events if any(i in matched.played for i in e.notes)]
    times = np.array([_time_of(matched, e.notes) for e in played])
    beats = np.array([e.beat for e in played])
    first_of = {e.notes[0]: k for k, e in enumerate(matched.events)}
    cuts = [
        k
        for _, gone in matched.goings
        for k, e in enumerate(played)
        if first_of[e.notes[0]] == gone
    ]
    fit = fit_tempo(beats, times, cuts) if len(played) else None
    off = np.zeros(0) if fit is None else fit.deviations_s
    place = {i: k for k, e in enumerate(played) for i in e.notes}
    notes = tuple(
        _note(note, i, matched, fit, place, times) for i, note in enumerate(passage.notes)
    )
    return Evidence(
        notes,
        _extras(matched),
        tuple(Restart(at_s=t, to_beat=matched.events[e].beat) for t, e in matched.goings),
        (),
        tuple(e.notes[0] for e in played),
        np.full(len(played), ONSET_ERROR_S),
        fit,
        off,
        0.0,
        timed_by=NO_CLICK if clicked else "",
    )


def _time_of(matched: Matched, notes: Sequence[int]) -> float:
    """When a chord was struck: the middle of its keys."""
    return float(np.median([matched.played[i].onset_s for i in notes if i in matched.played]))


def _note(
    note: PassageNote, i: int, matched: Matched, fit: TempoFit | None, place: dict[int, int],
    times: "np.ndarray[tuple[int], np.dtype[np.float64]]",
) -> NoteEvidence:  # fmt: skip
    press = matched.played.get(i)
    if press is None:
        return NoteEvidence(
            id=note.id, status=NoteStatus.MISSED, expected_pitch=note.pitch,
            expected_beat=note.onset_beats, words="not played",
        )  # fmt: skip
    wrong = i in matched.wrong
    late_ms, displaced = _lateness(press, place.get(i), fit, times)
    words = f"{note.name} was played as {pitch_name(press.pitch)}" if wrong else ""
    if displaced and late_ms is not None and not wrong:
        words = f"{abs(late_ms):.0f} ms {'late' if late_ms > 0 else 'early'}"
    return NoteEvidence(
        id=note.id, status=NoteStatus.WRONG if wrong else NoteStatus.RIGHT,
        expected_pitch=note.pitch, expected_beat=note.onset_beats, onset_s=press.onset_s,
        offset_s=press.offset_s, pitch=float(press.pitch), deviation_ms=late_ms,
        displaced=displaced, words=words,
    )  # fmt: skip


def _lateness(
    press: Press, k: int | None, fit: TempoFit | None,
    times: "np.ndarray[tuple[int], np.dtype[np.float64]]",
) -> tuple[float | None, bool]:  # fmt: skip
    """Milliseconds off the player's own tempo, and whether the chord is clearly displaced."""
    if fit is None or k is None:
        return None, False
    own = float(fit.deviations_s[k])
    least = max(DISPLACED_S + ONSET_ERROR_S, DISPLACED_SPREADS * float(fit.spread_s[k]))
    return 1e3 * (own + press.onset_s - float(times[k])), abs(own) > least


def _extras(matched: Matched) -> tuple[NoteEvidence, ...]:
    return tuple(
        NoteEvidence(
            id=f"extra-{k + 1}", status=NoteStatus.EXTRA, onset_s=p.onset_s, offset_s=p.offset_s,
            pitch=float(p.pitch), words=f"an extra {pitch_name(p.pitch)}",
        )
        for k, (_, p) in enumerate(matched.extras)
    )  # fmt: skip

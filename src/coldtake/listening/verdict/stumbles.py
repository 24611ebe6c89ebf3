"""Where a take stopped, went back or was uneven, whatever its criterion asks.

- a hesitation: the next note came later than the tempo says, and the time was not made up
  (`features.tempo`);
- a restart: play went back; where it went back by a beat or less, that beat was repeated;
- an uneven bar: its onsets scatter about the player's own tempo by more than those of the take do.
  The farthest onset is left out, so that one late note makes no bar uneven (chi-square test,
  K. Pearson, Phil. Mag. 50, 1900; the limits are guesses).

A confidence is the chance that it was no mere scatter, times that of the notes which it rests on.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from scipy.special import gammaincc, ndtr

from coldtake.domain.take import NoteEvidence, Stumble, StumbleKind
from coldtake.listening.features.tempo import TempoFit
from coldtake.listening.verdict.evidence import Evidence
from coldtake.music.passage import Bar

REPEATED_BEATS = 1.0  # going back no farther repeats a beat
FEWEST_NOTES = 3  # of a bar whose evenness is looked at
UNEVEN_S = 0.035  # the least scatter of an uneven bar
CHANCE = 0.01  # that any bar of an even take is called uneven
UNSURE_ONSET_S = 0.06  # an onset known less well says nothing of evenness


def stumbles_of(evidence: Evidence, bars: Sequence[Bar]) -> tuple[Stumble, ...]:
    """Return all of them in order of time; bars : those of the passage as played."""
    found = [*_restarts(evidence)]
    if evidence.fit is not None:
        found += [
            *_hesitations(evidence, evidence.fit),
            *_uneven_bars(evidence, evidence.fit, bars),
        ]
    return tuple(sorted(found, key=lambda s: s.at_s))


def _hesitations(evidence: Evidence, fit: TempoFit) -> Iterator[Stumble]:
    for k, beats in fit.waits:
        note, before = (evidence.notes[evidence.played[j]] for j in (k, k - 1))
        if any(
            (before.onset_s or 0.0) < w.at_s <= (note.onset_s or 0.0) for w in evidence.restarts
        ):
            continue  # what was played again took the time
        wait_s = beats * 60.0 / fit.bpm
        error_s = np.hypot(np.sqrt(2.0) * fit.scatter_s, 0.5 * evidence.onset_errors_s[k])
        sure = float(2.0 * ndtr(wait_s / error_s) - 1.0)
        told = all(n.onset_s is not None for n in _between(evidence, k))
        yield Stumble(
            kind=StumbleKind.HESITATION, note_id=note.id, at_s=(note.onset_s or 0.0) - wait_s,
            beat=note.expected_beat or 0.0, length_beats=beats, length_s=wait_s,
            confidence=sure * min(note.confidence, before.confidence) * (1.0 if told else 0.5),
        )  # fmt: skip


def _between(evidence: Evidence, k: int) -> Sequence[NoteEvidence]:
    """Notes between two that were heard: what was missed there may have been played, and late."""
    return evidence.notes[evidence.played[k - 1] + 1 : evidence.played[k]]


def _restarts(evidence: Evidence) -> Iterator[Stumble]:
    for went in evidence.restarts:
        note = next((n for n in evidence.notes if n.expected_beat == went.to_beat), None)
        if note is None:
            continue
        back = None if went.from_beat is None else max(went.from_beat - went.to_beat, 0.0)
        again = back is not None and back <= REPEATED_BEATS
        yield Stumble(
            kind=StumbleKind.REPEATED if again else StumbleKind.RESTART, note_id=note.id,
            at_s=went.at_s, beat=went.to_beat, length_beats=back, confidence=note.confidence,
        )  # fmt: skip


def _uneven_bars(evidence: Evidence, fit: TempoFit, bars: Sequence[Bar]) -> Iterator[Stumble]:
    beats = np.array([evidence.notes[i].expected_beat or 0.0 for i in evidence.played])
    of_bar = np.searchsorted([b.onset_beats for b in bars], beats + 1e-6, side="right") - 1
    off, error = fit.deviations_s, 0.5 * evidence.onset_errors_s
    clear = evidence.onset_errors_s < UNSURE_ONSET_S
    for place, bar in enumerate(bars):
        here = np.flatnonzero((of_bar == place) & clear)
        if len(here) < FEWEST_NOTES:
            continue
        apart = (off[here] / np.hypot(fit.spread_s[here], error[here])) ** 2
        rest = np.argsort(apart)[:-1]
        chance = float(gammaincc(0.5 * len(rest), 0.5 * apart[rest].sum())) * len(bars)
        scatter_s = float(np.sqrt(np.mean(off[here][rest] ** 2)))
        if chance > CHANCE or scatter_s < UNEVEN_S:
            continue
        note = evidence.notes[evidence.played[int(here[0])]]
        yield Stumble(
            kind=StumbleKind.UNEVEN, note_id=note.id, at_s=note.onset_s or 0.0,
            beat=bar.onset_beats, length_beats=bar.length_beats, scatter_ms=1e3 * scatter_s,
            confidence=(1.0 - chance) * note.confidence,
        )  # fmt: skip

"""The reference take as notes: what later takes are laid along, and how much of it is sure.

A recording of one line is transcribed (`improvised.transcribing`), and its notes are looked for in
it once more as if they had been written: what one of the two does not bear out is unsure. Beats
are only a measure of time here: the click's where the reference was played with one, else the
middle time from note to note, doubled or halved into `BEAT_S`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from coldtake.domain.take import NoteStatus
from coldtake.listening.alignment.performance_alignment import read_take
from coldtake.listening.features.audio_features import AudioFeatures, hear
from coldtake.listening.features.signal_quality import (
    Abstention,
    obstacle_in_hearing,
    obstacle_in_sound,
)
from coldtake.listening.improvised.notes import ImprovisedNote, of_keys
from coldtake.listening.improvised.signal_quality import are_several, obstacle_in_line
from coldtake.listening.improvised.transcribing import transcribe
from coldtake.listening.judging_request import ReferenceTake
from coldtake.listening.keyboard.midi_performance import MidiPerformance
from coldtake.listening.sources.sound import Sound
from coldtake.listening.verdict.click_effect import click_effect
from coldtake.listening.verdict.evidence import gather
from coldtake.music.passage import Passage, PassageNote
from coldtake.music.theory.tones import pitch_name

LEAST_NOTES = 4
BEAT_S = (0.4, 0.8)  # a beat of a reference without a click lies within
SURE = 0.5  # confidence of a note's status
SURE_SHARE = 0.75  # of the notes that must be sure
TOGETHER_S = 0.04  # keys pressed within this are one chord
SEVERAL = Abstention("There are several sounds at once, and only one line can be compared.", "")
CHOOSE = "Choose another take as the reference, or add notation to the step."


@dataclass(frozen=True, eq=False)
class ReferenceLine:
    """The notes of a reference take.

    notes : by onset, seconds of its recording; unsure : indices of those that accuse nobody
    beat_s : a beat, by the click where `has_click`; hearing : None where it was played on MIDI
    """

    notes: tuple[ImprovisedNote, ...]
    unsure: frozenset[int]
    beat_s: float
    has_click: bool
    hearing: AudioFeatures | None = None

    @property
    def first_s(self) -> float:
        """Where beat 0 lies in its recording: the first note."""
        return self.notes[0].onset_s

    @property
    def passage(self) -> Passage:
        """The notes as a passage without bars; names are those of the sound."""
        return passage_of(self.notes, self.beat_s)


def line_of_sound(sound: Sound, take: ReferenceTake) -> ReferenceLine | Abstention:
    """Transcribe a recording of one line, or say why it cannot serve."""
    obstacle = obstacle_in_sound(sound)
    if obstacle is not None:
        return _unfit(obstacle)
    beside = click_effect(sound, take.click, take.click_bpm)
    hearing = hear(beside.sound)
    obstacle = obstacle_in_hearing(hearing)
    if obstacle is not None:
        return _unfit(obstacle)
    notes = transcribe(hearing).notes
    several = len(notes) >= LEAST_NOTES and are_several(hearing, notes)
    obstacle = SEVERAL if several else obstacle_in_line(hearing, notes)
    if obstacle is not None:
        return _unfit(obstacle)
    beat_s, has_click = _beat(notes, take)
    line = ReferenceLine(notes, frozenset(), beat_s, has_click, hearing)
    unsure = _unsure(hearing, line)
    if len(notes) - len(unsure) < SURE_SHARE * len(notes):
        told = f"{len(unsure)} of its {len(notes)} notes are not clear enough."
        return _unfit(Abstention(told, ""))
    return replace(line, unsure=unsure)


def line_of_keys(keys: MidiPerformance, take: ReferenceTake) -> ReferenceLine | Abstention:
    """Take the notes of a MIDI performance, or say why it cannot serve."""
    notes = _in_chords(of_keys(keys.presses))
    if len(notes) < LEAST_NOTES:
        return _unfit(Abstention(f"Only {len(notes)} keys were pressed.", ""))
    beat_s, has_click = _beat(notes, take)
    return ReferenceLine(notes, frozenset(), beat_s, has_click)


def passage_of(notes: Sequence[ImprovisedNote], beat_s: float) -> Passage:
    """Notes as a passage of which nothing is known but pitch and time; beat 0 is the first."""
    first_s = notes[0].onset_s
    onsets = [(n.onset_s - first_s) / beat_s for n in notes]
    later = [next((b for b in onsets[k:] if b > a), np.inf) for k, a in enumerate(onsets)]
    rows = tuple(
        PassageNote(
            id=f"note-{k + 1}", notation_ids=(), onset_beats=at,
            duration_beats=min((n.offset_s - first_s) / beat_s, later[k]) - at,
            pitch=n.pitch, written_pitch=n.pitch, name=pitch_name(n.pitch), bar="", bar_index=0,
        )
        for k, (n, at) in enumerate(zip(notes, onsets, strict=True))
    )  # fmt: skip
    return Passage("", rows, (), (), "")


def _beat(notes: Sequence[ImprovisedNote], take: ReferenceTake) -> tuple[float, bool]:
    """A beat [s], and whether a click made it."""
    bpm = take.click.bpm if take.click is not None else take.click_bpm
    if bpm is not None:
        return 60.0 / bpm, True
    gaps = [b.onset_s - a.onset_s for a, b in pairwise(notes) if b.onset_s > a.onset_s]
    middle = float(np.median(gaps)) if gaps else BEAT_S[0]
    return float(middle * 2.0 ** np.ceil(np.log2(BEAT_S[0] / middle))), False


def _unsure(hearing: AudioFeatures, line: ReferenceLine) -> frozenset[int]:
    """Notes that were heard once, and not again when they were looked for."""
    passage = line.passage
    evidence = gather(hearing, passage, read_take(hearing, passage))
    return frozenset(
        k
        for k, (note, again) in enumerate(zip(line.notes, evidence.notes, strict=True))
        if not note.sure
        or again.status is not NoteStatus.RIGHT
        or again.confidence < SURE
        or abs((again.onset_s or 0.0) - note.onset_s) > 0.1
    )


def _in_chords(notes: Sequence[ImprovisedNote]) -> tuple[ImprovisedNote, ...]:
    """Keys pressed as good as together begin together: the first one's time."""
    found: list[ImprovisedNote] = []
    start = -np.inf
    for note in notes:
        if note.onset_s - start > TOGETHER_S:
            start = note.onset_s
        found.append(replace(note, onset_s=start))
    return tuple(sorted(found, key=lambda n: (n.onset_s, n.pitch)))


def _unfit(obstacle: Abstention) -> Abstention:
    """What stands in the way in the reference, told of it."""
    reason = obstacle.reason[:1].lower() + obstacle.reason[1:]
    return Abstention(f"The reference take cannot be used: {reason}", CHOOSE)

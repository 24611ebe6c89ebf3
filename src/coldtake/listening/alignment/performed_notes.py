"""What was heard of a passage: tones played, going back, and the whole reading of a recording."""

from dataclasses import dataclass

import numpy as np

from coldtake.listening.alignment.segmental_viterbi import Ints
from coldtake.listening.features.audio_features import Floats
from coldtake.listening.features.tones import Tone

CLEAR_ATTACKS = 0.8  # a take whose attacks are as clear as this tells where there is none
DOUBTFUL_ATTACK = 0.05  # a repeated note with less evidence of an attack is not told


@dataclass(frozen=True)
class PerformedNote:
    """One tone that was heard.

    index : the note of the passage it stands for, None for an extra
    right : whether it has the written pitch (None: cannot be told)
    onset_s, rise_s, offset_s; tone : its pitch; attack : 0..1
    error_s : half width (95 %) within which the onset is known
    """

    index: int | None
    right: bool | None
    onset_s: float
    rise_s: float
    offset_s: float
    tone: Tone
    attack: float
    after: int = -1
    error_s: float = 0.02


@dataclass(frozen=True)
class BackJump:
    """The player went back: at_s, to the note index; after which index."""

    at_s: float
    to_index: int
    from_index: int


@dataclass(frozen=True, eq=False)
class PerformanceAlignment:
    """All of it, in order of time; `kept` is the last playing of each note, by note index.

    tuning : semitones above 440 Hz; clarity : 0..1, how clear this take's attacks are
    unsure : notes left out that may have been played all the same;
    missed : those that surely were not
    """

    playings: tuple[PerformedNote, ...]
    goings: tuple[BackJump, ...]
    kept: dict[int, PerformedNote]
    extras: tuple[PerformedNote, ...]
    tuning: float
    clarity: float
    unsure: frozenset[int] = frozenset()
    missed: frozenset[int] = frozenset()


def is_repeat(pitches: Ints, index: int) -> bool:
    """Whether a note has the pitch of the one before it."""
    return index > 0 and bool(pitches[index] == pitches[index - 1])


def pace_of(kept: dict[int, PerformedNote], beats: Floats) -> float:
    """Seconds per beat, the median over neighbouring notes that were heard."""
    pairs = [(k, k + 1) for k in sorted(kept) if k + 1 in kept and beats[k + 1] > beats[k]]
    ratios = [(kept[b].onset_s - kept[a].onset_s) / (beats[b] - beats[a]) for a, b in pairs]
    return float(np.median(ratios)) if ratios else 0.5

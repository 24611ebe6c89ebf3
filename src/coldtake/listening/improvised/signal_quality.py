"""Whether a recording can carry an improvisation: one line of steady pitches, and enough of it."""

from collections.abc import Sequence

import numpy as np

from coldtake.listening.features.audio_features import PITCH_STEP_S, RATE, AudioFeatures
from coldtake.listening.features.signal_quality import Abstention
from coldtake.listening.improvised.notes import ImprovisedNote
from coldtake.units import pitch_to_hz

LEAST_NOTES = 4
TONED_SHARE = 0.55  # of the loud time in which one tone is heard
STEADY = 0.35  # mean resultant of the pitches' places between the semitones: speech glides, 0..0.2
OWN_SHARE, OWN_PERCENT = 0.60, 20.0  # of the power on the heard note's partials, worst fifth
LOW = 48.0  # below, so short a look does not tell partials apart: the note has no say
SURE_SHARE = 0.6  # of the notes with a sure pitch
SIZE = 4096  # samples at RATE, 256 ms
_HEADPHONES = "Use headphones for the accompaniment, or play one line only. "


def obstacle_in_line(hearing: AudioFeatures, notes: Sequence[ImprovisedNote]) -> Abstention | None:
    """What shows after transcribing: too little, speech, several sounds at once."""
    if len(notes) < LEAST_NOTES:
        return Abstention(
            f"Only {len(notes)} notes could be heard.",
            "Check the microphone, or record a take with more notes.",
        )
    if steadiness(hearing) < STEADY or share_of_sure(notes) < SURE_SHARE:
        return Abstention(
            "The pitches glide too much to find notes, as in speech.",
            "Move the microphone to the instrument and record it alone.",
        )
    if are_several(hearing, notes):
        return Abstention(
            "There are several sounds at once. Over changes, Coldtake can judge only one line.",
            f"{_HEADPHONES}A keyboard can be recorded through MIDI.",
        )
    return None


def are_several(hearing: AudioFeatures, notes: Sequence[ImprovisedNote]) -> bool:
    """Whether more sounds at once than the line that was heard."""
    return toned_share(hearing) < TONED_SHARE or own_share(hearing, notes) < OWN_SHARE


def share_of_sure(notes: Sequence[ImprovisedNote]) -> float:
    """Share of the sounded time in which the pitch is sure."""
    lengths = np.array([n.offset_s - n.onset_s for n in notes])
    sure = np.array([n.sure for n in notes])
    return float(lengths[sure].sum() / max(lengths.sum(), 1e-9))


def steadiness(hearing: AudioFeatures) -> float:
    """How closely pitches keep to one grid of semitones, 0..1 (resultant on the circle)."""
    pitch = hearing.pitch[hearing.voiced]
    return float(np.abs(np.exp(2j * np.pi * pitch).mean())) if len(pitch) else 0.0


def toned_share(hearing: AudioFeatures) -> float:
    """Share of the loud frames in which a tone is heard."""
    loud = hearing.level_db > hearing.level_db.max() - 20.0
    return float(hearing.voiced[loud].mean()) if loud.any() else 0.0


def own_share(hearing: AudioFeatures, notes: Sequence[ImprovisedNote]) -> float:
    """Share of the power that lies on the partials of the note heard, in the worst fifth of notes.

    One line has 0.8 and more there, a band of bass and piano 0.3 and less, both together between.
    """
    shares = [s for n in notes if (s := _own_share(hearing, n)) is not None]
    return float(np.percentile(shares, OWN_PERCENT)) if shares else 1.0


def _own_share(hearing: AudioFeatures, note: ImprovisedNote) -> float | None:
    middle = round((note.onset_s + min(note.offset_s, note.onset_s + 0.5)) / 2 * RATE)
    low = middle - SIZE // 2
    if low < 0 or low + SIZE > len(hearing.samples):
        return None
    frame = hearing.samples[low : low + SIZE] * np.hanning(SIZE)
    power = np.abs(np.fft.rfft(frame)) ** 2
    frame_at = min(round(middle / RATE / PITCH_STEP_S), len(hearing.pitch) - 1)
    pitch = float(hearing.pitch[frame_at])
    if pitch < LOW:
        return None
    base = pitch_to_hz(pitch) * SIZE / RATE
    bins = np.arange(len(power))
    number = np.maximum(np.round(bins / base), 1.0)
    near = np.abs(bins - number * base) <= np.maximum(2.5, 0.015 * bins)
    audible = bins > 50.0 * SIZE / RATE
    return float(power[near & audible].sum() / max(power[audible].sum(), 1e-12))

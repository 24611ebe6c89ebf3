"""Real recordings: singing with two people's annotations, two single notes, and a violin.

vocadito: R. Bittner et al., "vocadito: A dataset of solo vocals with f0, note, and lyric
annotations", arXiv 2110.05580, 2021, CC BY 4.0. TinySOL: C. E. Cella, D. Ghisi, V. Lostanlen et
al., 2020, CC BY 4.0. Violin: H.-W. Dong, C. Zhou and T. Berg-Kirkpatrick, Bach Violin Dataset,
2022; played by John Garner, CC BY 3.0. Facts about both: CHECKS.md, section 5 (computed there).
"""

import os
from dataclasses import replace
from pathlib import Path

import mir_eval
import numpy as np
import pytest
from passages import passage_of
from takes import other

from coldtake.domain.criterion import Criterion, NotesTest, default_criterion
from coldtake.domain.take import Answer, NoteStatus
from coldtake.listening.features.audio_features import hear
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.melody.judge import judge
from coldtake.listening.sources.sound import read_sound
from coldtake.music.notation.reading.reader import read_passage, unpack
from coldtake.units import hz_to_pitch, pitch_to_hz

DATA = Path(os.environ.get("COLDTAKE_OPEN_DATA", Path(__file__).parents[3] / "shared" / "data"))
VOCADITO, TINYSOL, VIOLIN = DATA / "vocadito", DATA / "tinysol", DATA / "violin"

singing = pytest.mark.skipif(not VOCADITO.exists(), reason=f"vocadito is not at {VOCADITO}")
single_notes = pytest.mark.skipif(not TINYSOL.exists(), reason=f"TinySOL is not at {TINYSOL}")

violin = pytest.mark.skipif(not VIOLIN.exists(), reason=f"the violin is not at {VIOLIN}")


def annotated(name: str) -> np.ndarray:
    """Rows of onset [s], pitch [Hz], duration [s]."""
    path = VOCADITO / "Annotations" / "Notes" / f"vocadito_1_notes{name}.csv"
    return np.loadtxt(path, delimiter=",", usecols=(0, 1, 2))


def sung():
    return read_sound(VOCADITO / "Audio" / "vocadito_1.wav")


def as_passage(notes: np.ndarray):
    """The annotated notes as written music: semitones, and times on a grid of sixteenths."""
    pitches = [round(hz_to_pitch(hz)) for hz in notes[:, 1]]
    beats = np.round(notes[:, 0] / 0.6 * 4) / 4
    rows, at = [], 0.0
    for k, (pitch, beat) in enumerate(zip(pitches, beats, strict=True)):
        if beat > at:
            rows.append((None, beat - at))
        after = beats[k + 1] if k + 1 < len(beats) else beat + 1.0
        length = max(min(notes[k, 2] / 0.6, after - beat), 0.125)
        rows.append((pitch, length))
        at = max(beat, at) + length
    return passage_of(rows, bpm=100.0)


def f1(reference: np.ndarray, onsets: np.ndarray, hz: np.ndarray) -> float:
    spans = np.column_stack([reference[:, 0], reference[:, 0] + reference[:, 2]])
    found = np.column_stack([onsets, onsets + 0.1])
    scores = mir_eval.transcription.precision_recall_f1_overlap(
        spans, reference[:, 1], found, hz, onset_tolerance=0.05, offset_ratio=None
    )
    return float(scores[2])


@singing
def test_pitch_of_real_singing_is_the_annotated_f0():
    rows = np.loadtxt(VOCADITO / "Annotations" / "F0" / "vocadito_1_f0.csv", delimiter=",")
    heard = hear(sung(), 48, 76)
    truth = np.interp(heard.pitch_times, rows[:, 0], rows[:, 1])
    both = (truth > 50) & heard.voiced
    off = 100 * np.abs(heard.pitch[both] - np.array([hz_to_pitch(x) for x in truth[both]]))
    assert both.sum() > 1000
    assert np.median(off) < 10
    assert (off < 50).mean() > 0.93


@singing
def test_notes_of_real_singing_against_both_annotators():
    one, two = annotated("A1"), annotated("A2")
    people = f1(one, two[:, 0], two[:, 1])
    assert people == pytest.approx(0.862, abs=0.002)  # computed value of CHECKS.md 5
    verdict = judge(sung(), JudgingRequest(as_passage(one), default_criterion()))
    heard = [n for n in verdict.notes if n.onset_s is not None and n.pitch is not None]
    assert heard, verdict.reason
    onsets = np.array([n.onset_s for n in heard])
    hz = np.array([pitch_to_hz(n.pitch) for n in heard])
    ours = max(f1(one, onsets, hz), f1(two, onsets, hz))
    # Measured: 0.65 and 0.70. Two people agree to 0.86; ours is worse, and says so in RESULTS.md.
    assert ours > 0.6, (ours, people)


@singing
def test_singing_against_a_passage_that_was_not_sung_is_never_yes():
    one = as_passage(annotated("A1"))
    pitches = [n.pitch for n in one.notes]
    backwards = passage_of([(p, 1.0) for p in pitches[::-1]])
    for passage in (other(), backwards, passage_of([(p + 3, 0.5) for p in pitches])):
        verdict = judge(sung(), JudgingRequest(passage, default_criterion()))
        assert verdict.answer != Answer.YES
    assert judge(sung(), JudgingRequest(other(), default_criterion())).answer == Answer.CANNOT_TELL


@single_notes
@pytest.mark.parametrize(
    ("place", "pitch", "hz"),
    [
        ("Winds/Flute/ordinario/Fl-ord-C4-mf-N-T14d.wav", 60, 261.780),
        ("Strings/Contrabass/ordinario/Cb-ord-A2-mf-2c-N.wav", 45, 110.569),
    ],
)
def test_single_notes_have_their_pitch(place, pitch, hz):
    sound = read_sound(TINYSOL / "audio" / place)
    verdict = judge(sound, JudgingRequest(passage_of([(pitch, 4.0)]), default_criterion()))
    (note,) = verdict.notes
    assert note.status == NoteStatus.RIGHT
    assert 100 * (note.pitch - hz_to_pitch(hz)) == pytest.approx(0.0, abs=2.0)


PLAYED_S = 14.0  # the first section once, 36 quarters


@violin
@pytest.mark.parametrize("changed", [(), (12, 30, 47)])
def test_a_real_violin_in_a_room_has_no_extras_and_its_changed_notes_are_found(changed):
    """A professional plays it right; open strings and their octaves ring (H.-W. Dong et al. 2022).

    A page with three notes a semitone away stands for three wrong notes.
    """
    form, text = unpack((VIOLIN / "partita_double.mxl").read_bytes(), "partita_double.mxl")
    whole = read_passage(text, form)
    notes = [n for n in whole.notes if n.onset_beats < 34.0]
    bars = [b for b in whole.bars if b.onset_beats < 34.0]
    for i in changed:
        notes[i] = replace(notes[i], pitch=notes[i].pitch - 1)
    passage = replace(whole, notes=tuple(notes), bars=tuple(bars))
    sound = read_sound(VIOLIN / "partita_double.mp3")
    sound = replace(sound, samples=sound.samples[: round(PLAYED_S * sound.rate)])
    verdict = judge(sound, JudgingRequest(passage, Criterion(tests=(NotesTest(),))))
    accused = {n.id for n in verdict.notes if n.status is not NoteStatus.RIGHT}
    assert accused == {notes[i].id for i in changed}
    assert (verdict.answer is Answer.NO) == bool(changed)

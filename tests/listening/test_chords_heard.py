"""Chords and two hands by ear, on FluidR3_GM, which was never trained on."""

import io
import re
from dataclasses import replace

import numpy as np
import pytest
import soundfile
from band import RATE, Played, synth
from takes import BANK, HAVE_BANK, WHY_NOT

from coldtake.domain.criterion import Criterion, NoStopsTest, NotesTest
from coldtake.domain.take import Answer, NoteStatus
from coldtake.listening.chords import note_network, spectrum
from coldtake.listening.chords.judging import ScoreFreeResult, _not_heard_blindly
from coldtake.listening.chords.placing import ChordOccurrence
from coldtake.listening.dispatch import judge_take, take_file
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_alignment import events_of
from coldtake.listening.melody.judge import judge
from coldtake.listening.sources.sound import Sound
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.passage import Bar, Passage, PassageNote, TempoMark

pytestmark = [pytest.mark.audio, pytest.mark.skipif(not HAVE_BANK, reason=WHY_NOT)]

NOTES = Criterion(tests=(NotesTest(), NoStopsTest()))
PIANO, GUITAR, ACCORDION, CHOIR = 0, 24, 21, 52
BPM = 84.0
# An invented cadence for two hands: (beat, length, keys).
CADENCE = (
    (0.0, 1.0, (48, 64, 67, 72)), (1.0, 0.5, (53, 69, 72)), (1.5, 0.5, (74,)),
    (2.0, 1.0, (55, 65, 71, 74)), (3.0, 1.0, (48, 64, 72)), (4.0, 1.0, (45, 64, 69, 72)),
    (5.0, 1.0, (50, 65, 69, 74)), (6.0, 1.0, (55, 62, 71, 74)), (7.0, 2.0, (48, 55, 64, 72)),
)  # fmt: skip
OTHER = (
    (0.0, 1.0, (51, 63, 70)), (1.0, 1.0, (56, 63, 68)), (2.0, 0.5, (58, 61, 66)),
    (2.5, 1.5, (54, 61, 70, 73)), (4.0, 1.0, (49, 56, 65)), (5.0, 1.0, (47, 54, 63, 70)),
    (6.0, 2.0, (46, 53, 61, 66)),
)  # fmt: skip


def passage_of(chords) -> Passage:
    rows = [(b, d, p) for b, d, keys in chords for p in keys]
    notes = tuple(
        PassageNote(f"n{k}", (f"n{k}",), b, d, p, p, f"key {p}", str(int(b // 4) + 1), int(b // 4))
        for k, (b, d, p) in enumerate(rows)
    )
    bars = tuple(Bar(k, str(k + 1), 4.0 * k, 4.0, (4, 4)) for k in range(3))
    return Passage("cadence", notes, bars, (TempoMark(0.0, BPM),), "")


def keys_of(passage, *, seed=3, spread_s=0.024, velocity=84) -> list[Played]:
    """Played right, each chord spread as careful pianists spread it, a little uneven."""
    rng = np.random.default_rng(seed)
    beat = 60.0 / BPM
    off = {n.onset_beats: rng.normal(0, 0.008) for n in passage.notes}
    return [
        Played(
            start := 0.5 + n.onset_beats * beat + off[n.onset_beats] + rng.uniform(0, spread_s),
            start + 0.85 * n.duration_beats * beat,
            n.pitch,
            int(velocity + rng.integers(-8, 8)),
        )
        for n in passage.notes
    ]


def buzzing_voice(time):
    """A voice without notes: it glides and pauses."""
    turns = np.cumsum(120 + 40 * np.sin(9 * time)) / RATE
    return 0.2 * np.sign(np.sin(2 * np.pi * turns)) * (np.sin(5 * time) > 0)


def take(program, keys) -> Sound:
    return Sound(synth(BANK).render(program, keys), RATE)


def faults(verdict):
    return [(n.status.value, n.id) for n in verdict.notes if n.status != NoteStatus.RIGHT]


@pytest.mark.parametrize("program", [PIANO, GUITAR, ACCORDION, CHOIR])
def test_a_clean_take_of_chords_has_every_note_right_and_in_time(program):
    passage = passage_of(CADENCE)
    keys = keys_of(passage)
    verdict = judge(take(program, keys), JudgingRequest(passage, NOTES))
    # A choir's soft attacks leave a doubled note untold now and then; it accuses nobody.
    assert verdict.answer == Answer.YES or (program == CHOIR and verdict.abstained), verdict.reason
    assert len(verdict.abstained) <= 2
    assert faults(verdict) == []
    assert verdict.tempo_bpm == pytest.approx(BPM, rel=0.02)
    # choirs and reeds are heard later than the key goes down: up to their rise
    late = np.array([n.onset_s - k.start_s for n, k in zip(verdict.notes, keys, strict=True)])
    assert np.all((late > -0.03) & (late < 0.16))
    assert not any(n.displaced for n in verdict.notes), "a chord within 50 ms is together"


def test_wrong_missed_and_added_notes_of_a_chord_are_named():
    passage = passage_of(CADENCE)
    keys = keys_of(passage)
    wrong = next(k for k, n in enumerate(passage.notes) if (n.onset_beats, n.pitch) == (2.0, 71))
    missed = next(k for k, n in enumerate(passage.notes) if (n.onset_beats, n.pitch) == (5.0, 65))
    keys[wrong] = replace(keys[wrong], key=70)
    extra = Played(keys[missed].start_s + 0.35, keys[missed].end_s + 0.3, 78, 84)
    verdict = judge(
        take(PIANO, [*keys[:missed], *keys[missed + 1 :], extra]), JudgingRequest(passage, NOTES)
    )
    assert verdict.answer == Answer.NO
    assert faults(verdict) == [
        ("wrong", f"n{wrong}"),
        ("missed", f"n{missed}"),
        ("extra", "extra-1"),
    ]
    assert verdict.notes[wrong].pitch == 70
    assert verdict.notes[-1].pitch == 78
    assert verdict.notes[-1].onset_s == pytest.approx(extra.start_s, abs=0.03)


def test_going_back_some_chords_is_found():
    passage = passage_of(CADENCE)
    first = keys_of(passage)
    stop = 0.5 + 5.0 * 60.0 / BPM
    before = [k for k in first if k.start_s < stop - 0.2]
    move = 3.0 * 60.0 / BPM  # from beat 5 back to beat 3, a beat of hesitation
    again = [
        replace(k, start_s=k.start_s + move, end_s=k.end_s + move)
        for k, n in zip(first, passage.notes, strict=True)
        if n.onset_beats >= 3.0
    ]
    verdict = judge(take(PIANO, [*before, *again]), JudgingRequest(passage, NOTES))
    assert [r.to_beat for r in verdict.restarts] == [3.0]
    assert verdict.restarts[0].at_s == pytest.approx(min(k.start_s for k in again), abs=0.06)
    assert verdict.answer == Answer.NO


@pytest.mark.parametrize("late_s", [0.1, 0.24])
def test_a_note_of_a_chord_that_comes_apart_from_it_is_late_and_not_missed(late_s):
    passage = passage_of(CADENCE)
    keys = keys_of(passage, spread_s=0.01)
    k = next(k for k, n in enumerate(passage.notes) if (n.onset_beats, n.pitch) == (4.0, 72))
    keys[k] = replace(keys[k], start_s=keys[k].start_s + late_s)
    verdict = judge(take(PIANO, keys), JudgingRequest(passage, NOTES))
    assert faults(verdict) == []
    assert verdict.notes[k].onset_s == pytest.approx(keys[k].start_s, abs=0.03)
    assert verdict.notes[k].displaced
    assert "after the rest of its chord" in verdict.notes[k].words
    assert sum(n.displaced for n in verdict.notes) == 1


@pytest.mark.parametrize(
    "what", ["another passage", "noise", "silence", "one line of it", "speech"]
)
def test_what_is_not_the_passage_is_never_a_yes(what):
    passage = passage_of(CADENCE)
    rng = np.random.default_rng(8)
    time = np.arange(6 * RATE) / RATE
    sound = {
        "another passage": lambda: take(PIANO, keys_of(passage_of(OTHER))).samples,
        "noise": lambda: rng.normal(0, 0.1, 6 * RATE),
        "silence": lambda: np.zeros(6 * RATE),
        "one line of it": lambda: take(
            PIANO, [k for k, n in zip(keys_of(passage), passage.notes, strict=True) if n.pitch > 71]
        ).samples,
        "speech": lambda: buzzing_voice(time),
    }[what]()  # fmt: skip
    verdict = judge(Sound(np.asarray(sound, np.float32), RATE), JudgingRequest(passage, NOTES))
    assert verdict.answer != Answer.YES
    if what != "one line of it":
        assert verdict.answer == Answer.CANNOT_TELL
        assert verdict.remedy


def test_the_same_take_of_chords_gives_the_same_verdict():
    passage = passage_of(CADENCE)
    sound = take(GUITAR, keys_of(passage))
    assert judge(sound, JudgingRequest(passage, NOTES)) == judge(
        sound, JudgingRequest(passage, NOTES)
    )


def test_the_spectrum_is_the_signal_against_windowed_tones():
    """J. C. Brown and M. S. Puckette, JASA 92, 1992: the same inner product, taken in time."""
    rng = np.random.default_rng(2)
    samples = rng.normal(0, 0.05, spectrum.RATE).astype(np.float32)
    view = spectrum.spectrum(samples)
    at = 40
    padded = np.pad(samples, spectrum.FRAME)
    for v, what in enumerate((spectrum.FINE, spectrum.QUICK)):
        for b in (30, 100, 180, 260):
            hz = spectrum.bin_hz()[b]
            length = int(np.clip(what.periods * spectrum.RATE / hz, what.least, what.most)) // 2 * 2
            n = np.arange(-length // 2, length // 2)
            window = 0.5 + 0.5 * np.cos(2 * np.pi * n / length)
            part = padded[spectrum.FRAME + at * spectrum.HOP + n]
            tone = np.exp(-2j * np.pi * hz / spectrum.RATE * n)
            size = abs(np.sum(part * window * tone)) * 2 / window.sum()
            wanted = (20 * np.log10(size) + 90) / 45
            assert view[v, at, b] == pytest.approx(wanted, abs=0.02)  # 1 dB: small values left out


def test_a_tone_off_pitch_tells_the_tuning():
    time = np.arange(3 * spectrum.RATE) / spectrum.RATE
    for cents in (-31.0, 0.0, 17.0):
        hz = 220.0 * 2 ** (cents / 1200)
        sound = sum(0.1 / k * np.sin(2 * np.pi * k * hz * time) for k in (1, 2, 4))
        view = spectrum.spectrum(sound.astype(np.float32))
        assert spectrum.tuning_of(view[0]) == pytest.approx(cents, abs=3.0)


@pytest.mark.parametrize("where", [10.0, 10.3, 10.5, 10.8])
def test_an_onset_between_two_frames_is_read_off_its_triangle(where):
    """Q. Kong and others, IEEE/ACM TASLP 29, 2021, section III: exact for sampled triangles."""
    curve = np.maximum(1 - np.abs(np.arange(20) - where) / note_network.REACH, 0).astype(np.float32)
    found = note_network.peak_s(curve, int(np.argmax(curve)))
    assert found / spectrum.STEP_S == pytest.approx(where, abs=1e-4)


def test_a_quiet_octave_over_a_loud_bass_is_not_accused():
    """It may be told or not; either way a note that was played is not called missed."""
    chords = tuple((float(b), 1.0, (40 + s, 52 + s, 64 + s)) for b, s in enumerate((0, 5, 3, 7, 0)))
    passage = passage_of(chords)
    keys = [
        replace(k, velocity=120 if k.key < 50 else 34)
        for k in keys_of(passage, spread_s=0.01)
    ]  # fmt: skip
    verdict = judge(take(PIANO, keys), JudgingRequest(passage, NOTES))
    assert [f for f in faults(verdict) if f[0] != "extra"] == []
    assert verdict.answer != Answer.NO


def test_a_note_that_cannot_be_told_is_said_to_be_so_and_nobody_is_accused():
    """A loud bass holds every partial of the octave; one octave is left out."""
    chords = tuple((float(b), 1.0, (43 + s, 55 + s)) for b, s in enumerate((0, 2, 4, 5, 7, 5)))
    passage = passage_of(chords)
    keys = [replace(k, velocity=112 if k.key < 51 else 50) for k in keys_of(passage, spread_s=0.0)]
    missing = next(k for k, n in enumerate(passage.notes) if (n.onset_beats, n.pitch) == (3.0, 60))
    verdict = judge(
        take(PIANO, [k for i, k in enumerate(keys) if i != missing]), JudgingRequest(passage, NOTES)
    )
    status = verdict.notes[missing].status
    assert status == NoteStatus.MISSED or passage.notes[missing].id in verdict.abstained
    assert verdict.answer != Answer.YES
    for note in verdict.notes:
        if note.id in verdict.abstained:
            assert note.status == NoteStatus.RIGHT
            assert "cannot tell" in note.words


TWO_HANDS = """%abc-2.1
X:1
T:Two hands
M:4/4
L:1/4
Q:1/4=90
V:1 clef=treble
V:2 clef=bass
K:C
V:1
[EGc] [FAd] [Gde] c | [EAc] [FAd] [DGB] [EGc] |]
V:2
C, F, G, C | A,, D, G,, C, |]
"""


def test_two_hands_on_a_page_are_judged_from_a_kept_take_by_the_ids_of_the_notation(tmp_path):
    passage = read_passage(TWO_HANDS, "abc")
    keys = keys_of(passage)
    keys[5] = replace(keys[5], key=keys[5].key + 1)
    flac, _, _ = take_file(_wav(take(PIANO, keys)))
    path = tmp_path / "take.flac"
    path.write_bytes(flac)
    verdict = judge_take(path, JudgingRequest(passage, NOTES))
    assert faults(verdict) == [("wrong", passage.notes[5].id)]
    assert [n.id for n in verdict.notes] == [n.id for n in passage.notes]
    for note in passage.notes:
        assert set(note.notation_ids) <= set(re.findall(r'xml:id="([^"]+)"', passage.mei))


def _wav(sound: Sound) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, sound.samples / np.abs(sound.samples).max(), sound.rate, format="WAV")
    return out.getvalue()


@pytest.mark.parametrize(("heard", "another"), [(3, True), (4, False)])
def test_half_of_the_notes_must_be_heard_without_the_page(heard, another):
    """The first two chords have seven notes."""
    events = events_of(passage_of(CADENCE))
    keys = [*events[0].pitches, *events[1].pitches][:heard]
    visits = tuple(
        ChordOccurrence(k, float(k), frozenset(p for p in events[k].pitches if p in keys))
        for k in (0, 1)
    )
    said = _not_heard_blindly(ScoreFreeResult(9, visits, 0.0), events)
    assert (said is not None) is another

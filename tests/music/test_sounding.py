"""A passage as sound."""

import numpy as np
import pytest

from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.playback.sounding import SoundedNote, schedule
from coldtake.music.playback.synth import TAIL_S, VOICES, render

SCALE = "X:1\nL:1/4\nK:C\nCDEF|GABc|\n"


def test_schedule_counts_in_quarters():
    notes = schedule(read_passage(SCALE, "abc"), 120)
    assert [n.onset_s for n in notes] == [0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5]
    assert {n.duration_s for n in notes} == {0.5}
    assert [n.pitch for n in notes] == [60, 62, 64, 65, 67, 69, 71, 72]


@pytest.mark.parametrize("bpm", [0, -60, float("nan")])
def test_no_tempo_no_schedule(bpm):
    with pytest.raises(ValueError, match="above 0"):
        schedule(read_passage(SCALE, "abc"), bpm)


@pytest.mark.parametrize("voice", VOICES)
@pytest.mark.parametrize(("pitch", "a4_hz"), [(57, 440.0), (69, 442.0), (72.3, 440.0)])
def test_the_right_pitch(voice, pitch, a4_hz):
    """The strongest lines of the spectrum are whole multiples of the fundamental."""
    rate = 44_100
    sound = render([SoundedNote("a", 0, 1, pitch)], rate=rate, voice=voice, a4_hz=a4_hz)
    part = sound[rate // 10 : rate // 10 + rate // 2]
    spectrum = np.abs(np.fft.rfft(part * np.hanning(part.size), 8 * part.size))
    peak_hz = np.argmax(spectrum) * rate / (8 * part.size)
    expected = a4_hz * 2 ** ((pitch - 69) / 12)
    harmonic = max(round(peak_hz / expected), 1)
    assert abs(1200 * np.log2(peak_hz / harmonic / expected)) < 6  # vibrato and stretch


@pytest.mark.parametrize("voice", VOICES)
def test_no_clicks_no_clipping_and_the_same_again(voice):
    notes = schedule(read_passage(SCALE, "abc"), 200)
    sound = render(notes, voice=voice)
    assert sound.dtype == np.float32
    assert sound.size == round((notes[-1].onset_s + notes[-1].duration_s + TAIL_S) * 44_100)
    assert 0.2 < np.max(np.abs(sound)) <= 0.81
    assert abs(sound[0]) < 1e-3
    assert np.max(np.abs(sound[-2000:])) < 1e-6
    # A click is a jump much larger than any step of the smooth wave around it.
    jumps = np.abs(np.diff(sound, 2))
    assert np.max(jumps) < 40 * np.mean(jumps[jumps > 1e-5])
    assert np.array_equal(sound, render(notes, voice=voice))


def test_repeated_notes_part():
    sound = render([SoundedNote("a", 0, 0.5, 69), SoundedNote("b", 0.5, 0.5, 69)], voice="clarinet")
    level = np.sqrt(np.convolve(sound**2, np.ones(200) / 200, "same"))
    middle = level[22_050 - 400 : 22_050 + 400].min()
    assert middle < 0.3 * level[10_000]


def test_nothing_to_sound_is_silence():
    assert not np.any(render([]))


@pytest.mark.parametrize(
    ("kwargs", "what"),
    [({"voice": "kazoo"}, "no voice"), ({"rate": 100}, "rate"), ({"a4_hz": 0}, "A4")],
)
def test_what_cannot_be_rendered(kwargs, what):
    with pytest.raises(ValueError, match=what):
        render([SoundedNote("a", 0, 1, 60)], **kwargs)

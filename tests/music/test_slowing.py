"""A recording slower at its own pitch: pitch, length and place, measured in the sound."""

import numpy as np
import pytest

from coldtake.music.playback.slowing import FASTEST, SLOWEST, slowed

RATE = 44_100
SPEEDS = (SLOWEST, 0.5, 0.75, 1.0, FASTEST)


def tone(hz, seconds):
    time_s = np.arange(round(seconds * RATE)) / RATE
    parts = sum(np.sin(2 * np.pi * hz * k * time_s) / k for k in (1, 2, 3))
    return (0.2 * parts).astype(np.float32)


def cents_off(sound, hz):
    middle = sound[sound.size // 4 : 3 * sound.size // 4]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(middle.size), 8 * middle.size))
    freq = np.fft.rfftfreq(8 * middle.size, 1 / RATE)
    near = (freq > 0.9 * hz) & (freq < 1.1 * hz)
    return 1200 * np.log2(freq[near][np.argmax(spectrum[near])] / hz)


@pytest.mark.parametrize("speed", SPEEDS)
@pytest.mark.parametrize("hz", [110.0, 440.0, 1318.5])
def test_the_pitch_stays(speed, hz):
    found = slowed(tone(hz, 3), RATE, speed)
    assert found.size == round(3 / speed * RATE)
    assert abs(cents_off(found, hz)) < 3


@pytest.mark.parametrize("speed", SPEEDS)
def test_what_sounds_stays_in_its_place(speed):
    """Bursts a quarter second apart come out where they belong, to a few hundredths."""
    sound = np.zeros(6 * RATE, dtype=np.float32)
    for k in range(24):
        n = np.arange(700)
        burst = 0.8 * np.sin(2 * np.pi * 1000 * n / RATE) * np.exp(-n / 150)
        sound[k * RATE // 4 : k * RATE // 4 + 700] += burst
    found = slowed(sound, RATE, speed, 0.9, 4.9)
    assert found.size == round(4 / speed * RATE)
    loud = np.nonzero(np.abs(found) > 0.2)[0]
    starts = loud[np.diff(loud, prepend=-RATE) > 0.1 * RATE] / RATE * speed + 0.9
    off = (starts + 0.125) % 0.25 - 0.125
    assert starts.size == 16
    assert np.max(np.abs(off)) < 0.02, "seconds of the recording"


def test_a_seam_is_silent():
    found = slowed(tone(440, 2), RATE, 0.6, 0.31, 1.17)
    assert abs(found[0]) < 1e-6
    assert abs(found[-1]) < 1e-6


@pytest.mark.parametrize(
    ("more", "what"),
    [
        ({"speed": 0.3}, "speed"),
        ({"speed": float("nan")}, "speed"),
        ({"first_s": -1}, "do not lie"),
        ({"first_s": 1.5, "last_s": 1.5}, "do not lie"),
        ({"last_s": 2.5}, "do not lie"),
        ({"rate": 10}, "rate"),
    ],
)
def test_what_cannot_be_slowed(more, what):
    with pytest.raises(ValueError, match=what):
        slowed(tone(440, 2), **{"rate": RATE, "speed": 0.5, **more})

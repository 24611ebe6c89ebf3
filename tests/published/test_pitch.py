"""Pitch: ISO 16:1975 "Acoustics - Standard tuning frequency", Geneva: A4 = 440 Hz.

The other values follow from f = A4 * 2^((m - 69) / 12) and from the ratios named; they were worked
out by two scripts that share nothing with this code.
"""

import pytest

from coldtake.music.theory import tuning
from coldtake.units import A4_HZ, hz_to_pitch, pitch_to_hz, ratio_to_cents

MIDI_HZ = {
    0: 8.175799,
    12: 16.351598,
    21: 27.5,
    28: 41.203445,
    36: 65.406391,
    40: 82.406889,
    48: 130.812783,
    55: 195.997718,
    57: 220.0,
    60: 261.625565,
    62: 293.664768,
    64: 329.627557,
    65: 349.228231,
    67: 391.995436,
    69: 440.0,
    70: 466.163762,
    71: 493.883301,
    72: 523.251131,
    76: 659.255114,
    81: 880.0,
    84: 1046.502261,
    96: 2093.004522,
    108: 4186.009045,
    127: 12543.853951,
}
A4_CENTS = {
    415: -101.270625,
    432: -31.766654,
    435: -19.785747,
    441: 3.930158,
    442: 7.851415,
    443: 11.763810,
}
CENTS = {
    (16, 15): 111.731285,
    (10, 9): 182.403712,
    (9, 8): 203.910002,
    (6, 5): 315.641287,
    (5, 4): 386.313714,
    (4, 3): 498.044999,
    (45, 32): 590.223716,
    (3, 2): 701.955001,
    (8, 5): 813.686286,
    (5, 3): 884.358713,
    (7, 4): 968.825906,
    (16, 9): 996.089998,
    (9, 5): 1017.596288,
    (15, 8): 1088.268715,
    (256, 243): 90.224996,
    (2187, 2048): 113.685006,
    (32, 27): 294.134997,
    (81, 64): 407.820003,
    (729, 512): 611.730005,
    (128, 81): 792.179997,
    (27, 16): 905.865003,
    (243, 128): 1109.775004,
    (81, 80): 21.506290,
    (531441, 524288): 23.460010,
    (32805, 32768): 1.953721,
    (128, 125): 41.058858,
}


def test_standard_tuning_frequency():
    assert A4_HZ == 440.0


@pytest.mark.parametrize(("pitch", "hz"), MIDI_HZ.items())
def test_equal_temperament(pitch, hz):
    assert pitch_to_hz(pitch) == pytest.approx(hz, abs=1e-6)
    assert hz_to_pitch(hz) == pytest.approx(pitch, abs=1e-5)


@pytest.mark.parametrize(("hz", "cents"), A4_CENTS.items())
def test_other_standards_against_440(hz, cents):
    assert ratio_to_cents(hz / 440) == pytest.approx(cents, abs=1e-6)


def test_c4_at_other_standards():
    assert pitch_to_hz(60, 442) == pytest.approx(262.8148, abs=1e-4)
    assert pitch_to_hz(60, 415) == pytest.approx(246.7605, abs=1e-4)


def test_five_cents_above_a4():
    assert pitch_to_hz(69.05) - 440 == pytest.approx(1.272607, abs=1e-6)


@pytest.mark.parametrize(("ratio", "cents"), CENTS.items())
def test_intervals(ratio, cents):
    assert ratio_to_cents(ratio[0] / ratio[1]) == pytest.approx(cents, abs=1e-6)


JUST = [(1, 1), (16, 15), (9, 8), (6, 5), (5, 4), (4, 3)]
JUST += [(45, 32), (3, 2), (8, 5), (5, 3), (9, 5), (15, 8)]
PYTHAGOREAN = [(1, 1), (256, 243), (9, 8), (32, 27), (81, 64), (4, 3)]
PYTHAGOREAN += [(729, 512), (3, 2), (128, 81), (27, 16), (16, 9), (243, 128)]


@pytest.mark.parametrize("semitones", range(12))
def test_tunings(semitones):
    just, pythagorean = JUST[semitones], PYTHAGOREAN[semitones]
    expected = {"just": CENTS.get(just, 0.0), "pythagorean": CENTS.get(pythagorean, 0.0)}
    for name, cents in expected.items():
        assert tuning.cents_above(semitones, name) == pytest.approx(cents, abs=1e-6)
        assert tuning.cents_above(semitones - 12, name) == pytest.approx(cents - 1200, abs=1e-6)
    assert tuning.cents_above(semitones) == 100 * semitones


def test_a_just_fifth_over_a_drone():
    assert tuning.frequency_hz(76, tonic=69, tuning="just") == pytest.approx(660.0)
    assert tuning.frequency_hz(73, tonic=69, tuning="just") == pytest.approx(550.0)

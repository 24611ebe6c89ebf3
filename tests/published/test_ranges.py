"""Ranges and transpositions of instruments and voices.

T. Bača, J. W. Oberholtzer and others, Abjad 3.19, `abjad/instruments.py`, 2023: sounding range, and
what a written middle C sounds.
"""

import pytest

from coldtake.music.theory.instruments import INSTRUMENTS, WIDEST
from coldtake.music.theory.tones import read_pitch

MIDDLE_C_SOUNDS = {
    "double bass": "C3",
    "guitar": "C3",
    "piccolo": "C5",
    "english horn in F": "F3",
    "clarinet in B♭": "Bb3",
    "clarinet in A": "A3",
    "clarinet in E♭": "Eb4",
    "bass clarinet in B♭": "Bb2",
    "soprano saxophone in B♭": "Bb3",
    "alto saxophone in E♭": "Eb3",
    "tenor saxophone in B♭": "Bb2",
    "baritone saxophone in E♭": "Eb2",
    "horn in F": "F3",
}
# Written in the treble clef an octave higher, as choirs print it; the source writes as it sounds.
OTHERWISE = {"tenor voice": "C3"}


@pytest.mark.parametrize("name", WIDEST)
def test_the_usual_range_lies_within_the_published_one(name):
    instrument = INSTRUMENTS[name]
    low, high = (read_pitch(text).midi for text in WIDEST[name])
    assert low <= instrument.low + instrument.sounds.semitones
    assert instrument.high + instrument.sounds.semitones <= high
    assert instrument.widest[0] <= instrument.low < instrument.high <= instrument.widest[1]


@pytest.mark.parametrize("name", WIDEST)
def test_what_a_written_middle_c_sounds(name):
    sounds = (MIDDLE_C_SOUNDS | OTHERWISE).get(name, "C4")
    assert 60 + INSTRUMENTS[name].sounds.semitones == read_pitch(sounds).midi


@pytest.mark.parametrize(
    ("name", "lowest"), [("violin", "G3"), ("viola", "C3"), ("cello", "C2"), ("guitar", "E2")]
)
def test_strings_begin_at_their_lowest_open_string(name, lowest):
    instrument = INSTRUMENTS[name]
    assert instrument.low + instrument.sounds.semitones == read_pitch(lowest).midi

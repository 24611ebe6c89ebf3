"""Chord kinds of MusicXML 4.0 (W3C Music Notation Community Group, 2021), read in its schema.

The words beside each kind are the definitions that stand in the schema (`kind-value`).
"""

import pytest

from coldtake.music.theory.chords import KINDS
from coldtake.music.theory.tones import degrees

NAMES = (  # in the order of the schema
    "major minor augmented diminished dominant major-seventh minor-seventh diminished-seventh "
    "augmented-seventh half-diminished major-minor major-sixth minor-sixth dominant-ninth "
    "major-ninth minor-ninth dominant-11th major-11th minor-11th dominant-13th major-13th "
    "minor-13th suspended-second suspended-fourth Neapolitan Italian French German pedal power "
    "Tristan other none"
)

TRIADS = {"major": (0, 4, 7), "minor": (0, 3, 7), "augmented": (0, 4, 8), "diminished": (0, 3, 6)}
DEFINED = {  # kind: triad, interval added in semitones
    "dominant": ("major", 10),
    "major-seventh": ("major", 11),
    "minor-seventh": ("minor", 10),
    "diminished-seventh": ("diminished", 9),
    "augmented-seventh": ("augmented", 10),
    "half-diminished": ("diminished", 10),
    "major-minor": ("minor", 11),
    "major-sixth": ("major", 9),
    "minor-sixth": ("minor", 9),
}


def semitones(kind):
    return tuple(sorted(way.semitones for way in degrees(KINDS[kind])))


def test_there_are_thirty_three():
    assert sorted(KINDS) == sorted(NAMES.split())
    assert len(KINDS) == 33


@pytest.mark.parametrize("kind", TRIADS)
def test_triads(kind):
    assert semitones(kind) == TRIADS[kind]


@pytest.mark.parametrize("kind", DEFINED)
def test_triads_with_a_seventh_or_sixth(kind):
    triad, added = DEFINED[kind]
    assert semitones(kind) == tuple(sorted((*TRIADS[triad], added)))


@pytest.mark.parametrize(
    ("kind", "tones"),
    [("suspended-second", (0, 2, 7)), ("suspended-fourth", (0, 5, 7)), ("power", (0, 7))],
)
def test_suspended_and_power(kind, tones):
    assert semitones(kind) == tones


@pytest.mark.parametrize("third", ["dominant", "major", "minor"])
def test_extended_chords_are_thirds_over_the_seventh(third):
    seventh = set(semitones("dominant" if third == "dominant" else f"{third}-seventh"))
    ninth, eleventh, thirteenth = (
        set(semitones(f"{third}-{n}")) for n in ("ninth", "11th", "13th")
    )
    assert ninth == seventh | {14}
    assert eleventh == ninth | {17}
    assert thirteenth == eleventh | {21}

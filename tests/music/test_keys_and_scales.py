"""Keys, modes and scales: spelled as music21 10.5 spells them (a general theory library)."""

from itertools import pairwise

import pytest

from coldtake.errors import PassageError
from coldtake.music.theory.instruments import INSTRUMENTS, instrument_named
from coldtake.music.theory.keys import MODES, Key, KeyOrder, all_keys, read_key, twelve_keys
from coldtake.music.theory.scales import SCALES, ladder, scale_tones
from coldtake.music.theory.tones import (
    Pitch,
    Tone,
    ToneInterval,
    degree,
    read_pitch,
    split_tone,
    tone_at_fifths,
    usual_interval,
)

music21 = pytest.importorskip("music21")


def in_their_words(tone):
    return tone.letter + ("#" if tone.alter > 0 else "-") * abs(tone.alter)


@pytest.mark.parametrize("mode", ["major", "minor"])
def test_the_fifteen_signatures(mode):
    keys = all_keys(mode)
    assert [key.fifths for key in keys] == list(range(-7, 8))
    for key in keys:
        theirs = music21.key.Key(in_their_words(key.tonic), mode)
        assert theirs.sharps == key.fifths
        assert [p.name for p in theirs.alteredPitches] == [in_their_words(t) for t in key.signature]
        tones = [p.name for p in theirs.getPitches()][:7]
        assert tones == [in_their_words(t) for t in key.tones]


@pytest.mark.parametrize("mode", sorted(set(MODES) - {"major", "minor"}))
def test_the_modes(mode):
    for key in all_keys(mode):
        theirs = music21.key.Key(in_their_words(key.tonic), mode)
        assert theirs.sharps == key.fifths
        assert {p.name for p in theirs.alteredPitches} == {in_their_words(t) for t in key.signature}


THEIR_SCALES = {
    "major": "MajorScale",
    "natural minor": "MinorScale",
    "harmonic minor": "HarmonicMinorScale",
    "melodic minor": "MelodicMinorScale",
    "dorian": "DorianScale",
    "phrygian": "PhrygianScale",
    "lydian": "LydianScale",
    "mixolydian": "MixolydianScale",
    "locrian": "LocrianScale",
}


@pytest.mark.parametrize("name", THEIR_SCALES)
@pytest.mark.parametrize("descending", [False, True])
def test_scales_on_every_usual_tonic(name, descending):
    make = getattr(music21.scale, THEIR_SCALES[name])
    direction = music21.scale.Direction.DESCENDING if descending else None
    for fifths in range(-5, 7):
        tonic = tone_at_fifths(fifths)
        theirs = make(in_their_words(tonic)).getPitches(
            direction=direction or music21.scale.Direction.ASCENDING
        )
        names = {p.name for p in theirs}
        assert names == {
            in_their_words(t) for t in scale_tones(tonic, name, descending=descending)
        }, str(tonic)


@pytest.mark.parametrize("name", SCALES)
def test_scales_never_need_a_triple_sign(name):
    for fifths in range(-7, 8):
        assert all(abs(t.alter) <= 2 for t in scale_tones(tone_at_fifths(fifths), name))


@pytest.mark.parametrize("name", [n for n in SCALES if len(SCALES[n].up) == 7])
def test_seven_tones_have_seven_letters(name):
    for fifths in range(-4, 5):
        assert len({t.letter for t in scale_tones(tone_at_fifths(fifths), name)}) == 7


# General theory: the second mode of melodic minor ascending and so on; by sound, not by name.
MODES_OF = [
    ("jazz minor", "lydian dominant", "4"),
    ("jazz minor", "altered", "7"),
    ("jazz minor", "lydian augmented", "b3"),
    ("jazz minor", "locrian natural 2", "6"),
    ("harmonic minor", "phrygian dominant", "5"),
    ("major", "dorian", "2"),
    ("minor pentatonic", "major pentatonic", "b3"),
]


@pytest.mark.parametrize(("parent", "child", "on"), MODES_OF)
def test_scales_that_are_modes_of_others(parent, child, on):
    tonic = Tone("D")
    mine = {t.pitch_class for t in scale_tones(tonic, parent)}
    assert mine == {t.pitch_class for t in scale_tones(tonic.above(degree(on)), child)}


def test_scales_that_repeat_within_the_octave():
    def sounds(name, tonic="C"):
        return {t.pitch_class for t in scale_tones(Tone(tonic), name)}

    assert sounds("whole tone") == {0, 2, 4, 6, 8, 10}
    assert sounds("half-whole diminished") == {0, 1, 3, 4, 6, 7, 9, 10}
    assert sounds("whole-half diminished") == {0, 2, 3, 5, 6, 8, 9, 11}
    assert sounds("chromatic") == set(range(12))


def test_twelve_keys_round_the_circle_of_fourths():
    tonics = [str(key.tonic) for key in twelve_keys(KeyOrder.FOURTHS)]
    assert tonics == ["C", "F", "B♭", "E♭", "A♭", "D♭", "G♭", "B", "E", "A", "D", "G"]


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("order", KeyOrder)
def test_every_order_has_each_sound_once_with_at_most_six_signs(mode, order):
    keys = twelve_keys(order, mode, seed=3)
    assert {key.tonic.pitch_class for key in keys} == set(range(12))
    assert all(abs(key.fifths) <= 6 for key in keys)


def test_a_shuffled_order_follows_its_seed():
    one, same, other = (twelve_keys(KeyOrder.SHUFFLED, seed=n) for n in (1, 1, 2))
    assert one == same != other


def test_chromatic_order():
    classes = [k.tonic.pitch_class for k in twelve_keys(KeyOrder.CHROMATIC, "minor")]
    assert classes == list(range(12))


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("Bb", Key(Tone("B", -1))),
        ("F# minor", Key(Tone("F", 1), "minor")),
        ("Em", Key(Tone("E"), "minor")),
        ("D dorian", Key(Tone("D"), "dorian")),
        ("E♭ Mix", Key(Tone("E", -1), "mixolydian")),
    ],
)
def test_keys_are_read(text, key):
    assert read_key(text) == key


@pytest.mark.parametrize(
    ("text", "sentence"),
    [("G#", "8 sharps"), ("Fb", "8 flats"), ("H", "note name"), ("C klezmer", "not a mode")],
)
def test_keys_that_cannot_be(text, sentence):
    with pytest.raises(PassageError, match=sentence):
        read_key(text)


def test_too_many_signs_name_the_key_of_the_same_sound():
    with pytest.raises(PassageError) as fault:
        read_key("G#")
    assert "A♭ major" in fault.value.remedy


# Instruments


@pytest.mark.parametrize(
    ("name", "their_class"),
    [
        ("clarinet in B♭", "Clarinet"),
        ("horn in F", "Horn"),
        ("alto saxophone in E♭", "AltoSaxophone"),
        ("tenor saxophone in B♭", "TenorSaxophone"),
        ("baritone saxophone in E♭", "BaritoneSaxophone"),
        ("soprano saxophone in B♭", "SopranoSaxophone"),
        ("english horn in F", "EnglishHorn"),
        ("bass clarinet in B♭", "BassClarinet"),
        ("trumpet in B♭", "Trumpet"),
        ("piccolo", "Piccolo"),
        ("double bass", "Contrabass"),
    ],
)
def test_transpositions(name, their_class):
    """music21 gives the bass clarinet its bass-clef part (a tone down); here it reads treble."""
    theirs = getattr(music21.instrument, their_class)().transposition
    if name == "bass clarinet in B♭":
        theirs = music21.interval.Interval("M-9")
    mine = instrument_named(name).sounds
    assert mine.semitones == theirs.semitones
    assert mine.steps == theirs.generic.undirected * theirs.direction - theirs.direction


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_a_written_key_sounds_as_asked(name):
    instrument = instrument_named(name)
    for key in twelve_keys(KeyOrder.FOURTHS, "minor"):
        written = instrument.written_key(key)
        up = (key.tonic.pitch_class - instrument.sounds.semitones) % 12
        assert written.tonic.pitch_class == up
        sounding = instrument.concert_key(written)
        assert sounding.tonic.pitch_class == key.tonic.pitch_class


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("clarinet in B♭", "D major"),
        ("clarinet in A", "E♭ major"),
        ("horn in F", "G major"),
        ("alto saxophone in E♭", "A major"),
    ],
)
def test_concert_c_on_the_page(name, written):
    assert str(instrument_named(name).written_key(Key(Tone("C")))) == written


# Tones and pitches


@pytest.mark.parametrize("fifths", range(-14, 15))
def test_the_line_of_fifths_goes_both_ways(fifths):
    assert tone_at_fifths(fifths).fifths == fifths


@pytest.mark.parametrize(
    ("text", "midi"), [("C4", 60), ("Bb3", 58), ("B#3", 60), ("F##5", 79), ("A0", 21)]
)
def test_pitches_are_read(text, midi):
    assert read_pitch(text).midi == midi


def test_intervals_keep_their_letters():
    c = Pitch(Tone("C"), 4)
    assert str(c.above(ToneInterval(2, 3))) == "E♭4"
    assert str(c.above(ToneInterval(1, 3))) == "D♯4"
    assert str(c.above(-ToneInterval(1, 1))) == "B3"
    assert str(split_tone("Bbb7")[0]) == "B♭♭"


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_transpositions_are_usual_intervals(name):
    sounds = instrument_named(name).sounds
    assert usual_interval(sounds.semitones) == sounds


def test_a_ladder_stays_in_its_range():
    rungs = ladder(Tone("E", -1), "major", 58, 75)
    assert [str(p) for p in rungs][:3] == ["B♭3", "C4", "D4"]
    assert rungs[-1].midi == 75
    assert all(a.midi < b.midi for a, b in pairwise(rungs))

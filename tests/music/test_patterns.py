"""Patterns: any of them stays in its range, key and metre, and reads back as what was meant."""

import re
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from coldtake.errors import PassageError
from coldtake.music.abc.notating import Page, Written, abc_text
from coldtake.music.exercises.patterns import RULES, Pattern, pattern_abc, pitches
from coldtake.music.exercises.rhythms import ARTICULATIONS, METRES, RHYTHMS, rhythm_named
from coldtake.music.notation.engraving.engraver import engrave
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.theory.instruments import INSTRUMENTS, instrument_named
from coldtake.music.theory.keys import Key, KeyOrder, twelve_keys
from coldtake.music.theory.scales import SCALES, scale_tones
from coldtake.music.theory.tones import Pitch, Tone, pitches_of, tone_at_fifths


def fits(rhythm, metre):
    try:
        rhythm_named(rhythm, metre)
    except PassageError:
        return False
    return True


PAIRS = [(r, m) for r in RHYTHMS for m in METRES if fits(r, m)]

PATTERNS = st.builds(
    lambda pair, **fields: Pattern(rhythm=pair[0], metre=pair[1], **fields),
    st.sampled_from(PAIRS),
    rule=st.sampled_from(sorted(RULES)),
    tonic=st.integers(-7, 11).map(tone_at_fifths),
    scale=st.sampled_from(sorted(SCALES)),
    articulation=st.sampled_from(sorted(ARTICULATIONS)),
    instrument=st.sampled_from(sorted(INSTRUMENTS)),
    octaves=st.integers(1, 4),
    stretched=st.booleans(),
    low=st.none() | st.integers(40, 66),
    high=st.none() | st.integers(72, 96),
)


def tied_pieces(passage):
    return [n for n in passage.notes if not n.grace]


@settings(max_examples=1000, deadline=None)
@given(PATTERNS)
def test_any_pattern_stays_in_range_key_and_metre(pattern):
    instrument = instrument_named(pattern.instrument)
    widest = instrument.widest or (instrument.low, instrument.high)
    usual = (instrument.low, instrument.high)
    few = not pitches_of(
        pattern.key.tonic, pattern.low or usual[0], (pattern.high or usual[1]) - 12
    )
    low, high = widest if pattern.stretched or few else usual
    low = min(low, usual[0]) if pattern.low is None else pattern.low
    high = max(high, usual[1]) if pattern.high is None else pattern.high
    try:
        line = pitches(pattern)
    except PassageError:
        assume(False)
    passage = read_passage(pattern_abc(pattern), "abc")
    bar = Fraction(4 * pattern.metre[0], pattern.metre[1])
    # in metre: every bar is full, and of this metre
    assert {b.metre for b in passage.bars} == {pattern.metre}
    assert all(abs(b.length_beats - float(bar)) < 1e-6 for b in passage.bars)
    # the notes that were meant, in their spelling, at the pitch that sounds
    heard = tied_pieces(passage)
    if pattern.rule == "one note":
        assert {n.name for n in heard} == {str(line[0])}
    else:
        assert [n.name for n in heard] == [str(p) for p in line]
    shift = instrument.sounds.semitones
    assert all(n.pitch == n.written_pitch + shift for n in heard)
    assert passage.is_one_line
    # in range
    assert all(low <= n.written_pitch <= high for n in heard)
    # in key: the signature of the page, and only tones of the scale
    assert {b.key_fifths for b in passage.bars} == {pattern.key.fifths}
    tones = set(scale_tones(pattern.key.tonic, pattern.scale))
    tones |= set(scale_tones(pattern.key.tonic, pattern.scale, descending=True))
    assert {p.tone for p in line} <= tones
    assert passage.tempi == ()  # its tempo is that of the step that plays it


def notes_of(abc):
    return [line for line in abc.splitlines() if not re.match(r"[A-Z]:", line)]


@pytest.mark.parametrize(
    ("rule", "line"),
    [
        ("scale", "C4 D4 E4 F4 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4"),
        ("arpeggio", "C4 E4 G4 C5 G4 E4 C4"),
        ("seventh chord", "C4 E4 G4 B4 C5 B4 G4 E4 C4"),
        ("thirds", "C4 E4 D4 F4 E4 G4 F4 A4 G4 B4 A4 C5 C5 A4 B4 G4 A4 F4 G4 E4 F4 D4 E4 C4"),
        (
            "broken triads",
            "C4 E4 G4 D4 F4 A4 E4 G4 B4 F4 A4 C5 C5 A4 F4 B4 G4 E4 A4 F4 D4 G4 E4 C4",
        ),
        ("long tones", "C4 D4 E4 F4 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4"),
    ],
)
def test_the_rules_in_c(rule, line):
    """Written out by hand."""
    got = " ".join(str(p) for p in pitches(Pattern(rule, Tone("C"), octaves=1)))
    assert got == line


def test_melodic_minor_comes_down_otherwise():
    got = [str(p) for p in pitches(Pattern("scale", Tone("A"), "melodic minor", octaves=1))]
    assert got[5:11] == ["F♯5", "G♯5", "A5", "G5", "F5", "E5"]


def test_accidentals_stand_where_the_page_needs_them():
    abc = pattern_abc(Pattern("scale", Tone("A"), "melodic minor", octaves=1))
    assert notes_of(abc) == ["ABcd e^f^ga | gfed cBA2 |]"]
    notes = read_passage(abc, "abc").notes
    assert [n.name for n in notes][5:11] == ["F♯5", "G♯5", "A5", "G5", "F5", "E5"]


def test_an_accidental_over_a_tie_does_not_hold_for_what_follows():
    f_sharp, f = Pitch(Tone("F", 1), 4), Pitch(Tone("F"), 4)
    notes = [
        Written(f, Fraction(3)),
        Written(f_sharp, Fraction(2)),
        Written(f_sharp, Fraction(1)),
        Written(f, Fraction(2)),
    ]
    abc = abc_text(Page("Tie", Key(Tone("C"))), notes)
    assert [n.name for n in read_passage(abc, "abc").notes] == ["F4", "F♯4", "F♯4", "F4"]
    assert [n.duration_beats for n in read_passage(abc, "abc").notes] == [3, 2, 1, 2]


def test_after_a_tied_accidental_the_next_one_is_told():
    """Read by eye, a natural right after a tied sharp is written (common practice)."""
    f_sharp, f = Pitch(Tone("F", 1), 4), Pitch(Tone("F"), 4)
    notes = [Written(f, Fraction(3)), Written(f_sharp, Fraction(2)), Written(f, Fraction(3))]
    assert notes_of(abc_text(Page("Tie", Key(Tone("C"))), notes)) == ["F6 ^F2- | F2 =F6 |]"]


def test_beams_end_with_the_beat():
    abc = pattern_abc(Pattern("scale", Tone("C"), octaves=1, rhythm="sixteenths"))
    assert notes_of(abc) == ["C/2D/2E/2F/2 G/2A/2B/2c/2 B/2A/2G/2F/2 E/2D/2C |]"]
    in_eighths = pattern_abc(Pattern("scale", Tone("C"), octaves=1))
    assert notes_of(in_eighths)[0].startswith("CDEF GABc | BAGF EDC2")
    in_threes = pattern_abc(
        Pattern("scale", Tone("C"), octaves=1, rhythm="eighths in threes", metre=(6, 8))
    )
    assert notes_of(in_threes)[0].startswith("CDE FGA | BcB AGF | EDC")


@pytest.mark.parametrize(
    ("name", "sounding"),
    [
        ("clarinet in B♭", "B♭"),
        ("clarinet in A", "A"),
        ("horn in F", "F"),
        ("alto saxophone in E♭", "E♭"),
    ],
)
def test_written_c_sounds_as_the_instrument_is_named(name, sounding):
    passage = read_passage(pattern_abc(Pattern("scale", Tone("C"), instrument=name)), "abc")
    tonic = Tone(sounding[0], -1 if "♭" in sounding else 0)
    assert passage.notes[0].name.startswith("C")
    assert passage.notes[0].pitch % 12 == tonic.pitch_class
    assert passage.transposition == instrument_named(name).sounds.semitones


@pytest.mark.parametrize("scale", ["major", "harmonic minor"])
def test_all_keys_through_an_instrument_sound_in_the_keys_asked_for(scale):
    mode = SCALES[scale].mode
    instrument = instrument_named("clarinet in A")
    for key in twelve_keys(KeyOrder.FOURTHS, mode):
        written = instrument.written_key(key)
        pattern = Pattern("scale", written.tonic, scale, instrument=instrument.name)
        passage = read_passage(pattern_abc(pattern), "abc")
        wanted = {t.pitch_class for t in scale_tones(key.tonic, scale)}
        assert {n.pitch % 12 for n in passage.notes} == wanted


def test_slurs_close_and_articulations_show():
    for name in ARTICULATIONS:
        abc = pattern_abc(Pattern("scale", Tone("C"), octaves=1, articulation=name))
        body = "".join(notes_of(abc))
        assert body.count("(") == body.count(")"), name
    assert "(CD)" in pattern_abc(
        Pattern("scale", Tone("C"), octaves=1, articulation="slurred in twos")
    )


def test_a_pattern_can_be_engraved():
    svg = engrave(read_passage(pattern_abc(Pattern("thirds", Tone("E", -1))), "abc"))
    assert svg.startswith("<svg")


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"rule": "spiral"}, "not a pattern"),
        ({"scale": "klezmer"}, "not a scale"),
        ({"rhythm": "swing"}, "not a rhythm"),
        ({"rhythm": "eighths in threes"}, "do not fill a bar of 4/4"),
        ({"rhythm": "syncopated", "metre": (3, 4)}, "do not fill a bar of 3/4"),
        ({"articulation": "loud"}, "not an articulation"),
        ({"instrument": "kazoo"}, "not an instrument"),
        ({"low": 60, "high": 70}, "no octave within the range"),
        ({"octaves": 0}, "no octave within the range"),
    ],
)
def test_what_cannot_be_written(fields, sentence):
    with pytest.raises(PassageError, match=sentence):
        pattern_abc(Pattern(**{"rule": "scale", "tonic": Tone("C"), **fields}))

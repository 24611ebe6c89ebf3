"""Chord symbols: against music21 10.5, usual spellings, and the scales that go with them.

music21's table of chord types gives a formula for each kind of MusicXML 4.0, and abbreviations.
Left out, with the reason:

- Neapolitan, Italian, French, German: the schema has their names only; music21 counts their tones
  from the tonic of the key (and gives the Neapolitan a flat fifth), here they stand above their
  lowest tone;
- "Cdom7dim5", "CN6", "CIt+6", "CFr+6", "CGr+6", "CIt", "CFr", "CGer", "Ctristan": words of that
  library, seen on no lead sheet.
"""

import pytest

from coldtake.errors import PassageError
from coldtake.music.theory.chord_names import printed
from coldtake.music.theory.chord_scales import scale_choices
from coldtake.music.theory.chords import KINDS, read_chord
from coldtake.music.theory.tones import Tone, ToneInterval, degrees, tone_at_fifths

music21 = pytest.importorskip("music21")

FUNCTIONAL = {"Neapolitan", "Italian", "French", "German"}
THEIR_WORDS = {"dom7dim5", "tristan"}
THEIR_NAMES = {
    "dominant": "dominant-seventh",
    "half-diminished": "half-diminished-seventh",
    "major-minor": "minor-major-seventh",
}


def their_name(tone):
    return tone.letter + ("#" if tone.alter > 0 else "-") * abs(tone.alter)


def their_formula(kind):
    """Semitones of music21's formula, such as "1,-3,5" (a minus is a flat)."""
    formula = music21.harmony.CHORD_TYPES[THEIR_NAMES.get(kind, kind)][0]
    return [w.semitones % 12 for w in degrees(formula.replace("-", "b").replace(",", " "))]


@pytest.mark.parametrize("kind", sorted(set(KINDS) - FUNCTIONAL - {"other", "none"}))
def test_kinds(kind):
    assert sorted(w.semitones % 12 for w in degrees(KINDS[kind])) == sorted(their_formula(kind))


SPELLED = [
    (kind, word)
    for kind, (_, words) in music21.harmony.CHORD_TYPES.items()
    for word in words
    if kind not in FUNCTIONAL and word not in THEIR_WORDS
]


@pytest.mark.parametrize(("kind", "word"), SPELLED)
def test_their_abbreviations_are_read(kind, word):
    theirs = music21.harmony.ChordSymbol(root="C", kind=kind)
    assert read_chord(f"C{word}").pitch_classes == {p.pitchClass for p in theirs.pitches}


@pytest.mark.parametrize("fifths", range(-6, 7))
@pytest.mark.parametrize("word", ["", "m", "7", "maj7", "m7", "dim", "aug", "ø7", "6", "m6", "9"])
def test_tones_are_spelled(fifths, word):
    """By thirds above the root."""
    root = tone_at_fifths(fifths)
    theirs = music21.harmony.ChordSymbol(their_name(root) + word)
    assert {p.name for p in theirs.pitches} == {
        their_name(t) for t in read_chord(f"{root}{word}").tones
    }


@pytest.mark.parametrize(
    ("symbol", "tones"),
    [
        ("C", "C E G"),
        ("Cm7", "C E♭ G B♭"),
        ("C-7", "C E♭ G B♭"),
        ("Cø", "C E♭ G♭ B♭"),
        ("Cm7b5", "C E♭ G♭ B♭"),
        ("C7b9", "C E G B♭ D♭"),
        ("C7(b9,#11)", "C E G B♭ D♭ F♯"),
        ("C7#9b13", "C E G B♭ D♯ A♭"),
        ("C7-9", "C E G B♭ D♭"),
        ("C7+9", "C E G B♭ D♯"),
        ("C13b9", "C E G B♭ D♭ F A"),
        ("C7alt", "C E G♭ G♯ B♭ D♭ D♯"),
        ("C7sus4", "C F G B♭"),
        ("C9sus", "C F G B♭ D"),
        ("C7sus4b9", "C F G B♭ D♭"),
        ("Csus2", "C D G"),
        ("C6/9", "C E G A D"),
        ("Cm6/9", "C E♭ G A D"),
        ("Cadd9", "C E G D"),
        ("C△7", "C E G B"),
        ("Cmaj7#5", "C E G♯ B"),
        ("C-△7", "C E♭ G B"),
        ("Cm(maj7)", "C E♭ G B"),
        ("C°7", "C E♭ G♭ B♭♭"),
        ("C+7", "C E G♯ B♭"),
        ("C7#5", "C E G♯ B♭"),
        ("C5", "C G"),
        ("C7no5", "C E B♭"),
        ("C7omit3", "C G B♭"),
        ("Comit5", "C E"),
        ("Comit5(no5)", "C E"),
        ("Cadd2(2)", "C D E G"),
        ("F#m11", "F♯ A C♯ E G♯ B"),
        ("B♭maj9", "B♭ D F A C"),
        ("Cm 7", "C E♭ G B♭"),
    ],
)
def test_usual_spellings(symbol, tones):
    """Common practice, no source."""
    assert {str(t) for t in read_chord(symbol).tones} == set(tones.split())


def test_slash_poly_and_no_chord():
    over_e = read_chord("C/E")
    assert (str(over_e.root), str(over_e.bass)) == ("C", "E")
    assert {str(t) for t in read_chord("D|C7").below.tones} == {"C", "E", "G", "B♭"}
    upper = read_chord("D7/Cm")
    assert (upper.kind, upper.below.kind) == ("dominant", "minor")
    assert upper.pitch_classes == {0, 2, 3, 6, 7, 9}
    for text in ("N.C.", "NC", "n.c."):
        nothing = read_chord(text)
        assert (nothing.root, nothing.kind, nothing.tones) == (None, "none", ())


@pytest.mark.parametrize(
    "symbol", ["", "H7", "Cx9q", "C7b", "Cmaj7#", "C/", "Cb99", "m7", "C14", "C0"]
)
def test_what_is_no_chord(symbol):
    with pytest.raises(PassageError):
        read_chord(symbol)


@pytest.mark.parametrize("symbol", ["Dm7b5", "G7b9/F", "Ebmaj7#11", "D|C7", "N.C.", "C6/9"])
@pytest.mark.parametrize("steps", [ToneInterval(1, 2), ToneInterval(-2, -3), ToneInterval(4, 7)])
def test_a_moved_chord_can_be_read_again(symbol, steps):
    chord = read_chord(symbol)
    moved = chord.moved(steps)
    again = read_chord(moved.symbol)
    assert again.pitch_classes == moved.pitch_classes
    assert moved.pitch_classes == {(n + steps.semitones) % 12 for n in chord.pitch_classes}


@pytest.mark.parametrize(
    ("symbol", "first"),
    [
        ("Cmaj7", "C major"),
        ("Dm7", "D dorian"),
        ("G7", "G mixolydian"),
        ("G7b9", "G phrygian dominant"),
        ("G7alt", "G altered"),
        ("G7#11", "G lydian dominant"),
        ("G13b9", "G half-whole diminished"),
        ("Bø", "B locrian"),
        ("B°7", "B whole-half diminished"),
        ("CmMaj7", "C jazz minor"),
        ("Fmaj7#11", "F lydian"),
        ("G7sus4", "G mixolydian"),
    ],
)
def test_the_simplest_scale_for_a_chord(symbol, first):
    """Common practice, no source."""
    assert str(scale_choices(read_chord(symbol))[0]) == first


@pytest.mark.parametrize(
    "word", ["", "m", "7", "maj7", "m7", "ø", "°7", "7b9", "7alt", "m6", "sus4"]
)
def test_a_scale_holds_its_chord(word):
    for fifths in range(-6, 7):
        chord = read_chord(f"{tone_at_fifths(fifths)}{word}")
        fifth = (chord.root.pitch_class + 7) % 12
        choices = scale_choices(chord)
        assert choices
        for choice in choices:
            assert choice.tones[0] == chord.root
            assert chord.pitch_classes - {fifth} <= {t.pitch_class for t in choice.tones}


def test_no_chord_has_no_scale():
    assert scale_choices(read_chord("N.C.")) == ()
    assert read_chord("N.C.").moved(ToneInterval(1, 2)).root is None
    assert Tone("C").pitch_class == 0


@pytest.mark.parametrize(
    ("typed", "shown"),
    [("F#m7b5/C", "F♯m7♭5/C"), ("Bb7#11", "B♭7♯11"), ("C/Eb", "C/E♭"), ("Eb dorian", "E♭ dorian"),
     ("Bb blues", "B♭ blues"), ("N.C.", "N.C."), ("Bbmaj7", "B♭maj7")],
)  # fmt: skip
def test_a_symbol_is_printed_with_its_signs(typed, shown):
    assert printed(typed) == shown

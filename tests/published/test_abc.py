"""Facts of "The abc music standard 2.1", December 2011, abcnotation.com; sections in brackets."""

import pytest

from coldtake.music.notation.reading.reader import read_passage

DUSTY_MILLER = """X:1
T:Dusty Miller, The
M:3/4
K:G
B>cd BAG|FA Ac BA|B>cd BAG|DG GB AG:|
"""


def notes(body, *, key="C", metre="4/4", unit="1/8"):
    header = f"X:1\nM:{metre}\n" + (f"L:{unit}\n" if unit else "") + f"K:{key}\n"
    return read_passage(header + body + "\n", "abc").notes


def lengths(body, **kwargs):
    return [n.duration_beats for n in notes(body, **kwargs)]


def pitches(body, **kwargs):
    return [n.pitch for n in notes(body, **kwargs)]


def test_dusty_miller():
    """Section 13.1: no L: line, so L = 1/8, and every bar adds up to six eighths."""
    passage = read_passage(DUSTY_MILLER, "abc")
    assert passage.title == "Dusty Miller, The"
    assert [b.length_beats for b in passage.bars] == [3.0] * 8
    assert passage.notes[0].duration_beats == 0.75
    first = [n.name for n in passage.notes if n.bar_index == 0]
    assert first == ["B4", "C5", "D5", "B4", "A4", "G4"]
    assert next(n.name for n in passage.notes if n.bar_index == 1) == "F♯4"
    half = len(passage.notes) // 2
    assert [n.pitch for n in passage.notes[:half]] == [n.pitch for n in passage.notes[half:]]


@pytest.mark.parametrize(
    ("metre", "beats"),
    [
        ("2/4", 0.25),
        ("3/4", 0.5),
        ("6/8", 0.5),
        ("4/4", 0.5),
        ("C", 0.5),
        ("C|", 0.5),
        ("none", 0.5),
    ],
)
def test_default_note_length(metre, beats):
    """Section 3.1.7: below 0.75 a sixteenth, otherwise an eighth."""
    assert lengths("C", metre=metre, unit="") == [beats]


def test_a_later_metre_does_not_change_the_length():
    assert lengths("C|[M:2/4]C|", metre="4/4", unit="") == [0.5, 0.5]


@pytest.mark.parametrize(
    ("text", "bpm", "unit"),
    [
        ("1/4=120", 120, 1),
        ("1/2=60", 120, 2),
        ("3/8=80", 120, 1.5),
        ('"Allegro" 1/4=120', 120, 1),
        ('3/8=50 "Slowly"', 75, 1.5),
        ("1/4 3/8 1/4 3/8=40", 200, 5),
        ("5/4=40", 200, 5),
        ("120", 60, 0.5),  # deprecated: unit note lengths a minute (10.1)
        ("C=120", 60, 0.5),
        ("C3=40", 60, 1.5),
    ],
)
def test_tempo(text, bpm, unit):
    """Section 3.1.8; `1/4 3/8 1/4 3/8=40` means the same as `5/4=40`."""
    passage = read_passage(f"X:1\nL:1/8\nQ:{text}\nK:C\nCDEF|\n", "abc")
    assert [(t.bpm, t.beat_unit_beats) for t in passage.tempi] == [(bpm, unit)]


def test_tempo_in_words_only_says_no_number():
    assert read_passage('X:1\nQ:"Andante"\nK:C\nCDEF|\n', "abc").tempi == ()


EQUAL = ["C", "Am", "Gmix", "Ddor", "Ephr", "Flyd", "Bloc"]


@pytest.mark.parametrize(
    "key", [*EQUAL, "Cmaj", "C major", "CIonian", "A minor", "Amin", "AAeo", "none"]
)
def test_modes_without_accidentals(key):
    """Section 3.1.14: a mode is known by its first three letters, whatever the case."""
    assert pitches("CDEFGAB", key=key) == [60, 62, 64, 65, 67, 69, 71]


@pytest.mark.parametrize(
    ("key", "fifths"),
    [
        *[("G", 1), ("Em", 1), ("Dmix", 1), ("ADor", 1), ("Bb", -2), ("Gm", -2), ("F#", 6)],
        *[("C#", 7), ("Cb", -7), ("EbLydian", -2), ("F#m", 3), ("BPHRYGIAN", 1), ("D locrian", -3)],
    ],
)
def test_signatures(key, fifths):
    passage = read_passage(f"X:1\nK:{key}\nC|\n", "abc")
    assert passage.bars[0].key_fifths == fifths


def test_extra_accidentals_and_explicit_keys():
    assert pitches("CFGB", key="D =c") == [60, 66, 67, 71]
    assert pitches("CFGBE", key="D exp _b _e ^f") == [60, 66, 67, 70, 63]
    assert pitches("CFGB", key="HP") == [60, 65, 67, 71]
    assert pitches("CFGB", key="Hp") == [61, 66, 67, 71]


def test_octaves():
    """Section 4.1: C is middle C, c an octave up, marks add up: C,', = C, and C' = c."""
    assert pitches("C, C c c' C,', C'") == [48, 60, 72, 84, 48, 72]


def test_accidentals_hold_to_the_end_of_the_bar_in_every_octave():
    """Sections 4.2 and 11.3: the default of propagate-accidentals is `pitch`."""
    assert pitches("^F F f|F =F ^^F __B _B") == [66, 66, 78, 65, 65, 67, 69, 70]
    only_octave = "X:1\n%%propagate-accidentals octave\nK:C\n^F F f|\n"
    assert [n.pitch for n in read_passage(only_octave, "abc").notes] == [66, 66, 77]
    none = "X:1\n%%propagate-accidentals not\nK:C\n^F F f|\n"
    assert [n.pitch for n in read_passage(none, "abc").notes] == [66, 65, 77]


def test_lengths():
    """Section 4.3."""
    assert lengths("A A2 A3/2 A/2 A/ A// A/4 A7") == [0.5, 1, 0.75, 0.25, 0.25, 0.125, 0.125, 3.5]


def test_broken_rhythm():
    """Section 4.4: `a>b` is 3/2 and 1/2, `a>>b` 7/4 and 1/4, `a<b` the other way round."""
    assert lengths("a>b c<d") == [0.75, 0.25, 0.25, 0.75]
    assert lengths("a>>b c<<d a>>>b") == [0.875, 0.125, 0.125, 0.875, 0.9375, 0.0625]
    assert lengths("a3b cd3", unit="1/16") == lengths("a>b c<d")


@pytest.mark.parametrize(
    ("tuplet", "metre", "count", "time"),
    [
        ("(2", "6/8", 2, 3),
        ("(3", "4/4", 3, 2),
        ("(4", "6/8", 4, 3),
        ("(5", "4/4", 5, 2),
        ("(5", "6/8", 5, 3),
        ("(6", "4/4", 6, 2),
        ("(7", "4/4", 7, 2),
        ("(7", "9/8", 7, 3),
        ("(8", "6/8", 8, 3),
        ("(9", "3/4", 9, 2),
        ("(9", "12/8", 9, 3),
        ("(3:2", "4/4", 3, 2),
        ("(3::", "4/4", 3, 2),
        ("(5:4:5", "4/4", 5, 4),
    ],
)
def test_tuplets(tuplet, metre, count, time):
    """Section 4.13: p notes in the time of q for the next r notes."""
    assert lengths(tuplet + "ABcdefgab"[:count], metre=metre) == pytest.approx(
        [0.5 * time / count] * count
    )


def test_tuplet_of_unequal_notes():
    assert lengths("(3:2:2 A4 B2 c2") == pytest.approx([4 / 3, 2 / 3, 1])


def test_chords_ties_and_grace_notes():
    """Sections 4.11, 4.12 and 4.17."""
    passage = notes("[CEG]2 [C2E2]3 c4-c4|")
    assert [n.pitch for n in passage] == [60, 64, 67, 60, 64, 72]
    assert [n.duration_beats for n in passage] == [1, 1, 1, 3, 3, 4]
    graces = notes("{g}A4 {/gf}B4")
    assert [n.grace for n in graces] == [True, False, True, True, False]


def test_byte_order_mark_and_version_line():
    """Section 2.2 and 2.1: a byte order mark is passed over, the file may begin `%abc-2.1`."""
    assert read_passage("\ufeff%abc-2.1\nX:1\nK:C\nC|\n", "abc").notes[0].pitch == 60

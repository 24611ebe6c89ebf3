"""ABC beyond the published facts: endings, jumps, voices, and where mistakes are."""

import pytest

from coldtake.errors import PassageError
from coldtake.music.notation.reading.reader import read_passage


def read(body, header="M:4/4\nL:1/4\nK:C"):
    return read_passage(f"X:1\n{header}\n{body}\n", "abc")


def names(passage):
    return " ".join(n.name[0] for n in passage.notes)


@pytest.mark.parametrize(
    ("body", "played"),
    [
        ("C4|D4:|E4|", "C D C D E"),
        ("C4|:D4:|E4|", "C D D E"),
        ("C4:|D4:|", "C C D D"),
        ("C4::D4:|", "C C D D"),
        ("|:C4|1D4:|2E4||F4|", "C D C E F"),
        ("|:C4|[1 D4:|[2 E4|]", "C D C E"),
        ("|:C4|1,2 D4:|3 E4||", "C D C D C E"),
        ("|:C4|1-3 D4:|4 E4||", "C D C D C D C E"),
        ("|:C4|1 D4:|2 E4|F4||G4|", "C D C E F G"),
        ("|:C4|1 D4:|2 E4:|3 F4||", "C D C E C F"),
        ("|:C4|1 D4:|2 E4|:F4:|", "C D C E F F"),
        ("|:C4:|\n|:D4:|\n", "C C D D"),
        ("C4|!fine!D4|E4!D.C.!|", "C D E C D"),
        ('C4|D4"^Fine"|E4"^D.C. al Fine"|', "C D E C D"),
        ("C4|!segno!D4|!fine!E4|F4!D.S.!|", "C D E F D E"),
        ("|:C4:|D4!fine!|E4!D.C.!|", "C C D E C D"),
        ("C4|D4!dacoda!|E4!D.C.!|!coda!F4|", "C D E C D F"),
    ],
)
def test_order_of_playing(body, played):
    assert names(read(body)) == played


def test_parts_in_the_order_of_the_header():
    passage = read("P:A\nC4|\nP:B\nD4|\n", "P:A(AB)2\nM:4/4\nL:1/4\nK:C")
    assert names(passage) == "C C D C D"


def test_a_part_that_is_not_there():
    with pytest.raises(PassageError, match="names a part Z"):
        read("P:A\nC4|", "P:AZ\nK:C")


def test_ties_lead_into_endings_and_round_repeats():
    passage = read("|:C3D-|1 D2E2:|2 D4||")
    assert [(n.name, n.duration_beats) for n in passage.notes] == [
        ("C4", 3),
        ("D4", 3),
        ("E4", 2),
        ("C4", 3),
        ("D4", 5),
    ]


def test_a_tie_carries_its_accidental_over_the_bar_line():
    passage = read("^F4-|F2 F2|")
    assert [(n.pitch, n.duration_beats) for n in passage.notes] == [(66, 6), (65, 2)]


def test_a_tie_between_unequal_notes_is_a_slur():
    assert [n.pitch for n in read("C2-D2|").notes] == [60, 62]


def test_lengths_that_need_two_noteheads():
    passage = read("C5/4 D11/4|")
    assert [n.duration_beats for n in passage.notes] == [1.25, 2.75]
    assert [len(n.notation_ids) for n in passage.notes] == [2, 2]


def test_pick_up_and_numbers_of_bars():
    passage = read("C|D4|E3:|F|G4|")
    assert [(b.label, b.length_beats) for b in passage.bars][:4] == [
        ("0", 1),
        ("1", 4),
        ("2", 3),
        ("0", 1),
    ]


def test_voices_and_clefs():
    passage = read(
        "V:1\nc4|d4|\nV:2\nC2D2|E4|",
        "M:4/4\nL:1/4\nV:1 name=Flute clef=treble\nV:2 name=Bass clef=bass transpose=-12\nK:C",
    )
    assert passage.part_names == ("Flute", "Bass")
    assert [(n.pitch, n.written_pitch, n.staff) for n in passage.notes if n.bar_index == 0] == [
        (48, 60, 2),
        (72, 72, 1),
        (50, 62, 2),
    ]


def test_voices_named_at_the_start_of_a_line():
    passage = read("[V:1] c4|\n[V:2] C4|\n[V:1] d4|\n[V:2] D4|")
    assert [(n.name, n.staff, n.onset_beats) for n in passage.notes] == [
        ("C4", 2, 0),
        ("C5", 1, 0),
        ("D4", 2, 4),
        ("D5", 1, 4),
    ]


def test_words_and_other_fields_are_passed_over():
    text = (
        "X:1\nT:A\nT:B\nC:nobody\nR:reel\nK:C\nCD EF|\nw:one two three four\nN:note\nGA|\nW:end\n"
    )
    assert names(read_passage(text, "abc")) == "C D E F G A"


def test_octave_clef_lowers_the_notes():
    assert read("C4|", "K:C clef=treble-8").notes[0].pitch == 48
    assert read("C4|", "K:C octave=1").notes[0].pitch == 72


def test_overlay_is_a_second_voice_in_the_bar():
    assert [(n.name, n.onset_beats) for n in read("c2d2&E4|f4|").notes] == [
        ("E4", 0),
        ("C5", 0),
        ("D5", 2),
        ("F5", 4),
    ]


def test_rests_of_whole_bars():
    passage = read("C4|Z2|D4|")
    assert [b.onset_beats for b in passage.bars] == [0, 4, 8, 12]
    assert passage.notes[1].onset_beats == 12


def test_changes_in_the_middle():
    passage = read("C4|[K:D][M:3/4][L:1/8]F2F2F2|[Q:1/4=60]C6|[Q:1/4=90]C6|")
    assert [(b.metre, b.key_fifths) for b in passage.bars][:2] == [((4, 4), 0), ((3, 4), 2)]
    assert passage.notes[1].pitch == 66
    assert [(t.onset_beats, t.bpm) for t in passage.tempi] == [(7, 60), (10, 90)]


def test_bare_notes_are_in_c():
    assert names(read_passage("CDEF|GABc|", "abc")) == "C D E F G A B C"


def test_chord_symbols_and_texts():
    passage = read('"Dm7"C2"G7"D2|"^softly"E4|')
    assert [(h.onset_beats, h.symbol) for h in passage.harmonies] == [(0, "Dm7"), (2, "G7")]


MISTAKES = {
    "CD]E": (4, 3, "“]” means nothing"),
    "CD[CE": (4, 3, "chord is not closed"),
    "[]4": (4, 1, "chord is empty"),
    'C"Dm': (4, 2, "quotation mark is not closed"),
    "C!trill D": (4, 2, "decoration is not closed"),
    "C{gaD": (4, 5, "grace notes are not closed"),
    "C}D": (4, 2, "never opened"),
    "C(D|E": (4, 2, "slur is never ended"),
    "CD)": (4, 3, "never begun"),
    "(3CD|E": (4, 1, "tuplet lacks 1"),
    "C>|D": (4, 2, "broken rhythm"),
    ">C": (4, 1, "between two notes"),
    "-C": (4, 1, "after no note"),
    "C|D-": (4, 3, "leads to no note"),
    "C0": (4, 1, "no length"),
    "C1/3": (4, 1, "cannot be written"),
    "C^": (4, 2, "before no note"),
    "C''''''": (4, 1, "out of range"),
    "CZ": (4, 2, "shares its bar"),
    "ZC": (4, 2, "shares its bar"),
    "C€": (4, 2, "“€” means nothing"),
    "CDEF|\nGA;B": (5, 3, "“;” means nothing"),
    "K:Hm\nC": (4, 3, "not a key"),
    "K:Cfoo\nC": (4, 3, "not a mode"),
    "K:G#\nC": (4, 3, "sharps or flats"),
    "M:3/5\nC": (4, 3, "not a metre"),
    "L:1/0\nC": (4, 3, "not a note length"),
    "Q:fast=x\nC": (4, 3, "not a tempo"),
    "m:~=CD\nC": (4, 3, "macros"),
    "CDEF|\n\nGABc|": (6, 1, "after the empty line"),
    "CDEF|\nX:2\nK:C\nD": (5, 3, "second tune"),
}


@pytest.mark.parametrize("body", MISTAKES)
def test_mistakes_name_their_place_and_a_remedy(body):
    line, column, what = MISTAKES[body]
    with pytest.raises(PassageError) as caught:
        read_passage(f"X:1\nL:1/4\nK:C\n{body}", "abc")
    assert what in caught.value.what
    assert caught.value.where == f"line {line}, character {column}"
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("X:1\nT:x\nCDEF|", "no key"),
        ("X:1\nK:C\n", "no notes"),
        ("X:1\nK:C\nzzzz|", "no notes"),
        ("X:1\nK:C clef=perc\nCDEF|", "percussion"),
        ("CDEF|\nX:1\nK:C\n", "before the key"),
        ("   \n", "empty"),
    ],
)
def test_whole_texts_that_are_refused(text, what):
    with pytest.raises(PassageError, match=what):
        read_passage(text, "abc")


@pytest.mark.parametrize(
    ("body", "remedy"),
    [
        ("C ♭B", "“_B”"),
        ("C #F", "“^F”"),
        ("C 2D", "directly after"),
        ("CD: D", "“|:”"),
        ("C]", "“[”"),
    ],
)
def test_the_remedy_fits_the_slip(body, remedy):
    with pytest.raises(PassageError) as caught:
        read(body)
    assert remedy in caught.value.remedy


def test_a_jump_without_its_sign():
    with pytest.raises(PassageError, match="asks for a segno"):
        read("C4|D4!D.S.!|")

"""Passages written as MusicXML and MEI read back as the same music."""

import xml.etree.ElementTree as ET

import pytest
from music21 import converter
from scores import bar, musicxml

from coldtake.music.exercises.patterns import Pattern, pattern_abc
from coldtake.music.notation.reading.excerpt import select_bars
from coldtake.music.notation.reading.harmony import SUFFIXES, harmony_element, symbol_of
from coldtake.music.notation.reading.parts import parts, select_part
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.notation.writing.musicxml_out import as_mei, as_musicxml
from coldtake.music.theory.chords import KINDS, read_chord
from coldtake.music.theory.tones import Tone, degrees

ABC = {
    "ties, grace notes, tuplets, chords": "M:3/4\nL:1/8\nK:Bb\n{c}B2 (3cde [ce]2|f-f4 _g2-|g6|]",
    "endings": "M:4/4\nL:1/4\nK:D\n|: DEFG |1 A4- :|2 A2 f2 |: g4 :|",
    "da capo": "M:2/4\nL:1/4\nK:C\nCD|E!fine!F|GA!D.C.!|]",
    "to the coda": "M:2/4\nL:1/4\nK:C\n!segno!CD|EF!dacoda!|GA!D.S.!|!coda!Bc|]",
    "transposing, tempo, pick-up": "M:6/8\nL:1/8\nQ:3/8=96\nK:F transpose=-2\nC|FGA cBA|G3 F2|]",
    "two staves": "M:4/4\nL:1/4\nV:1\nV:2 clef=bass\nK:Am\nV:1\nA2 ^GA|e4|\nV:2\nA,,4|E,2 z2|",
    "new key, new metre, bass clef": "M:4/4\nL:1/4\nK:Eb clef=bass\nE,4|[M:3/4][K:E]E,^^F,=G,|]",
    "chord symbols": 'M:4/4\nL:1/1\nK:C\n"Cmaj7"c|"F#m7b5/E"c|"N.C."c|"G13(#11)"c|"D|C7"c|]',
    "odd tuplets": "M:4/4\nL:1/8\nK:C\n(5cdefg (7:4:7c/d/e/f/g/a/b/ c2|]",
}


def heard(passage):
    return [
        (n.onset_beats, n.duration_beats, n.pitch, n.written_pitch, n.name, n.bar, n.staff, n.grace)
        for n in passage.notes
    ]


def said(passage):
    return (
        passage.title,
        passage.tempi,
        passage.transposition,
        [(h.onset_beats, h.symbol) for h in passage.harmonies],
        [(b.label, b.metre, b.key_fifths, b.length_beats) for b in passage.bars],
    )


@pytest.mark.parametrize("name", ABC)
def test_abc_to_musicxml_to_passage_to_mei(name):
    first = read_passage(f"X:1\nT:{name}\n{ABC[name]}\n", "abc")
    text = as_musicxml(first)
    second = read_passage(text, "musicxml")
    third = read_passage(as_mei(second), "mei")
    for other in (second, third):
        assert heard(other) == heard(first)
        assert said(other) == said(first)
    # evidence points at the same noteheads
    assert [n.notation_ids for n in second.notes] == [n.notation_ids for n in first.notes]


@pytest.mark.parametrize("name", ABC)
def test_another_reader_finds_the_same_notes(name):
    """music21 10 (Cuthbert and others) reads what was written; pitches as on the page."""
    passage = read_passage(f"X:1\n{ABC[name]}\n", "abc")
    score = converter.parseData(as_musicxml(passage), format="musicxml")
    theirs = sorted(
        p.midi
        for n in score.recurse().notes
        if "Chord" in n.classes or n.isNote
        for p in n.pitches
        if "ChordSymbol" not in n.classes and not (n.tie and n.tie.type in ("stop", "continue"))
    )
    ours = {n.notation_ids: n.written_pitch for n in passage.notes}
    assert theirs == sorted(ours.values())


def test_some_bars_are_written_as_played():
    whole = read_passage(f"X:1\n{ABC['endings']}\n", "abc")
    some = select_bars(whole, 2, 4)  # first ending, back, second ending
    again = read_passage(as_musicxml(some), "musicxml")
    assert [(n.pitch, n.onset_beats) for n in again.notes] == [
        (n.pitch, n.onset_beats) for n in some.notes
    ]
    assert "<repeat" not in as_musicxml(some)


def test_one_part_of_a_score_is_written_alone():
    whole = read_passage(f"X:1\n{ABC['two staves']}\n", "abc")
    bass = select_part(whole, 2)
    again = read_passage(as_musicxml(bass), "musicxml")
    assert len(parts(again)) == 1
    assert [n.pitch for n in again.notes] == [n.pitch for n in bass.notes]


def test_a_transposing_pattern_sounds_the_same():
    abc = pattern_abc(Pattern("scale", Tone("C"), instrument="tenor saxophone in B♭"))
    passage = read_passage(abc, "abc")
    assert heard(read_passage(as_musicxml(passage), "musicxml")) == heard(passage)


def test_the_document_is_musicxml_4():
    root = ET.fromstring(as_musicxml(read_passage(musicxml(bar("C4", "E4")), "musicxml")))
    assert (root.tag, root.get("version")) == ("score-partwise", "4.0")
    order = [e.tag for e in root.find("part/measure/attributes")]
    assert order == ["divisions", "key", "time", "clef"]  # the schema's order


@pytest.mark.parametrize("kind", [k for k in KINDS if k not in ("other", "none")])
def test_every_kind_of_the_schema_reads_as_a_symbol_and_comes_back(kind):
    harmony = ET.fromstring(
        f"<harmony><root><root-step>D</root-step></root><kind>{kind}</kind></harmony>"
    )
    symbol = symbol_of(harmony)
    assert symbol == f"D{SUFFIXES[kind]}"
    chord = read_chord(symbol)
    assert symbol_of(harmony_element(symbol)) == symbol
    schema = {(2 + way.semitones) % 12 for way in degrees(KINDS[kind])}
    assert {t.pitch_class for t in chord.tones} == schema
    if kind != "half-diminished":  # spelled here as a minor seventh with a flat fifth
        assert chord.kind == kind


@pytest.mark.parametrize(
    ("inside", "symbol"),
    [
        ("<kind text='-7'>minor-seventh</kind>", "A-7"),
        ("<kind text='weird'>dominant</kind>", "A7"),
        ("<kind>none</kind>", "N.C."),
        (
            "<kind>major</kind><bass><bass-step>C</bass-step><bass-alter>1</bass-alter></bass>",
            "A/C#",
        ),
        (
            (
                "<kind>dominant</kind><degree><degree-value>9</degree-value>"
                "<degree-alter>-1</degree-alter><degree-type>add</degree-type></degree>"
            ),
            "A7(b9)",
        ),
        (
            (
                "<kind>major</kind><degree><degree-value>3</degree-value><degree-alter>0</degree-alter>"
                "<degree-type>subtract</degree-type></degree>"
            ),
            "Ano3",
        ),
    ],
)
def test_harmony_elements(inside, symbol):
    root = "<root><root-step>A</root-step></root>"
    assert symbol_of(ET.fromstring(f"<harmony>{root}{inside}</harmony>")) == symbol


def test_stacked_chords_are_one_symbol():
    text = (
        "<harmony><root><root-step>D</root-step></root><kind>major</kind>"
        "<root><root-step>C</root-step></root><kind>dominant</kind></harmony>"
    )
    assert symbol_of(ET.fromstring(text)) == "D|C7"

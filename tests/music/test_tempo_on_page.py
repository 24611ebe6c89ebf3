"""An exercise's own tempo on the page, where the page has one."""

import re

import pytest

from coldtake.music.notation.engraving.engraver import engrave
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.notation.tempo_on_page import with_tempo

TUNE = "X:1\nT:Air\nM:{metre}\nL:1/8\n{tempo}K:C\nCDE FGA|GFE DCB,|\n"


def page(tempo, metre="6/8"):
    return read_passage(TUNE.format(tempo=tempo, metre=metre), "abc")


def tempo_of(mei_text):
    return re.findall(r"<tempo[^>]*>(.*?)</tempo>", mei_text, re.DOTALL)


@pytest.mark.parametrize(
    ("written", "mark", "unit", "shown"),
    [
        ("Q:1/4=80\n", 60.0, 1.0, "♩ = 60"),
        ('Q:"Lively" 3/8=66\n', 54.0, 1.5, "Lively ♩. = 54"),
        ("Q:3/8=66\n", 72.0, 1.0, "♩ = 72"),
        ("Q:1/4=80\n", 66.5, 0.5, "♪ = 66.5"),
    ],
)
def test_the_mark_is_that_of_the_exercise_and_the_words_stay(written, mark, unit, shown):
    changed = with_tempo(page(written).mei, mark, unit)
    assert tempo_of(changed) == [shown]
    again = read_passage(changed, "mei")
    assert again.written_bpm == pytest.approx(mark * unit)
    assert [n.id for n in again.notes] == [n.id for n in page(written).notes]


def test_a_page_without_a_tempo_or_with_several_stays_as_it_is():
    plain = page("").mei
    assert with_tempo(plain, 60.0, 1.0) == plain
    twice = read_passage("X:1\nM:4/4\nL:1/4\nQ:1/4=80\nK:C\nCDEF|\nQ:1/4=40\nGFED|\n", "abc").mei
    assert len(tempo_of(twice)) == 2
    assert with_tempo(twice, 60.0, 1.0) == twice


def test_a_printed_mark_of_musicxml_is_replaced_whole():
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name/></score-part>'
        '</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions><time>'
        "<beats>4</beats><beat-type>4</beat-type></time></attributes><direction><direction-type>"
        "<words>Allegro</words></direction-type><direction-type><metronome><beat-unit>quarter"
        "</beat-unit><per-minute>80</per-minute></metronome></direction-type><sound tempo='80'/>"
        "</direction><note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration>"
        "<type>whole</type></note></measure></part></score-partwise>"
    )
    passage = read_passage(text, "musicxml")
    changed = with_tempo(passage.mei, 60.0, 1.0)
    assert tempo_of(changed) == ["Allegro ♩ = 60"]
    assert "= 60" in engrave(read_passage(changed, "mei"))

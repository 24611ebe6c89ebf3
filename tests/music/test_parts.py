"""One part out of several."""

import pytest

from coldtake.errors import PassageError
from coldtake.music.notation.engraving.engraver import engrave
from coldtake.music.notation.reading.parts import Part, parts, select_part
from coldtake.music.notation.reading.reader import read_passage

DUET = """X:1
M:4/4
L:1/4
Q:1/4=90
V:1 name=Flute
V:2 name=Clarinet transpose=-2
K:C
V:1
z4|"G"cdef|
V:2
CDEF|!p!GABc|
"""


@pytest.fixture
def duet():
    return read_passage(DUET, "abc")


def test_the_parts(duet):
    assert parts(duet) == (Part("Flute", (1,)), Part("Clarinet", (2,)))


def test_one_part_alone(duet):
    part = select_part(duet, 2)
    assert part.part_names == ("Clarinet",)
    assert part.transposition == -2
    assert part.is_one_line
    assert {n.id for n in part.notes} == {n.id for n in duet.notes if n.staff == 2}
    assert [(n.pitch, n.onset_beats) for n in part.notes][:2] == [(58, 0), (60, 1)]
    assert part.written_bpm == 90
    assert [h.symbol for h in select_part(duet, 1).harmonies] == ["G"]


def test_only_that_part_is_drawn(duet):
    svg = engrave(select_part(duet, 1))
    assert "Flute" in svg
    assert "Clarinet" not in svg


def test_a_piano_is_one_part():
    staves = "".join(
        f"<note><pitch><step>C</step><octave>{o}</octave></pitch><duration>4</duration>"
        f"<voice>{v}</voice><type>whole</type><staff>{s}</staff></note>{b}"
        for o, v, s, b in ((5, 1, 1, "<backup><duration>4</duration></backup>"), (3, 5, 2, ""))
    )
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name>'
        '</score-part><score-part id="P2"><part-name>Oboe</part-name></score-part></part-list>'
        '<part id="P1"><measure number="1"><attributes><divisions>1</divisions><staves>2</staves>'
        f"</attributes>{staves}</measure></part><part id='P2'><measure number='1'>"
        "<attributes><divisions>1</divisions></attributes><note><pitch><step>E</step>"
        "<octave>5</octave></pitch><duration>4</duration><type>whole</type></note></measure></part>"
        "</score-partwise>"
    )
    passage = read_passage(text, "musicxml")
    assert [p.name for p in parts(passage)] == ["Piano", "Oboe"]
    assert [n.pitch for n in select_part(passage, 1).notes] == [48, 72]
    assert [n.pitch for n in select_part(passage, 2).notes] == [76]


@pytest.mark.parametrize("number", [0, 3, -1])
def test_a_part_that_is_not_there(duet, number):
    with pytest.raises(PassageError, match="no part"):
        select_part(duet, number)

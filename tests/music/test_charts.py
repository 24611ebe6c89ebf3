"""Charts: typed and from a page, played in the order of their signs, drawn in rows of four."""

import xml.etree.ElementTree as ET

import pytest

from coldtake.errors import PassageError
from coldtake.music.notation.engraving.chart_drawing import chart_svg, rows
from coldtake.music.notation.reading.charts import chart_of, read_chart
from coldtake.music.notation.reading.reader import read_passage

SVG = "{http://www.w3.org/2000/svg}"


def played(text, metre=(4, 4)):
    return " ".join(span.chord.symbol for span in read_chart(text, metre).changes().spans)


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("C | F :| G", "C F C F G"),
        ("|: C | F :|: G :|", "C F C F G G"),
        ("C |: F |1. G7 :|2. Gm7 | A", "C F G7 F Gm7 A"),
        ("|: C |[1 F | G :|[2 Am || D", "C F G C Am D"),
        ("|: C |1, 2. F :|3. G ||", "C F C F C G"),
        ("C | F Fine | G | A D.C. al Fine", "C F G A C F"),
        ("C | Segno D | E To Coda | F D.S. al Coda | Coda G | A", "C D E F D E G A"),
        ("C | To Coda D | E D.C. al Coda || Coda F", "C D E C D F"),
        ("|: C :| D | E D.C.", "C C D E C D E"),  # no repeat after a jump
        ("C | % | F / / G", "C C F G"),
        ("C | / F", "C C F"),
    ],
)
def test_the_order_of_playing(text, order):
    assert played(text) == order


def test_a_slash_holds_the_chord_and_shares_stay_even():
    spans = read_chart("C / / G7 | / F | % | Am Dm G7", (4, 4)).changes().spans
    assert [(s.chord.symbol, s.beats) for s in spans] == [
        ("C", 3), ("G7", 1), ("G7", 2), ("F", 2), ("G7", 2), ("F", 2),
        *[(name, pytest.approx(4 / 3)) for name in ("Am", "Dm", "G7")],
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("| |", "no chords"),
        ("C | Xyz", "bar 2"),
        ("% | C", "no bar before it"),
        ("C D.S.", "asks for a segno"),
        ("C | To Coda D | D.C. al Coda", "asks for a coda"),
        ("C | " * 401, "More than 400"),
        ("|: " + "C | " * 300 + ":|", "More than 400"),
    ],
)
def test_what_cannot_be_read(text, sentence):
    with pytest.raises(PassageError) as fault:
        read_chart(text)
    assert sentence in str(fault.value)


def test_rows_of_four_and_a_new_one_for_a_new_part():
    chart = read_chart("A | B | C |: D | E | F | G | A :| B || C | D")
    assert [len(row) for row in rows(chart)] == [3, 4, 2, 2]
    assert [len(row) for row in rows(chart, 2)] == [2, 1, 2, 2, 2, 2]


def test_the_drawing_shows_every_chord_and_sign():
    text = "|: Segno Cm7 | F7b9 :| N.C. | % | Bbmaj7/D | D/C7 D.S. al Coda | Coda Eb"
    root = ET.fromstring(chart_svg(read_chart(text.replace("Bbmaj7/D", "Bbmaj7/D To Coda"))))
    shown = ["".join(t.itertext()) for t in root.iter(f"{SVG}text")]
    for words in ("Cm7", "F7♭9", "N.C.", "B♭maj7/D", "D/C7", "E♭", "Segno", "D.S. al Coda"):
        assert words in shown
    assert root.get("aria-label").startswith("Changes: 7 bars. Segno repeat from here Cm7")
    assert all("style" not in e.attrib for e in root.iter())
    right = max(float(e.get("x")) for e in root.iter(f"{SVG}text"))
    assert right <= 1000


def test_many_chords_in_a_bar_are_set_smaller():
    wide = ET.fromstring(chart_svg(read_chart("Cmaj7(#11) F#m7b5 B13(b9) Em7add11")))
    sizes = [float(e.get("font-size")) for e in wide.iter(f"{SVG}tspan")]
    assert max(sizes) < 34
    assert min(sizes) > 7


ABC = (
    'X:1\nT:Page\nM:4/4\nL:1/4\nK:F\n"F"F2 "Bb7"B2 |: "Gm7"G4 |1 "C7"c4 :|2 "F6"f4 ||'
    " z4 | !coda!A4 |]\n"
)


def test_a_chart_of_a_page_keeps_its_signs():
    chart = chart_of(read_passage(ABC, "abc"))
    assert (chart.title, str(chart.key), chart.metre) == ("Page", "F major", (4, 4))
    assert [[b.chord.symbol for b in bar.beats] for bar in chart.bars] == [
        ["F", "Bb7"], ["Gm7"], ["C7"], ["F6"], ["F6"], ["F6"],
    ]  # fmt: skip
    assert [bar.ending for bar in chart.bars] == [(), (), (1,), (2,), (), ()]
    assert chart.bars[1].opens_repeat
    assert chart.bars[2].closes_repeat
    assert chart.bars[5].marks == {"coda"}
    assert chart_of(read_passage("X:1\nK:C\nCDEF|\n", "abc")) is None

"""The page: one inline SVG that a strict content policy allows."""

import re
import xml.etree.ElementTree as ET

import pytest
from scores import bar, musicxml

from coldtake.music.notation.engraving.engraver import ExtraMark, NoteMark, engrave
from coldtake.music.notation.engraving.marks import COLOURS
from coldtake.music.notation.reading.reader import read_passage

TUNE = (
    'X:1\nT:Two & "three" <bars>\nM:3/4\nL:1/4\nQ:1/4=80\nK:F\n'
    '"Gm"F G A-|A {g}B !trill!c|(3ABc d/e/f|]\n'
)


@pytest.fixture
def passage():
    return read_passage(TUNE, "abc")


def elements(svg):
    return list(ET.fromstring(svg).iter())


def with_class(svg, name):
    return [e for e in elements(svg) if name in e.get("class", "").split()]


def test_one_svg_with_a_name(passage):
    svg = engrave(passage)
    root = ET.fromstring(svg)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert svg.startswith("<svg ")
    assert root.get("role") == "img"
    assert root[0].text == 'Two & "three" <bars>'
    assert root.get("aria-label").startswith(root[0].text)


def test_nothing_that_the_content_policy_forbids(passage):
    marks = {passage.notes[0].id: NoteMark("wrong", "<script>alert(1)</script>")}
    svg = engrave(passage, marks=marks, extras=[ExtraMark(1, "x", 60)])
    tags = {e.tag.rpartition("}")[2] for e in elements(svg)}
    assert not tags & {"script", "style", "foreignObject", "image", "a"}
    for element in elements(svg):
        assert "style" not in element.attrib
        assert not any(key.startswith("on") for key in element.attrib)
        href = element.get("href") or "#"
        assert href.startswith("#")


def test_every_notehead_has_its_id(passage):
    svg = engrave(passage)
    ids = {e.get("id") for e in elements(svg)}
    assert {head for n in passage.notes for head in n.notation_ids} <= ids


def test_ids_are_unique_and_references_lead_somewhere(passage):
    svg = engrave(passage, prefix="take-1-")
    ids = [e.get("id") for e in elements(svg) if e.get("id")]
    assert len(ids) == len(set(ids))
    assert all(i.startswith("take-1-") for i in ids)
    hrefs = {e.get("href")[1:] for e in elements(svg) if e.get("href")}
    assert hrefs <= set(ids)
    assert {e.get("data-note") for e in with_class(svg, "note")} >= {passage.notes[0].id}


def test_two_passages_on_one_page_do_not_clash(passage):
    first = {e.get("id") for e in elements(engrave(passage, prefix="a-"))} - {None}
    second = {e.get("id") for e in elements(engrave(passage, prefix="b-"))} - {None}
    assert not first & second


@pytest.mark.parametrize("prefix", ['"', "a b", "<", "a#"])
def test_a_prefix_is_a_plain_word(passage, prefix):
    with pytest.raises(ValueError, match="prefix"):
        engrave(passage, prefix=prefix)


def test_the_same_at_every_reading(passage):
    text = musicxml(bar("C4", "D4"), bar("E4"))
    first = engrave(read_passage(text, "musicxml"))
    read_passage.cache_clear()
    assert engrave(read_passage(text, "musicxml")) == first


@pytest.mark.parametrize("width", [300, 600, 1200])
def test_it_fits_the_width(width):
    passage = read_passage("X:1\nM:4/4\nL:1/8\nK:C\n" + "CDEF GABc|" * 24 + "\n", "abc")
    root = ET.fromstring(engrave(passage, width_px=width))
    assert float(root.get("width")) == width
    x = [float(n) for n in re.findall(r"translate\((-?[\d.]+),", ET.tostring(root, "unicode"))]
    assert max(x) * 0.04 <= width


def test_long_music_is_whole():
    passage = read_passage("X:1\nM:4/4\nL:1/8\nK:C\n" + ("CDEF GABc|" * 120) + "\n", "abc")
    svg = engrave(passage, width_px=300)
    assert len(with_class(svg, "note")) == len(passage.notes) == 960


def test_marks_have_colour_shape_and_words(passage):
    kinds = ["right", "wrong", "missed", "early", "late", "stop", "unsure"]
    marks = {
        n.id: NoteMark(kind, f"{n.name}: {kind}")
        for n, kind in zip(passage.notes, kinds, strict=False)
    }
    svg = engrave(passage, marks=marks)
    shapes = set()
    for kind in kinds:
        marked = with_class(svg, f"mark-{kind}")
        assert marked
        for group in marked:
            assert group[0].text.endswith(kind)
            assert group.get("color") == COLOURS[kind]
            shape = next(e for e in group if e.get("class") == "mark-shape")
            shapes.add(re.sub(r"-?\d+(\.\d+)?", "n", ET.tostring(shape[0], "unicode"))[:200] + kind)
    assert len(shapes) == len(kinds)


def test_a_tied_chain_is_marked_on_every_head(passage):
    tied = next(n for n in passage.notes if len(n.notation_ids) > 1)
    svg = engrave(passage, marks={tied.id: NoteMark("late", "late by 80 ms")})
    assert {e.get("id") for e in with_class(svg, "mark-late")} == set(tied.notation_ids)


def test_of_two_playings_the_fault_is_shown():
    passage = read_passage("K:C\nCD:|", "abc")
    first, second = passage.notes[0], passage.notes[2]
    marks = {first.id: NoteMark("right", "ok"), second.id: NoteMark("wrong", "2nd time: D4")}
    assert len(with_class(engrave(passage, marks=marks), "mark-wrong")) == 1


def test_extra_notes_stand_between_their_neighbours(passage):
    svg = engrave(passage, extras=[ExtraMark(0.5, "an extra G4", 67), ExtraMark(99, "late one")])
    extras = with_class(svg, "mark-extra")
    assert [e[0].text for e in extras] == ["an extra G4", "late one"]

    def left(note):
        use = next(e for e in note.iter() if e.get("href"))
        return float(re.search(r"translate\((-?[\d.]+)", use.get("transform"))[1])

    heads = {e.get("id"): left(e) for e in with_class(svg, "note")}
    shape = next(e for e in extras[0].iter() if e.get("d"))
    x = float(re.search(r"M(-?\d+)", shape.get("d"))[1])
    assert heads[passage.notes[0].id] < x < heads[passage.notes[1].id] + 200


@pytest.mark.parametrize("width", [-5, 0, 10**9])
def test_odd_sizes_are_brought_into_range(passage, width):
    assert engrave(passage, width_px=width, scale=width).startswith("<svg ")

"""MEI as people and programs write it."""

import pytest

from coldtake.errors import PassageError
from coldtake.music.notation.reading.reader import read_passage


def mei(*measures, definition="", staff_def="", before=""):
    return (
        '<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="5.0"><meiHead><fileDesc>'
        "<titleStmt><title>Invented</title></titleStmt><pubStmt/></fileDesc></meiHead><music><body>"
        f"<mdiv><score><scoreDef {definition}><staffGrp><staffDef n='1' lines='5' clef.shape='G' "
        f"clef.line='2' {staff_def}/></staffGrp></scoreDef>{before}<section>{''.join(measures)}"
        "</section></score></mdiv></body></music></mei>"
    )


def measure(inside, n=1, more="", **attributes):
    extra = " ".join(f'{k}="{v}"' for k, v in attributes.items())
    staff = f'<staff n="1"><layer n="1">{inside}</layer></staff>'
    return f'<measure n="{n}" {extra}>{staff}{more}</measure>'


def note(name, dur, **attributes):
    """A note such as c4; `id` becomes xml:id."""
    keys = {"id": "xml:id"}
    extra = " ".join(f'{keys.get(k, k)}="{v}"' for k, v in attributes.items())
    return f'<note pname="{name[0]}" oct="{name[1]}" dur="{dur}" {extra}/>'


def read(*args, **kwargs):
    return read_passage(mei(*args, **kwargs), "mei")


def test_ids_title_and_metre():
    passage = read(measure(note("c4", 2, id="first") + note("d4", 2)), definition="meter.sym='cut'")
    assert passage.title == "Invented"
    assert passage.notes[0].id == "first"
    assert passage.bars[0].metre == (2, 2)


def test_a_key_signature_counts_where_no_sounding_accidentals_are_given():
    notes = note("f4", 4) + note("f4", 4, accid="n") + note("f4", 4) + note("c4", 4)
    passage = read(measure(notes), measure(note("f4", 1), n=2), definition="keysig='2s'")
    assert [n.pitch for n in passage.notes] == [66, 65, 65, 61, 66]


def test_ties_written_on_the_notes():
    passage = read(
        measure(note("c4", 2) + note("d4", 2, tie="i")),
        measure(note("d4", 1, tie="m"), n=2),
        measure(note("d4", 2, tie="t") + note("d4", 2), n=3),
    )
    assert [(n.pitch, n.duration_beats) for n in passage.notes] == [(60, 2), (62, 8), (62, 2)]


def test_an_octave_line():
    line = "<octave staff='1' startid='#a' endid='#b' dis='8' dis.place='above'/>"
    passage = read(
        measure(note("c5", 2, id="a") + note("d5", 2, id="b"), more=line),
        measure(note("e5", 1), n=2),
    )
    assert [(n.pitch, n.written_pitch) for n in passage.notes] == [(84, 72), (86, 74), (76, 76)]


def test_a_sounding_octave_that_nothing_plays_is_not_the_note_s_name():
    measures = measure(note("e6", 1).replace("/>", ' oct.ges="68"/>'))
    (only,) = read(measures).notes
    assert (only.name, only.pitch) == ("E6", 88)


def test_an_expansion_says_the_order():
    text = mei(measure(note("c4", 1))).replace(
        "<section>",
        "<section><expansion xml:id='e' plist='#s2 #s1 #s2'/><section xml:id='s1'>"
        + measure(note("d4", 1), n=5)
        + "</section><section xml:id='s2'>"
        + measure(note("e4", 1), n=6)
        + "</section>",
        1,
    )
    assert [n.name for n in read_passage(text, "mei").notes] == ["E4", "D4", "E4"]


def test_bar_repeat_signs_and_tremolos():
    passage = read(
        measure(note("c4", 2) + note("e4", 2)),
        measure("<mRpt xml:id='again'/>", n=2),
        measure("<fTrem>" + note("c4", 1) + note("g4", 1) + "</fTrem>", n=3),
    )
    assert [(n.pitch, n.onset_beats) for n in passage.notes] == [
        (60, 0),
        (64, 2),
        (60, 4),
        (64, 6),
        (60, 8),
        (67, 10),
    ]


def test_a_bar_repeat_sign_at_the_start():
    with pytest.raises(PassageError, match="first bar") as caught:
        read(measure("<mRpt/>"), measure(note("c4", 1), n=2))
    assert caught.value.remedy


def test_transposition_and_tempo():
    passage = read(
        measure(note("c4", 1), more="<tempo tstamp='1' mm='60' mm.unit='2'>h = 60</tempo>"),
        staff_def="trans.semi='-2' trans.diat='-1'",
    )
    assert (passage.notes[0].pitch, passage.notes[0].written_pitch) == (58, 60)
    assert [(t.bpm, t.beat_unit_beats) for t in passage.tempi] == [(120, 2)]

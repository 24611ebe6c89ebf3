"""Facts of MusicXML 4.0 (W3C Music Notation Community Group, 2021), read in its schema."""

import pytest

from coldtake.errors import PassageError
from coldtake.music.notation.reading.reader import read_passage

HELLO_WORLD = """<?xml version="1.0" encoding="UTF-8" standalone="no"?>
<!DOCTYPE score-partwise PUBLIC
    "-//Recordare//DTD MusicXML 4.0 Partwise//EN"
    "http://www.musicxml.org/dtds/partwise.dtd">
<score-partwise version="4.0">
  <part-list><score-part id="P1"><part-name>Music</part-name></score-part></part-list>
  <part id="P1">
    <measure number="1">
      <attributes>
        <divisions>1</divisions>
        <key><fifths>0</fifths></key>
        <time><beats>4</beats><beat-type>4</beat-type></time>
        <clef><sign>G</sign><line>2</line></clef>
      </attributes>
      <note>
        <pitch><step>C</step><octave>4</octave></pitch>
        <duration>4</duration>
        <type>whole</type>
      </note>
    </measure>
  </part>
</score-partwise>
"""


def test_hello_world():
    """The first example of the tutorial: one whole note, middle C, in 4/4."""
    passage = read_passage(HELLO_WORLD, "musicxml")
    note = passage.notes[0]
    assert len(passage.notes) == 1
    assert (note.pitch, note.name, note.onset_beats, note.duration_beats) == (60, "C4", 0, 4)
    assert (passage.bars[0].metre, passage.bars[0].key_fifths) == ((4, 4), 0)
    assert passage.part_names == ("Music",)


@pytest.mark.parametrize("octave", range(10))
def test_octave_4_starts_at_middle_c(octave):
    text = HELLO_WORLD.replace("<octave>4<", f"<octave>{octave}<")
    assert read_passage(text, "musicxml").notes[0].pitch == 12 * (octave + 1)


@pytest.mark.parametrize(
    ("alter", "pitch", "name"), [(1, 61, "C♯4"), (-1, 59, "C♭4"), (2, 62, "C♯♯4")]
)
def test_alter_is_in_semitones(alter, pitch, name):
    text = HELLO_WORLD.replace("</step>", f"</step><alter>{alter}</alter>")
    note = read_passage(text, "musicxml").notes[0]
    assert (note.pitch, note.name) == (pitch, name)


@pytest.mark.parametrize("fifths", range(-7, 8))
def test_negative_fifths_are_flats(fifths):
    text = HELLO_WORLD.replace("<fifths>0<", f"<fifths>{fifths}<")
    passage = read_passage(text, "musicxml")
    assert passage.bars[0].key_fifths == fifths
    assert passage.notes[0].pitch == 60  # the signature never alters a pitch without <alter>


@pytest.mark.parametrize(
    ("divisions", "duration", "kind", "beats"),
    [
        (2, 1, "eighth", 0.5),
        (4, 1, "16th", 0.25),
        (480, 960, "half", 2),
        (16383, 16383, "quarter", 1),
    ],
)
def test_divisions_are_parts_of_a_quarter(divisions, duration, kind, beats):
    text = HELLO_WORLD.replace("<divisions>1<", f"<divisions>{divisions}<")
    text = text.replace("<duration>4<", f"<duration>{duration}<").replace("whole", kind)
    assert read_passage(text, "musicxml").notes[0].duration_beats == beats


def test_no_number_of_divisions():
    with pytest.raises(PassageError, match="no number of divisions"):
        read_passage(HELLO_WORLD.replace("<divisions>1<", "<divisions>0<"), "musicxml")

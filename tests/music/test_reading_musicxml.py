"""MusicXML to the notes that must sound."""

import pytest
from scores import bar, barline, ending, musicxml, note, repeat, words

from coldtake.errors import PassageError
from coldtake.music.notation.reading import long_scores
from coldtake.music.notation.reading.reader import read_passage, read_slowly


def read(*measures, **kwargs):
    return read_passage(musicxml(*measures, **kwargs), "musicxml")


def labels(passage):
    return [b.label for b in passage.bars]


def test_repeat_is_written_out_and_second_playing_has_its_own_ids():
    passage = read(
        bar("C4", "D4"), bar("E4", "F4") + barline("right", repeat("backward")), bar("G4")
    )
    assert labels(passage) == ["1", "2", "1", "2", "3"]
    assert [n.pitch for n in passage.notes] == [60, 62, 64, 65, 60, 62, 64, 65, 67]
    assert passage.notes[4].id == f"{passage.notes[0].id}~2"
    assert passage.notes[4].notation_ids == passage.notes[0].notation_ids
    assert [b.onset_beats for b in passage.bars] == [0, 4, 8, 12, 16]


def test_first_and_second_ending():
    passage = read(
        barline("left", repeat("forward")) + bar("C4"),
        barline("left", ending("1", "start"))
        + bar("D4")
        + barline("right", ending("1", "stop"), repeat("backward")),
        barline("left", ending("2", "start")) + bar("E4") + barline("right", ending("2", "stop")),
        bar("F4"),
    )
    assert labels(passage) == ["1", "2", "1", "3", "4"]


def test_endings_for_several_passes():
    passage = read(
        barline("left", repeat("forward")) + bar("C4"),
        barline("left", ending("1, 2", "start"))
        + bar("D4")
        + barline("right", ending("1, 2", "stop"), repeat("backward")),
        barline("left", ending("3", "start")) + bar("E4") + barline("right", ending("3", "stop")),
    )
    assert labels(passage) == ["1", "2", "1", "2", "1", "3"]


def test_da_capo_al_fine():
    passage = read(
        bar("C4"),
        bar("D4") + words("Fine", 'fine="yes"'),
        bar("E4"),
        bar("F4") + words("D.C. al Fine", 'dacapo="yes"'),
    )
    assert labels(passage) == ["1", "2", "3", "4", "1", "2"]


def test_dal_segno_al_coda():
    segno = "<direction><direction-type><segno/></direction-type><sound segno='s'/></direction>"
    coda = "<direction><direction-type><coda/></direction-type><sound coda='c'/></direction>"
    passage = read(
        bar("C4"),
        segno + bar("D4"),
        bar("E4") + words("To Coda", 'tocoda="c"'),
        bar("F4") + words("D.S. al Coda", 'dalsegno="s"'),
        coda + bar("G4"),
    )
    assert labels(passage) == ["1", "2", "3", "4", "2", "3", "5"]


TIE_START = {"more": '<tie type="start"/>', "after": '<notations><tied type="start"/></notations>'}
TIE_STOP = {"more": '<tie type="stop"/>', "after": '<notations><tied type="stop"/></notations>'}


def test_ties_join_across_bars():
    passage = read(bar("C4", "D4")[: -len(note("D4", 8))] + note("D4", 8, **TIE_START))
    assert len(passage.notes) == 2  # a tie that leads nowhere joins nothing
    passage = read(
        note("C4", 8) + note("D4", 8, **TIE_START), note("D4", 8, **TIE_STOP) + note("D4", 8)
    )
    assert [(n.pitch, n.onset_beats, n.duration_beats) for n in passage.notes] == [
        (60, 0, 2),
        (62, 2, 4),
        (62, 6, 2),
    ]
    assert len(passage.notes[1].notation_ids) == 2


def test_a_tie_leads_into_both_endings():
    passage = read(
        barline("left", repeat("forward")) + note("C4", 8) + note("D4", 8, **TIE_START),
        barline("left", ending("1", "start"))
        + note("D4", 8, **TIE_STOP)
        + note("E4", 8)
        + barline("right", ending("1", "stop"), repeat("backward")),
        barline("left", ending("2", "start"))
        + note("D4", 16, **TIE_STOP)
        + barline("right", ending("2", "stop")),
    )
    assert [(n.pitch, n.duration_beats) for n in passage.notes] == [
        (60, 2),
        (62, 4),
        (64, 2),
        (60, 2),
        (62, 6),
    ]


def test_without_a_tie_equal_notes_stay_apart():
    assert len(read(bar("C4", "C4"), bar("C4")).notes) == 3


def test_pick_up_bar_starts_at_zero_although_another_staff_rests():
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>A</part-name>'
        '</score-part><score-part id="P2"><part-name>B</part-name></score-part></part-list>'
        '<part id="P1"><measure number="0" implicit="yes"><attributes><divisions>4</divisions>'
        "<time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
        f'{note("G4", 4)}</measure><measure number="1">{bar("C5")}</measure></part>'
        '<part id="P2"><measure number="0" implicit="yes"><attributes><divisions>4</divisions>'
        "</attributes><note><rest measure='yes'/><duration>4</duration></note></measure>"
        f'<measure number="1">{bar("C3")}</measure></part></score-partwise>'
    )
    passage = read_passage(text, "musicxml")
    assert [(b.label, b.onset_beats, b.length_beats) for b in passage.bars] == [
        ("0", 0, 1),
        ("1", 1, 4),
    ]
    assert passage.part_names == ("A", "B")
    assert [(n.pitch, n.staff, n.onset_beats) for n in passage.notes] == [
        (67, 1, 0),
        (48, 2, 1),
        (72, 1, 1),
    ]


@pytest.mark.parametrize(
    ("instrument", "diatonic", "chromatic", "sounding"),
    [
        *[("Clarinet in B♭", -1, -2, 58), ("Clarinet in A", -2, -3, 57), ("Horn in F", -4, -7, 53)],
        *[("Alto Saxophone", -5, -9, 51), ("Piccolo clarinet", 2, 3, 63)],
    ],
)
def test_transposing_instruments(instrument, diatonic, chromatic, sounding):
    transpose = (
        f"<transpose><diatonic>{diatonic}</diatonic><chromatic>{chromatic}</chromatic></transpose>"
    )
    passage = read(
        bar("C4"),
        part=instrument,
        attributes="<divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        + transpose,
    )
    written = passage.notes[0]
    assert (written.pitch, written.written_pitch, written.name) == (sounding, 60, "C4")
    assert passage.transposition == chromatic
    assert passage.part_names == (instrument,)


def test_octave_transposition():
    """A double bass sounds an octave below what is written (MusicXML octave-change)."""
    transpose = "<transpose><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>"
    passage = read(
        bar("C3"),
        attributes="<divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        + transpose,
    )
    assert (passage.notes[0].pitch, passage.notes[0].written_pitch) == (36, 48)


def test_octave_clef_and_octave_line():
    """MusicXML gives the sounding octave in both; only the noteheads under a line stand lower."""
    clef = "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"
    passage = read(
        bar("C3"),
        attributes="<divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        + clef,
    )
    assert passage.notes[0].pitch == 48
    start = (
        "<direction><direction-type><octave-shift type='down' size='8'/>"
        "</direction-type></direction>"
    )
    stop = (
        "<direction><direction-type><octave-shift type='stop' size='8'/>"
        "</direction-type></direction>"
    )
    passage = read(start + bar("C6") + stop, bar("C5"))
    assert [(n.pitch, n.written_pitch, n.name) for n in passage.notes] == [
        (84, 72, "C6"),
        (72, 72, "C5"),
    ]


def test_key_metre_and_tempo_changes():
    change = (
        "<attributes><key><fifths>-3</fifths></key><time><beats>3</beats><beat-type>8</beat-type>"
        "</time></attributes><direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
        "<beat-unit-dot/><per-minute>60</per-minute></metronome></direction-type></direction>"
    )
    tempo = (
        "<direction><direction-type><metronome><beat-unit>half</beat-unit><per-minute>50</per-minute>"
        "</metronome></direction-type></direction>"
    )
    passage = read(bar("C4"), change + note("Eb4", 6), lead=tempo)
    assert [(b.metre, b.key_fifths, b.length_beats) for b in passage.bars] == [
        ((4, 4), 0, 4),
        ((3, 8), -3, 1.5),
    ]
    assert [(t.onset_beats, t.bpm, t.beat_unit_beats) for t in passage.tempi] == [
        (0, 100, 2),
        (4, 90, 1.5),
    ]


def test_a_repeat_brings_the_earlier_tempo_back():
    slow, fast = words("a", 'tempo="60"'), words("b", 'tempo="90"')
    passage = read(slow + bar("C4"), fast + bar("D4") + barline("right", repeat("backward")))
    assert [(t.onset_beats, t.bpm) for t in passage.tempi] == [(0, 60), (4, 90), (8, 60), (12, 90)]


def test_tuplets_without_a_bracket_keep_their_length():
    third = (
        "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
        "</time-modification>"
    )
    body = "".join(
        f"<note><pitch><step>{s}</step><octave>4</octave></pitch><duration>4</duration><voice>1</voice>"
        f"<type>quarter</type>{third}</note>"
        for s in "CDE"
    )
    passage = read(
        body,
        attributes="<divisions>6</divisions><time><beats>2</beats><beat-type>4</beat-type></time>",
    )
    assert [n.duration_beats for n in passage.notes] == pytest.approx([2 / 3] * 3)
    assert passage.bars[0].length_beats == 2


def test_divisions_may_change():
    passage = read(
        bar("C4"), "<attributes><divisions>1</divisions></attributes>" + note("D4", 4), bar("E4")
    )
    assert [n.duration_beats for n in passage.notes][:2] == [4, 4]


def test_grace_notes_take_their_time_from_before():
    grace = (
        "<note><grace slash='yes'/><pitch><step>D</step><octave>4</octave></pitch>"
        "<voice>1</voice><type>eighth</type></note>"
    )
    first, ornament, main = read(note("C4", 8) + grace + note("E4", 8)).notes
    assert (ornament.grace, ornament.onset_beats, ornament.duration_beats) == (True, 1.875, 0.125)
    assert (first.end_beats, main.onset_beats) == (1.875, 2)
    ornament, main = read(grace + note("E4", 16)).notes
    assert (ornament.onset_beats, main.onset_beats, main.end_beats) == (0, 0.125, 4)


def test_chords_and_voices():
    body = (
        note("C4", 16)
        + note("E4", 16, before="<chord/>")
        + "<backup><duration>16</duration></backup>"
        + bar("G4", "A4").replace("<voice>1<", "<voice>2<")
    )
    passage = read(body)
    assert [(n.pitch, n.onset_beats, n.duration_beats, n.voice) for n in passage.notes] == [
        (60, 0, 4, 1),
        (64, 0, 4, 1),
        (67, 0, 2, 2),
        (69, 2, 2, 2),
    ]
    assert not passage.is_one_line
    assert read(bar("C4", "D4", "E4", "F4")).is_one_line


def test_chord_symbols():
    harmony = (
        "<harmony><root><root-step>B</root-step><root-alter>-1</root-alter></root>"
        "<kind text='7'>dominant</kind></harmony>"
    )
    passage = read(bar("C4"), harmony + bar("D4"))
    assert [h.onset_beats for h in passage.harmonies] == [4]
    assert passage.harmonies[0].symbol.startswith("B")


def test_cue_notes_do_not_sound():
    assert len(read(note("C4", 8) + note("D4", 8, before="<cue/>")).notes) == 1


def test_percussion_is_refused_with_the_reason():
    drum = (
        "<note><unpitched><display-step>C</display-step><display-octave>5</display-octave></unpitched>"
        "<duration>16</duration><voice>1</voice><type>whole</type></note>"
    )
    with pytest.raises(PassageError, match="percussion"):
        read(drum)


def test_ids_of_the_file_are_kept_and_the_others_are_stable():
    text = musicxml(bar("C4", "D4")).replace("<note>", '<note id="mine">', 1)
    first, second = read_passage(text, "musicxml").notes
    assert first.id == "mine"
    read_passage.cache_clear()
    assert [n.id for n in read_passage(text, "musicxml").notes] == ["mine", second.id]


def test_timewise_scores():
    text = (
        '<score-timewise version="4.0"><part-list><score-part id="P1"><part-name/></score-part>'
        '</part-list><measure number="1"><part id="P1"><attributes><divisions>4</divisions>'
        f"</attributes>{bar('C4')}</part></measure></score-timewise>"
    )
    assert [n.pitch for n in read_passage(text, "musicxml").notes] == [60]


def test_a_long_work_reads_in_stretches_as_it_does_in_one(monkeypatch):
    """Ties, new signs, endings and jumps over the cuts, and what share of it is done."""
    changed = (
        "<attributes><key><fifths>2</fifths></key><time><beats>2</beats><beat-type>4</beat-type>"
        "</time></attributes>"
    )
    tied = [
        bar("C4", "D4")[: -len(note("D4", 8))] + note("D4", 8, **TIE_START),
        note("D4", 8, **TIE_STOP) + note("E4", 8),
    ]
    last = [
        changed + note("F#4", 8),
        barline("left", repeat("forward")) + note("G4", 8),
        barline("left", ending("1", "start"))
        + note("A4", 8)
        + barline("right", ending("1", "stop"), repeat("backward")),
        barline("left", ending("2", "start")) + note("B4", 8),
        note("C4", 8)
        + words("D.C. al Fine", 'dacapo="yes"')
        + barline("right", ending("2", "stop")),
    ]
    measures = [bar("G4"), bar("A4") + words("Fine", 'fine="yes"'), *tied, *last]
    text = musicxml(*measures)
    whole = read_passage(text, "musicxml")
    monkeypatch.setattr(long_scores, "LONG", 2)
    for stretch in (1, 2, 3):
        monkeypatch.setattr(long_scores, "STRETCH", stretch)
        shares = []
        parts = read_slowly(text, "musicxml", shares.append)
        assert parts.notes == whole.notes
        assert parts.bars == whole.bars
        assert shares == sorted(shares)
        assert len(shares) > 2


def test_every_pitch_says_its_own_alteration():
    """An accidental shown in brackets does not hold for a later pitch without `alter`."""
    flat = note("Bb4", 8, after='<accidental parentheses="yes">flat</accidental>')
    passage = read(flat + note("B4", 8))
    assert [n.pitch for n in passage.notes] == [70, 71]


def octave_line(kind, size=8):
    made = f'<octave-shift type="{kind}" size="{size}"/>'
    return f"<direction><direction-type>{made}</direction-type></direction>"


@pytest.mark.parametrize(("kind", "size", "head"), [("down", 8, 76), ("up", 15, 112)])
def test_a_note_under_an_octave_line_is_called_as_it_is_meant(kind, size, head):
    passage = read(octave_line(kind, size) + note("E6", 4) + octave_line("stop", size))
    (only,) = passage.notes
    assert (only.name, only.pitch, only.written_pitch) == ("E6", 88, head)


def test_an_octave_that_nothing_plays_is_refused_with_its_number():
    text = musicxml(note("E6", 4)).replace("<octave>6<", "<octave>68<")
    with pytest.raises(PassageError, match="octave 68; octaves are 0 to 9"):
        read_passage(text, "musicxml")


def test_octave_lines_beyond_any_notehead_leave_the_note_meant():
    passage = read(octave_line("up", 64) + note("E6", 4))
    assert [(n.name, n.pitch) for n in passage.notes] == [("E6", 88)]

"""MIDI files: what the file says, onsets on a grid, the page that comes of it."""

import io
from fractions import Fraction

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from music21.analysis.discrete import KrumhanslKessler

from coldtake.errors import PassageError
from coldtake.music.midi.choice import ImportChoice
from coldtake.music.midi.page import kept_midi, midi_page
from coldtake.music.midi.quantising import CHORD_S
from coldtake.music.midi.reader import is_midi, read_midi
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.theory.key_finding import MAJOR, MINOR, likely_key, spelled
from coldtake.music.theory.keys import C_MAJOR, read_key

TICKS = 480


def events(notes):
    """(ticks, kind, pitch) of (onset, length, pitch) in quarters, ends before starts."""
    found = [(round(on * TICKS), 1, p) for on, _, p in notes]
    found += [
        (max(round((on + length) * TICKS), round(on * TICKS) + 1), 0, p) for on, length, p in notes
    ]
    return sorted(found)


def track(notes, *metas, name="Line", channel=0):
    made = mido.MidiTrack([mido.MetaMessage("track_name", name=name), *metas])
    at = 0
    for ticks, on, pitch in events(notes):
        kind = "note_on" if on else "note_off"
        made.append(mido.Message(kind, note=pitch, channel=channel, time=ticks - at))
        at = ticks
    return made


def song(*tracks, type=1):  # noqa: A002 - mido's own name
    file = mido.MidiFile(ticks_per_beat=TICKS, type=type)
    file.tracks.extend(tracks)
    box = io.BytesIO()
    file.save(file=box)
    return box.getvalue()


def in_a_row(*lengths, pitch=60):
    at, found = Fraction(0), []
    for i, length in enumerate(lengths):
        found.append((at, Fraction(length), pitch + i % 12))
        at += Fraction(length)
    return found


def heard(page):
    return [
        (Fraction(n.onset_beats).limit_denominator(48), n.pitch)
        for n in read_passage(page.abc, "abc").notes
    ]


LINE = in_a_row("1", "1/2", "1/2", "1/3", "1/3", "1/3", "2/3", "1/3", "3/2", "1/2",
                *["1/4"] * 4, "2", "1", "1")  # fmt: skip


def test_the_file_says_tempo_key_and_metre():
    """FF 51 03 07 A1 20 is 120 quarters a minute, 0F 42 40 is 60 (Standard MIDI File 1.0)."""
    data = song(
        track(
            LINE,
            mido.MetaMessage("set_tempo", tempo=0x0F4240),
            mido.MetaMessage("key_signature", key="Bb"),
            mido.MetaMessage("time_signature", numerator=3, denominator=4),
        )
    )
    assert is_midi(data)
    played = read_midi(data)
    assert played.bpm == 60
    assert (played.metres, played.keys) == (((0, (3, 4)),), ((0, -2, False),))
    assert read_midi(song(track(LINE))).bpm == 120  # where none is given
    passage = read_passage(midi_page(data).abc, "abc")
    assert (passage.written_bpm, passage.bars[0].metre, passage.bars[0].key_fifths) == (
        60, (3, 4), -2,
    )  # fmt: skip


def test_note_on_without_velocity_ends_a_note():
    made = mido.MidiTrack(
        [
            mido.Message("note_on", note=60, velocity=70, time=0),
            mido.Message("note_on", note=60, velocity=0, time=TICKS),
            mido.Message("note_on", note=62, velocity=70, time=0),
            mido.Message("note_off", note=62, time=TICKS),
        ]
    )
    (part,) = read_midi(song(made)).parts
    assert [(n.onset, n.end, n.pitch) for n in part.notes] == [(0, 1, 60), (1, 2, 62)]


def test_a_line_on_the_grid_is_written_as_it_is():
    page = midi_page(song(track(LINE)))
    assert heard(page) == [(on, p) for on, _, p in LINE]
    lengths = [n.duration_beats for n in read_passage(page.abc, "abc").notes]
    assert lengths == pytest.approx([float(length) for _, length, _ in LINE], abs=1e-6)
    assert "Every onset lay on the grid." in page.said


def test_what_was_moved_is_said():
    late = [(on + Fraction(1, 60), length, p) for on, length, p in LINE[:3]] + LINE[3:]
    page = midi_page(song(track(late)))  # a sixtieth of a quarter at 120: 8 ms
    assert heard(page) == [(on, p) for on, _, p in LINE]
    assert page.quantised.moved == pytest.approx(3 / len(LINE))
    assert page.quantised.worst_ms == pytest.approx(8, abs=1)
    assert "18% of the onsets were moved onto the grid, by 8 ms on average" in page.said[1]


def test_the_grid_is_the_players_choice():
    without = midi_page(song(track(LINE)), choice=ImportChoice(threes=False))
    assert all(on.denominator in (1, 2, 4) for on, _ in heard(without))
    coarse = midi_page(
        song(track(in_a_row(*["1/2"] * 8))), choice=ImportChoice(finest="quarters", threes=False)
    )
    assert len(heard(coarse)) == 8  # no note is lost: what does not fit goes to the next place
    assert "sixteenths" in midi_page(song(track(LINE))).said[0]


def test_the_beat_key_and_metre_are_the_players_choice():
    notes = in_a_row(*["1/2"] * 8)  # played at 120, but really quarters at 240
    page = midi_page(song(track(notes)), choice=ImportChoice(bpm=240, key="A", metre=(3, 4)))
    passage = read_passage(page.abc, "abc")
    assert [n.duration_beats for n in passage.notes] == [1] * 8
    assert (passage.bars[0].metre, passage.bars[0].key_fifths) == ((3, 4), 3)


def test_a_pick_up_and_a_new_metre():
    notes = in_a_row("1", *["1"] * 3, *["1"] * 4)
    metas = (
        mido.MetaMessage("time_signature", numerator=3, denominator=4),
        mido.MetaMessage("time_signature", numerator=4, denominator=4, time=4 * TICKS),
    )
    conductor = mido.MidiTrack(metas)
    page = midi_page(song(conductor, track(notes)), choice=ImportChoice(pick_up=1.0))
    bars = read_passage(page.abc, "abc").bars
    assert [(b.label, b.length_beats, b.metre) for b in bars] == [
        ("0", 1, (3, 4)), ("1", 3, (3, 4)), ("2", 4, (4, 4)),
    ]  # fmt: skip


def test_notes_that_begin_together_are_a_chord():
    early = Fraction(CHORD_S / 2).limit_denominator(100)  # a spread chord, in quarters at 60
    notes = [(0, 1, 60), (early, 1, 64), (1, 1, 62), (1, 1, 65)]
    data = song(track(notes, mido.MetaMessage("set_tempo", tempo=1_000_000)))
    assert heard(midi_page(data)) == [(0, 60), (0, 64), (1, 62), (1, 65)]


def test_two_hands_in_one_part_are_refused_and_one_part_can_be_chosen():
    held = [(0, 4, 48), *in_a_row(*["1/2"] * 8)]
    with pytest.raises(PassageError, match="several voices sound in this part"):
        midi_page(song(track(held * 1 + [(4, 4, 50), *[(4 + o, d, p) for o, d, p in held[1:]]])))
    two = song(track(LINE, name="Right"), track([(0, 4, 48)], name="Left"))
    with pytest.raises(PassageError, match=r"2 parts: 1 Right, 2 Left"):
        midi_page(two)
    assert heard(midi_page(two, choice=ImportChoice(part=2))) == [(0, 48)]
    with pytest.raises(PassageError, match="there is no part 3"):
        midi_page(two, choice=ImportChoice(part=3))


def test_percussion_is_left_out():
    data = song(track([(0, 1, 36)], channel=9), track(LINE, name="Line"))
    assert [p.name for p in read_midi(data).parts] == ["Line"]
    with pytest.raises(PassageError, match="no notes in this MIDI file"):
        read_midi(song(track([(0, 1, 36)], channel=9)))


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"MThd", "damaged or breaks off"),
        (song(track(LINE))[:60], "damaged or breaks off"),
        (b"MThd" + b"\x00" * 30, "cannot be read"),
    ],
)
def test_broken_files_are_refused_with_a_reason(data, sentence):
    with pytest.raises(PassageError, match=sentence):
        read_midi(data, "a.mid")


def test_the_file_goes_along_with_its_page():
    data = song(track(LINE))
    assert kept_midi(midi_page(data).abc) == data
    assert kept_midi("X:1\nK:C\nC|\n") is None
    assert kept_midi("%%coldtake-midi !!!\n") is None


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 40), st.integers(1, 900), st.integers(40, 90)),
        min_size=1,
        max_size=40,
    ),
    st.sampled_from(["quarters", "eighths", "sixteenths", "thirty-seconds"]),
    st.booleans(),
)
def test_whatever_is_played_no_note_is_lost_and_every_bar_is_full(steps, finest, threes):
    at, notes = 0, []
    for wait, length, pitch in steps:  # in hundredths of a quarter; one voice
        notes.append((Fraction(at, 100), Fraction(length, 100), pitch))
        at += length + wait
    page = midi_page(song(track(notes)), choice=ImportChoice(finest=finest, threes=threes))
    passage = read_passage(page.abc, "abc")
    assert len({n.onset_beats for n in passage.notes}) == len(page.quantised.chords)
    assert {n.pitch for n in passage.notes} == {p for _, _, p in notes}
    assert all(abs(b.length_beats - 4) < 1e-6 for b in passage.bars)


def test_profiles_of_keys():
    """Krumhansl and Kessler 1982, as typed by music21's authors."""
    finder = KrumhanslKessler()
    assert (list(MAJOR), list(MINOR)) == (finder.getWeights("major"), finder.getWeights("minor"))


@pytest.mark.parametrize("name", ["C", "Eb", "F#", "A minor", "G minor", "C# minor"])
def test_a_scale_and_its_triad_tell_the_key(name):
    key = read_key(name)
    tones = [(t.pitch_class, 1.0) for t in key.tones]
    triad = [(key.tones[i].pitch_class, 2.0) for i in (0, 2, 4)]
    found = likely_key(tones + triad)
    assert (found.tonic.pitch_class, found.mode) == (key.tonic.pitch_class, key.mode)


def test_spelling_in_a_key():
    assert [str(spelled(p, C_MAJOR)) for p in range(60, 72)] == (
        ["C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "G♯", "A", "B♭", "B"]
    )
    assert str(spelled(70, read_key("E"))) == "A♯"
    assert str(spelled(68, read_key("Eb"))) == "A♭"

"""Takes of a keyboard: exact keys through the same judge, chords and two hands included."""

import io

import mido
import numpy as np
import pytest

from coldtake.domain.criterion import Criterion, NotesTest, TimingTest, TuneTest, default_criterion
from coldtake.domain.take import Answer, NoteStatus
from coldtake.errors import SoundError
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_judge import judge_keys
from coldtake.listening.keyboard.midi_performance import is_keys, read_keys
from coldtake.listening.keyboard.midi_take import keys_of, keys_to_flac, with_keys
from coldtake.listening.sources.sound import read_sound
from coldtake.music.notation.reading.reader import read_passage

# Invented: a melody over broken and struck chords, a chord struck three times, a written rest.
ABC = (
    "X:1\nM:4/4\nL:1/4\nQ:1/4=100\nK:C\n"
    "[CEG] [CEG] [CEG] G|[FAc] c [EGc] z|[DGB] [DGB] A/2G/2F/2E/2|[CEGc]4|]\n"
)
BPM = 100.0
NOTES = default_criterion()


@pytest.fixture(scope="module")
def passage():
    return read_passage(ABC, "abc")


def played(passage, seed=3, spread_ms=18.0, jitter_ms=8.0, bpm=BPM):
    """(onset, length, pitch) of every note: chords spread as hands spread them."""
    rng = np.random.default_rng(seed)
    beat = 60.0 / bpm
    events = {n.onset_beats: rng.normal(0.0, jitter_ms / 1e3) for n in passage.notes}
    return [
        (
            0.4
            + n.onset_beats * beat
            + events[n.onset_beats]
            + abs(rng.normal(0, spread_ms / 1e3)),
            0.8 * n.duration_beats * beat,
            n.pitch,
        )
        for n in passage.notes
    ]


def smf(notes, velocity=80) -> bytes:
    """A Standard MIDI File written by mido: tenths of a millisecond."""
    file = mido.MidiFile(ticks_per_beat=10_000)
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
    events = [(t, "note_on", p) for t, _, p in notes] + [
        (t + d, "note_off", p) for t, d, p in notes
    ]
    now = 0
    for time, kind, pitch in sorted(events):
        tick = round(time * 10_000)
        track.append(mido.Message(kind, note=pitch, velocity=velocity, time=tick - now))
        now = tick
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def judged(notes, passage, criterion=NOTES, **more):
    return judge_keys(read_keys(smf(notes)), JudgingRequest(passage, criterion, **more))


def faults(verdict):
    return sorted((n.status.value, n.expected_pitch) for n in verdict.notes if n.status != "right")


@pytest.mark.parametrize("seed", range(6))
def test_chords_and_line_played_right_are_yes(passage, seed):
    verdict = judged(played(passage, seed), passage, default_criterion(BPM))
    assert verdict.answer is Answer.YES, verdict.reason
    assert faults(verdict) == []
    assert verdict.tempo_bpm == pytest.approx(BPM, rel=0.02)


def test_each_key_of_the_passage_played_wrong_is_exactly_that_note(passage):
    for k, note in enumerate(passage.notes):
        for move in (-1, 2):
            notes = played(passage)
            notes[k] = (*notes[k][:2], notes[k][2] + move)
            if any(
                n.pitch == notes[k][2] and n.onset_beats == note.onset_beats for n in passage.notes
            ):
                continue
            verdict = judged(notes, passage)
            assert faults(verdict) == [("wrong", note.pitch)], f"{note.name} of bar {note.bar}"
            assert verdict.answer is Answer.NO
            assert [n.id for n in verdict.notes if n.status == "wrong"] == [note.id]


def test_each_key_left_out_is_missed(passage):
    for k, note in enumerate(passage.notes):
        notes = played(passage)
        del notes[k]
        assert faults(judged(notes, passage)) == [("missed", note.pitch)], f"{note.name} {note.bar}"


def test_a_key_too_many_is_extra(passage):
    for at in (1.05, 2.2, 4.0):
        notes = [*played(passage), (at, 0.1, 78)]
        assert faults(judged(notes, passage)) == [("extra", None)] or at == 4.0
        assert judged(notes, passage).answer is Answer.NO


def test_one_of_three_equal_chords_left_out_is_told_by_its_time(passage):
    second = [k for k, n in enumerate(passage.notes) if n.onset_beats == 1.0]
    notes = [n for k, n in enumerate(played(passage)) if k not in second]
    verdict = judged(notes, passage)
    missed = {n.expected_beat for n in verdict.notes if n.status is NoteStatus.MISSED}
    assert missed == {1.0}


def test_a_hand_that_comes_late_is_late_and_not_wrong(passage):
    notes = played(passage)
    low = next(k for k, n in enumerate(passage.notes) if n.onset_beats == 4.0)
    notes[low] = (notes[low][0] + 0.15, *notes[low][1:])
    verdict = judged(notes, passage)
    assert faults(verdict) == []
    assert verdict.notes[low].deviation_ms > 90


def test_going_back_is_a_restart(passage):
    notes = played(passage)
    half = [n for n, p in zip(notes, passage.notes, strict=True) if p.onset_beats < 6.0]
    again = [(t + 4.6, d, p) for t, d, p in notes]
    verdict = judged([*half, *again], passage)
    assert len(verdict.restarts) == 1
    assert verdict.answer is Answer.NO
    assert faults(verdict) == []


def test_what_midi_does_not_carry_is_not_told(passage):
    tune = judged(played(passage), passage, Criterion(tests=(NotesTest(), TuneTest())))
    assert tune.answer is Answer.CANNOT_TELL
    assert [t.passed for t in tune.tests] == [True, None]
    assert tune.tuning_cents is None
    timing = judged(played(passage), passage, Criterion(tests=(TimingTest(),)), click_bpm=BPM)
    assert "your own tempo" in timing.tests[0].words
    assert timing.answer is Answer.YES


def test_another_passage_cannot_be_told(passage):
    notes = [(t, d, p + 6) for t, d, p in played(passage)]
    assert judged(notes, passage).answer is Answer.CANNOT_TELL


def test_messages_as_the_standard_writes_them():
    # Standard MIDI Files 1.0: running status, velocity 0 for "off", tempo of 500 000 us
    track = bytes.fromhex(
        "00ff5103 07a120 00903c40 8360 3c00 00 4040 8360 4000 00ff2f00".replace(" ", "")
    )
    head = b"MThd" + bytes.fromhex("00000006 0000 0001 01e0".replace(" ", ""))
    data = head + b"MTrk" + len(track).to_bytes(4, "big") + track
    keys = read_keys(data)
    assert [(p.pitch, p.onset_s, p.offset_s) for p in keys.presses] == [
        (60, 0.0, 0.5),
        (64, 0.5, 1.0),
    ]


@pytest.mark.parametrize("cut", [0, 3, 10, 14, 20, 40])
def test_a_damaged_file_is_refused_in_words(passage, cut):
    with pytest.raises(SoundError, match=r"MIDI file|no key"):
        read_keys(smf(played(passage))[:cut])


def test_one_file_holds_the_sound_and_the_performance(passage, tmp_path):
    midi = smf(played(passage))
    flac, duration_s, rate = keys_to_flac(midi)
    assert keys_of(flac) == midi
    assert is_keys(keys_of(flac))
    sound = read_sound(flac)
    assert sound.duration_s == pytest.approx(duration_s)
    assert sound.rate == rate
    assert np.abs(sound.samples).max() > 0.05
    assert keys_of(with_keys(flac, midi)[:30]) is None
    plain, _ = flac[:4], flac
    assert keys_of(plain) is None


TWO_VOICES = (  # invented: the voices meet on one key at three places, once within a chord
    "X:1\nM:4/4\nL:1/4\nQ:1/4=100\nK:C\n%%score (A B)\nV:A\nV:B\n"
    "[V:A] c d e f|g e c2|]\n[V:B] c B, e F|G [Ce] c2|]\n"
)


def test_voices_that_meet_on_one_key_are_played_by_one_press():
    passage = read_passage(TWO_VOICES, "abc")
    pressed = {(n.onset_beats, n.pitch): n for n in passage.notes}
    assert len(pressed) == len(passage.notes) - 4
    keys = [(0.4 + n.onset_beats * 0.6, 0.4 * n.duration_beats, n.pitch) for n in pressed.values()]
    verdict = judged(keys, passage)
    assert (verdict.answer, faults(verdict)) == (Answer.YES, [])
    without = [k for k in keys if k[2] != 76]  # the E that both have, twice
    assert faults(judged(without, passage)) == [("missed", 76)] * 4


def test_a_transposing_player_is_told_both_names_as_they_are_read():
    """A B-flat clarinet reads D5, and plays a sounding B4, which it reads as D♭5 plus a tone."""
    abc = "X:1\nM:4/4\nL:1/4\nQ:1/4=100\nK:D transpose=-2\nd e f g|a g f e|d4|]\n"
    passage = read_passage(abc, "abc")
    assert passage.transposition == -2
    assert passage.notes[0].name == "D5"
    keys = [(0.4 + n.onset_beats * 0.6, 0.4, n.pitch - (k == 4)) for k, n in
            enumerate(passage.notes)]  # fmt: skip
    keys.append((0.4 + 4.5 * 0.6, 0.1, 60))
    words = [n.words for n in judged(keys, passage).notes if n.words]
    assert words == ["A5 was played as A♭5", "an extra D4"]


REPEATS = (  # invented: first and second ending, then a da capo
    "X:1\nM:3/4\nL:1/4\nQ:1/4=120\nK:G\n"
    "|: G A B | c B A |1 d c B | A2 z :|2 d B A | G3 || e e d | c B A | B c A | d3 |]\n"
)


def in_bars(passage, *gone):
    """(onset, length, pitch) of the notes played when some bars, by index, are left out."""
    keys, at = [], 0.4
    for bar in passage.bars:
        own = [n for n in passage.notes if n.bar_index == bar.index]
        if bar.index not in gone:
            keys += [(at + 0.5 * (n.onset_beats - bar.onset_beats), 0.4, n.pitch) for n in own]
            at += 0.5 * bar.length_beats
    return keys


@pytest.fixture
def judged_file(tmp_path):
    from coldtake.listening.dispatch import judge_take

    def judge(keys, passage, criterion=NOTES):
        path = tmp_path / "take.mid"
        path.write_bytes(smf(keys))
        return judge_take(path, JudgingRequest(passage, criterion))

    return judge


def test_a_repeat_that_is_not_taken_is_no_fault(judged_file):
    passage = read_passage(REPEATS, "abc")
    verdict = judged_file(in_bars(passage, 0, 1, 2, 3), passage)
    assert verdict.answer is Answer.YES, verdict.reason
    assert verdict.rendition.left_out_bars == (0, 1, 2, 3)
    assert "Repeats were left out (4 bars)." in verdict.reason
    whole = judged_file(in_bars(passage), passage)
    assert (whole.answer, whole.rendition) == (Answer.YES, None)


def test_with_the_repeat_left_out_a_wrong_note_is_still_wrong(judged_file):
    passage = read_passage(REPEATS, "abc")
    keys = in_bars(passage, 0, 1, 2, 3)
    keys[7] = (*keys[7][:2], keys[7][2] + 1)
    verdict = judged_file(keys, passage)
    assert verdict.answer is Answer.NO
    assert [n.status for n in verdict.notes if n.status != "right"] == ["wrong"]


def test_breaking_off_is_not_leaving_out(judged_file):
    passage = read_passage(REPEATS, "abc")
    verdict = judged_file(in_bars(passage, 8, 9, 10, 11), passage)
    assert (verdict.answer, verdict.rendition) == (Answer.NO, None)


@pytest.mark.parametrize("semitones", [12, -12])
def test_another_octave_is_said_and_accepted_and_another_key_is_not(judged_file, semitones):
    passage = read_passage(REPEATS, "abc")
    keys = [(t, d, p + semitones) for t, d, p in in_bars(passage)]
    verdict = judged_file(keys, passage)
    assert verdict.answer is Answer.YES, verdict.reason
    assert verdict.rendition.semitones == semitones
    third = judged_file([(t, d, p + 4) for t, d, p in in_bars(passage)], passage)
    assert (third.answer, third.rendition) == (Answer.CANNOT_TELL, None)


TWO_STAVES = (  # invented
    "X:1\nM:4/4\nL:1/4\nQ:1/4=100\n%%score {1 | 2}\nK:F\n"
    "V:1\n[Ac]BAG|FGAB|cBAG|F4|]\nV:2 clef=bass\nF,2C,2|D,2B,,2|C,2C,2|F,4|]\n"
)


@pytest.mark.parametrize(("staff", "semitones"), [(1, 12), (2, -12)])
def test_one_hand_an_octave_away_is_said_and_accepted(judged_file, staff, semitones):
    passage = read_passage(TWO_STAVES, "abc")
    assert {n.staff for n in passage.notes} == {1, 2}
    keys = [
        (0.4 + 0.6 * n.onset_beats, 0.5, n.pitch + semitones * (n.staff == staff))
        for n in passage.notes
    ]
    verdict = judged_file(keys, passage)
    assert verdict.answer is Answer.YES, verdict.reason
    assert (verdict.rendition.staff, verdict.rendition.semitones) == (staff, semitones)
    assert "staff was played an octave" in verdict.reason


def test_a_repeat_written_out_may_be_left_out_and_a_pattern_may_not(judged_file):
    tune = "G A B|c B A|d c B|A G F|"
    head = "X:1\nM:3/4\nL:1/4\nQ:1/4=120\nK:G\n"
    passage = read_passage(f"{head}{tune}{tune}B c d|G3|]\n", "abc")
    verdict = judged_file(in_bars(passage, 0, 1, 2, 3), passage)
    assert verdict.answer is Answer.YES, verdict.reason
    assert verdict.rendition.left_out_bars == (0, 1, 2, 3)
    drill = read_passage(f"{head}{'G A B|c B A|' * 4}G3|]\n", "abc")
    missing = judged_file(in_bars(drill, 2, 3), drill)
    assert (missing.answer, missing.rendition) == (Answer.NO, None)

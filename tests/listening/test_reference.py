"""A take against a reference take, without notation: a bank that no limit was chosen on."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from band import Played
from reference import SEEN, line_of, played
from reference import sounded as heard
from takes import BANK, HAVE_BANK, WHY_NOT, keys, sounded, tune

from coldtake.domain.criterion import Criterion, NoStopsTest, NotesTest, RhythmTest, TempoTest
from coldtake.domain.take import Answer, ClickTrack, NoteStatus
from coldtake.listening.alignment.performance_alignment import read_take
from coldtake.listening.features.audio_features import hear
from coldtake.listening.judging_request import JudgingRequest, ReferenceTake
from coldtake.listening.keyboard.midi_performance import MidiNote, MidiPerformance
from coldtake.listening.reference.judging import judge_against, why_unfit
from coldtake.listening.reference.reference_line import line_of_sound
from coldtake.listening.sources.sound import Sound
from coldtake.listening.verdict.evidence import gather
from coldtake.music.passage import NOTHING_WRITTEN

needs_bank = pytest.mark.skipif(not HAVE_BANK, reason=WHY_NOT)
CRITERION = Criterion(tests=(NotesTest(), NoStopsTest()))
REFERENCE = ReferenceTake("right", "")
SLOWER = 92.0  # the reference is played at 100


def asked(criterion=CRITERION, reference=REFERENCE) -> JudgingRequest:
    return JudgingRequest(NOTHING_WRITTEN, criterion, reference=reference)


@pytest.fixture(scope="module")
def right() -> Sound:
    return sounded("oboe", keys(tune()))


def slower() -> list[Played]:
    return keys(tune(), SLOWER, lead_s=0.9)


@needs_bank
def test_the_same_line_at_another_tempo_is_a_yes(right):
    verdict = judge_against(sounded("oboe", slower()), right, asked())
    assert verdict.answer is Answer.YES
    assert [n.expected_pitch for n in verdict.notes] == [n.pitch for n in tune().notes]
    told = verdict.reference
    assert told is not None
    assert told.take_id == "right"
    # The places in the reference's own recording are those at which its notes were played.
    at = [told.at_s(n.expected_beat) for n in verdict.notes]
    assert at == pytest.approx([k.start_s for k in keys(tune())], abs=0.06)


@needs_bank
@pytest.mark.parametrize("fault", ["wrong", "missed", "added", "stop"])
def test_a_fault_is_found_where_it_is(right, fault):
    notes = slower()
    if fault == "wrong":
        notes[6] = replace(notes[6], key=notes[6].key + 1)
    elif fault == "missed":
        del notes[6]
    elif fault == "added":
        long, middle = notes[10], 0.5 * (notes[10].start_s + notes[10].end_s)
        notes[10] = replace(long, end_s=middle)
        notes.insert(11, replace(long, start_s=middle, key=long.key + 2))
    else:
        notes[6:] = [replace(n, start_s=n.start_s + 1.5, end_s=n.end_s + 1.5) for n in notes[6:]]
    verdict = judge_against(sounded("oboe", notes), right, asked())
    assert verdict.answer is Answer.NO
    faults = [n for n in verdict.notes if n.status is not NoteStatus.RIGHT]
    if fault == "stop":
        assert not faults
        assert [s.note_id for s in verdict.stumbles] == ["note-7"]
    elif fault == "added":
        assert [round(n.pitch) for n in faults] == [69]
    else:
        assert [n.id for n in faults] == ["note-7"]


@needs_bank
def test_going_back_that_took_no_time_is_not_believed():
    """A ringing string struck again was heard as going back to the note before."""
    seed, banjo = 93_000 + 31 * 105 + 2, next(i for i in SEEN if i.name == "banjo")
    rng = np.random.default_rng(seed)
    line = line_of(seed, banjo)
    keys, _ = played(line, "equal", rng, 1.0)
    reference = heard(BANK, banjo.program, keys, rng, 0)
    keys, _ = played(line, "equal", rng, rng.uniform(0.9, 1.1))
    take = heard(BANK, banjo.program, keys, rng, 2)  # with noise
    known = line_of_sound(reference, REFERENCE)
    hearing = hear(take)
    assert gather(hearing, known.passage, read_take(hearing, known.passage)).restarts
    assert judge_against(take, reference, asked()).answer is not Answer.NO


@needs_bank
def test_what_needs_notation_says_that_it_cannot_be_told(right):
    """No bar and no beat: of the tempo nothing is said, unless a click made the beat."""
    both = Criterion(tests=(NotesTest(), RhythmTest(), TempoTest(mark=100, within_percent=15)))
    take = sounded("oboe", slower())
    plain = judge_against(take, right, asked(both))
    assert plain.answer is Answer.CANNOT_TELL
    tempo = next(f for f in plain.tests if f.name == "tempo")
    assert not tempo.measured
    assert plain.tempo_bpm is None
    assert plain.tempo_curve == ()
    assert "without a click" in tempo.words
    rhythm = next(f for f in plain.tests if f.name == "rhythm")
    assert rhythm.passed
    assert rhythm.words.endswith("of those of the reference take")
    clicked = ReferenceTake("right", "", ClickTrack(first_s=-1.9, every_s=0.6, music_s=0.5))
    told = judge_against(take, right, asked(both, clicked))
    assert told.answer is Answer.YES
    assert told.tempo_bpm == pytest.approx(SLOWER, rel=0.01)


@needs_bank
def test_other_music_and_several_sounds_are_not_compared(right):
    chords = [replace(k, key=k.key + up) for k in keys(tune()) for up in (0, 4, 7)]
    band = sounded("piano", chords)
    assert judge_against(band, right, asked()).answer is Answer.CANNOT_TELL
    why, remedy = why_unfit(band, REFERENCE) or ("", "")
    assert why.startswith("The reference take cannot be used: ")
    assert "another take" in remedy
    assert why_unfit(right, REFERENCE) is None
    upside_down = [replace(k, key=143 - k.key) for k in slower()]
    other = judge_against(sounded("oboe", upside_down), right, asked())
    assert other.answer is Answer.CANNOT_TELL
    assert "other music" in other.reason


def chords_on_keys(factor: float, *, wrong: bool = False) -> MidiPerformance:
    """Two voices pressed a few milliseconds apart."""
    scatter = np.random.default_rng(3).uniform(0.0, 0.015, 24).tolist()
    presses = []
    for k, (low, high) in enumerate([(48, 64), (50, 65), (52, 67), (53, 69), (48, 64), (55, 71)]):
        for voice, pitch in enumerate((low, high)):
            at = factor * 0.5 * k + scatter[2 * k + voice]
            presses.append(MidiNote(at, at + 0.4 * factor, pitch + (wrong and k == 3), 80))
    return MidiPerformance(tuple(sorted(presses, key=lambda p: (p.onset_s, p.pitch))), 4.0)


def test_keys_are_compared_with_keys_in_several_voices():
    right = chords_on_keys(1.0)
    assert judge_against(chords_on_keys(1.1), right, asked()).answer is Answer.YES
    verdict = judge_against(chords_on_keys(0.9, wrong=True), right, asked())
    assert verdict.answer is Answer.NO
    wrong = [n.expected_pitch for n in verdict.notes if n.status is NoteStatus.WRONG]
    assert wrong == [53, 69]


def test_notes_pressed_together_are_one_chord():
    assert why_unfit(MidiPerformance(chords_on_keys(1.0).presses[:2], 1.0), REFERENCE) is not None
    verdict = judge_against(chords_on_keys(1.0), chords_on_keys(1.0), asked())
    beats = [n.expected_beat for n in verdict.notes]
    assert [a == b for a, b in pairwise(beats)] == [True, False] * 5 + [True]

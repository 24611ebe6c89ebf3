"""A rhythm alone: claps, drums, muted strings, bursts of noise; not the bank tuned on."""

import numpy as np
import pytest
from band import RATE
from passages import passage_of
from rhythms import play
from takes import BANK, HAVE_BANK, WHY_NOT

from coldtake.domain.criterion import (
    Criterion,
    EvennessTest,
    NoStopsTest,
    NotesTest,
    RhythmTest,
    TempoTest,
)
from coldtake.domain.take import Answer, NoteStatus
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_performance import MidiNote, MidiPerformance
from coldtake.listening.rhythm.judging import judge_rhythm, judge_rhythm_keys
from coldtake.listening.rhythm.matching import match
from coldtake.listening.rhythm.strokes import find_strokes
from coldtake.listening.sources.sound import Sound

needs_bank = pytest.mark.skipif(not HAVE_BANK, reason=WHY_NOT)
# Two bars of an invented rhythm, twice: quarters, eighths, a dotted figure, a rest, sixteenths.
RHYTHM = passage_of(
    [
        (60, 1.0), (60, 0.5), (60, 0.5), (60, 0.75), (60, 0.25), (60, 1.0),
        (None, 0.5), (60, 0.5), (60, 0.25), (60, 0.25), (60, 0.5), (60, 2.0),
    ] * 2 + [(60, 1.0)],
    bpm=92.0,
)  # fmt: skip
ASKED = Criterion(tests=(NotesTest(), RhythmTest(), NoStopsTest()), rhythm_only=True)


def judged(samples: np.ndarray, criterion: Criterion = ASKED, passage=RHYTHM):
    sound = Sound(samples.astype(np.float32), RATE)
    return judge_rhythm(sound, JudgingRequest(passage, criterion, tempo_bpm=92.0))


def faults(verdict) -> list[tuple[str, str]]:
    return [(n.id, n.status.value) for n in verdict.notes if n.status is not NoteStatus.RIGHT]


@needs_bank
@pytest.mark.parametrize("maker", ["clap", "kick and snare", "stick", "burst"])
def test_a_rhythm_played_right_is_yes(maker):
    take = play(BANK, maker, 3, passage=RHYTHM)
    verdict = judged(take.sound)
    assert faults(verdict) == []
    assert verdict.answer is Answer.YES, verdict.reason
    off = [n.onset_s - t for n, t in zip(verdict.notes, take.onsets_s, strict=True)]
    assert np.abs(off).max() < 0.004


@needs_bank
@pytest.mark.parametrize("fault", ["missed", "extra", "out of place"])
def test_a_fault_is_no_and_is_found_where_it_is(fault):
    take = play(BANK, "clap", 4, passage=RHYTHM, faults=(fault,))
    verdict = judged(take.sound)
    assert verdict.answer is Answer.NO
    if fault == "missed":
        gone = take.onsets_s.index(None)
        assert (f"n{gone}", "missed") in faults(verdict)
    elif fault == "extra":
        (extra,) = [n for n in verdict.notes if n.status is NoteStatus.EXTRA]
        assert extra.onset_s == pytest.approx(take.extras_s[0], abs=0.005)
    else:
        assert {i for i, _ in faults(verdict)} & {f"n{k}" for k in take.displaced} or any(
            n.status is NoteStatus.EXTRA for n in verdict.notes
        )


@needs_bank
def test_swing_is_measured():
    eighths = passage_of([(60, 0.5)] * 32 + [(60, 1.0)], bpm=110.0)
    for ratio in (1.0, 2.0):
        take = play(BANK, "stick", 6, passage=eighths, swing=ratio)
        test = RhythmTest(swing=2.0, share_percent=60.0)
        verdict = judged(take.sound, Criterion(tests=(test,), rhythm_only=True), eighths)
        (swing,) = [f for f in verdict.tests if f.name == "swing"]
        assert swing.value == pytest.approx(ratio, abs=max(0.15 * ratio, swing.uncertainty))
        assert verdict.answer is not (Answer.YES if ratio == 1.0 else Answer.NO)


@needs_bank
def test_another_rhythm_is_never_yes():
    other = passage_of([(60, 1.5), (60, 0.5), (60, 1 / 3), (60, 1 / 3), (60, 1 / 3)] * 5, bpm=92.0)
    take = play(BANK, "clap", 5, passage=other)
    assert judged(take.sound).answer is not Answer.YES


def test_silence_and_noise_are_never_yes():
    rng = np.random.default_rng(2)
    hum = 0.2 * np.sin(2 * np.pi * 100.0 * np.arange(8 * RATE) / RATE)
    for samples in (np.zeros(8 * RATE), rng.normal(0, 0.1, 8 * RATE), hum):
        verdict = judged(samples)
        assert verdict.answer is Answer.CANNOT_TELL
        assert verdict.remedy


def bursts(times, level=0.4) -> np.ndarray:
    """Noise that dies away, from exactly these moments on."""
    rng, out = np.random.default_rng(1), np.zeros(round((max(times) + 1.0) * RATE))
    decay = np.exp(-np.arange(RATE // 5) / (0.02 * RATE))
    for t in times:
        out[round(t * RATE) :][: len(decay)] += level * rng.normal(0, 0.3, len(decay)) * decay
    return out


def test_strokes_are_where_they_were_made():
    times = [0.4, 0.9, 1.02, 1.6, 2.3]
    found = find_strokes(Sound(bursts(times).astype(np.float32), RATE)).strokes
    assert [s.time_s for s in found] == pytest.approx(times, abs=0.003)
    assert all(s.sure for s in found)


def test_lengths_are_compared_with_the_written_ones():
    """Worked by hand: eight quarters at 120, three of them pushed to 0.25 beats early."""
    beats = [float(b) for b in range(9)]
    passage = passage_of([(60, 1.0)] * 9, bpm=120.0)
    times = [0.5 + 0.5 * b for b in beats]
    even = Criterion(tests=(RhythmTest(tolerance_percent=10), EvennessTest()), rhythm_only=True)
    assert judged(bursts(times), even, passage).answer is Answer.YES
    uneven = [t - 0.125 * (k in (2, 5, 7)) for k, t in enumerate(times)]
    verdict = judged(bursts(uneven), even, passage)
    assert verdict.answer is Answer.NO
    assert verdict.tests[0].value == pytest.approx(100.0 * 2 / 8, abs=13.0)


def test_the_tempo_is_the_players_own():
    slow = [0.5 + n.onset_beats * 60.0 / 76.0 for n in RHYTHM.notes]
    wanted = Criterion(tests=(NotesTest(), TempoTest(mark=92, within_percent=5)), rhythm_only=True)
    verdict = judged(bursts(slow), wanted)
    assert verdict.answer is Answer.NO
    assert faults(verdict) == []
    assert verdict.tempo_bpm == pytest.approx(76.0, rel=0.01)


def test_pads_are_judged_alike():
    presses = tuple(
        MidiNote(0.5 + n.onset_beats * 60 / 92, 0.6 + n.onset_beats * 60 / 92, 38, 90)
        for n in RHYTHM.notes
    )
    asked = JudgingRequest(RHYTHM, ASKED, tempo_bpm=92.0)
    assert judge_rhythm_keys(MidiPerformance(presses, 20.0), asked).answer is Answer.YES
    fewer = (*presses[:5], *presses[6:])
    verdict = judge_rhythm_keys(MidiPerformance(fewer, 20.0), asked)
    assert faults(verdict) == [("n5", "missed")]


def test_matching_leaves_out_what_is_too_much():
    beats, times = [0.0, 1.0, 2.0, 3.0], [0.0, 0.5, 0.74, 1.0, 1.5]
    assert match(beats, times, [0.9] * 5, 120.0) == {0: 0, 1: 1, 2: 3, 3: 4}
    assert match([], times, [], 120.0) == {}


def test_a_swing_outside_its_room_is_told_by_the_ratio_itself():
    """3 to 2 is a quarter less than 2 to 1: outside 20 % of it, inside 30 %."""
    eighths = passage_of([(60, 0.5)] * 24 + [(60, 1.0)], bpm=110.0)
    long = 0.6 * 60.0 / 110.0
    times = [0.5 + (k // 2) * 60.0 / 110.0 + (k % 2) * long for k in range(25)]
    for room, passed in ((20.0, False), (30.0, True)):
        test = RhythmTest(swing=2.0, swing_within_percent=room, share_percent=0.0)
        verdict = judged(bursts(times), Criterion(tests=(test,), rhythm_only=True), eighths)
        (swing,) = [f for f in verdict.tests if f.name == "swing"]
        assert swing.value == pytest.approx(1.5, abs=0.03)
        assert swing.passed is passed


@pytest.mark.parametrize(("late", "status"), [(0.2, "right"), (0.38, "wrong")])
def test_a_stroke_far_from_its_place_is_another_rhythm(late, status):
    """Late by shares of the written eighth: late only, or beyond 30 % of it and the doubt there."""
    eighths = passage_of([(60, 0.5)] * 17, bpm=92.0)
    times = [0.5 + k * 30.0 / 92.0 for k in range(17)]
    times[8] += late * 30.0 / 92.0
    verdict = judged(bursts(times), passage=eighths)
    assert verdict.notes[8].status.value == status
    assert verdict.notes[8].displaced
    assert [i for i, _ in faults(verdict)] == ["n8"] * (status == "wrong")

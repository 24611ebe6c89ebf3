"""The verdict on takes of instruments that nobody here synthesised."""

from dataclasses import replace

import numpy as np
import pytest
from takes import BPM, HAVE_BANK, WHY_NOT, keys, other, sounded, tune

from coldtake.domain.criterion import (
    Criterion,
    NoStopsTest,
    NotesTest,
    TempoTest,
    default_criterion,
)
from coldtake.domain.take import Answer, NoteStatus
from coldtake.listening.engine import ENGINE
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.melody.judge import judge
from coldtake.listening.sources.sound import Sound

pytestmark = [
    pytest.mark.audio,
    pytest.mark.skipif(not HAVE_BANK, reason=WHY_NOT),
]
INSTRUMENTS = ("clarinet", "flute", "trumpet", "violin", "piano")
NOTES = default_criterion()


def faults(verdict):
    return [(n.id, n.status.value) for n in verdict.notes if n.status != NoteStatus.RIGHT]


def changed(notes, k, **fields):
    return [*notes[:k], replace(notes[k], **fields), *notes[k + 1 :]]


def later(notes, k, by):
    return [
        n if i < k else replace(n, start_s=n.start_s + by, end_s=n.end_s + by)
        for i, n in enumerate(notes)
    ]


@pytest.mark.parametrize("instrument", INSTRUMENTS)
def test_a_right_take_is_yes(instrument):
    verdict = judge(
        sounded(instrument, keys(tune())), JudgingRequest(tune(), default_criterion(BPM))
    )
    assert verdict.answer == Answer.YES, verdict.reason
    assert faults(verdict) == []
    assert [n.id for n in verdict.notes] == [n.id for n in tune().notes]
    assert verdict.tempo_bpm == pytest.approx(BPM, rel=0.02)
    assert all(t.passed for t in verdict.tests)
    assert verdict.engine == ENGINE


@pytest.mark.parametrize("instrument", INSTRUMENTS)
@pytest.mark.parametrize(("at", "move"), [(2, -1), (7, 2), (4, 12)])
def test_one_wrong_note_is_no_with_exactly_that_note_marked(instrument, at, move):
    notes = keys(tune())
    played = changed(notes, at, key=notes[at].key + move)
    verdict = judge(sounded(instrument, played), JudgingRequest(tune(), NOTES))
    assert verdict.answer == Answer.NO
    assert faults(verdict) == [(f"n{at}", "wrong")]
    assert round(verdict.notes[at].pitch) == notes[at].key + move


@pytest.mark.parametrize("instrument", INSTRUMENTS)
def test_the_same_take_against_another_passage_cannot_be_told(instrument):
    verdict = judge(sounded(instrument, keys(tune())), JudgingRequest(other(), NOTES))
    assert verdict.answer == Answer.CANNOT_TELL
    assert "another passage" in verdict.reason
    assert verdict.remedy


def test_a_missed_note_and_a_note_that_is_not_written():
    notes = keys(tune())
    missed = judge(sounded("clarinet", [*notes[:6], *notes[7:]]), JudgingRequest(tune(), NOTES))
    assert missed.answer == Answer.NO
    assert faults(missed) == [("n6", "missed")]
    # The long note is cut short, and another tone follows it.
    long = notes[10]
    middle = (long.start_s + long.end_s) / 2
    extra = replace(long, start_s=middle, key=long.key + 3)
    played = [*notes[:10], replace(long, end_s=middle - 0.05), extra, *notes[11:]]
    verdict = judge(sounded("clarinet", played), JudgingRequest(tune(), NOTES))
    assert verdict.answer == Answer.NO
    assert faults(verdict) == [("extra-1", "extra")]
    assert verdict.notes[-1].onset_s == pytest.approx(middle, abs=0.05)


def test_repeated_notes_are_counted():
    notes = keys(tune())
    joined = [*notes[:8], replace(notes[8], end_s=notes[9].end_s), *notes[10:]]
    verdict = judge(sounded("piano", joined), JudgingRequest(tune(), NOTES))
    assert faults(verdict) == [("n9", "missed")]


def test_a_wrong_start_that_is_put_right_is_a_restart():
    notes = keys(tune())
    start = [replace(n, key=n.key) for n in notes[:3]]
    played = [*start, *later(notes, 0, start[-1].end_s + 0.8 - notes[0].start_s)]
    verdict = judge(sounded("trumpet", played), JudgingRequest(tune(), NOTES))
    assert verdict.answer == Answer.NO
    assert faults(verdict) == []
    assert [r.to_beat for r in verdict.restarts] == [0.0]


def test_going_back_in_the_middle_is_found_where_it_happened():
    notes = keys(tune())
    back_to, stopped_after = 5, 8
    pause = notes[stopped_after].end_s + 0.9 - notes[back_to].start_s
    played = [*notes[: stopped_after + 1], *later(notes[back_to:], 0, pause)]
    verdict = judge(sounded("violin", played), JudgingRequest(tune(), NOTES))
    assert verdict.answer == Answer.NO
    assert faults(verdict) == []
    (restart,) = verdict.restarts
    assert restart.to_beat == tune().notes[back_to].onset_beats
    assert restart.at_s == pytest.approx(notes[back_to].start_s + pause, abs=0.06)


def test_another_tempo_is_measured_and_fails_the_tempo_test_only():
    verdict = judge(
        sounded("flute", keys(tune(), bpm=78.0)), JudgingRequest(tune(), default_criterion(BPM))
    )
    assert verdict.answer == Answer.NO
    assert faults(verdict) == []
    tempo = next(t for t in verdict.tests if t.name == "tempo")
    assert tempo.passed is False
    assert tempo.value == pytest.approx(78.0, rel=0.02)
    assert [t.name for t in verdict.tests if not t.passed] == ["tempo"]
    ranged = Criterion(tests=(TempoTest(mark=BPM, within_percent=10.0),))
    [tempo] = judge(sounded("flute", keys(tune(), bpm=78.0)), JudgingRequest(tune(), ranged)).tests
    assert (tempo.least, tempo.most) == pytest.approx((0.9 * BPM, 1.1 * BPM))


def test_a_tempo_at_the_mark_cannot_be_told_and_the_beat_unit_counts():
    sound = sounded("clarinet", keys(tune()))
    measured = judge(sound, JudgingRequest(tune(), NOTES)).tempo_bpm
    at_the_mark = Criterion(tests=(TempoTest(mark=measured / 2, beat_unit_beats=2.0),))
    well_below = Criterion(tests=(TempoTest(mark=measured / 2 * 0.95, beat_unit_beats=2.0),))
    assert judge(sound, JudgingRequest(tune(), at_the_mark)).answer in (
        Answer.CANNOT_TELL,
        Answer.YES,
    )
    assert judge(sound, JudgingRequest(tune(), well_below)).answer == Answer.YES


def test_a_hesitation_fails_no_stops_and_says_how_long():
    played = later(keys(tune()), 7, 1.5)
    verdict = judge(sounded("piano", played), JudgingRequest(tune(), NOTES))
    assert verdict.answer == Answer.NO
    stops = next(t for t in verdict.tests if t.name == "no_stops")
    assert stops.passed is False
    assert stops.value == pytest.approx(1.5 * BPM / 60.0, abs=0.3)
    alone = judge(sounded("piano", played), JudgingRequest(tune(), Criterion(tests=(NotesTest(),))))
    assert alone.answer == Answer.YES


def test_deviations_cents_and_their_marks():
    notes = keys(tune())
    played = changed(notes, 6, start_s=notes[6].start_s + 0.11)
    played = changed(played, 3, cents=-45.0)
    verdict = judge(sounded("clarinet", played), JudgingRequest(tune(), NOTES))
    assert faults(verdict) == []
    assert [n.id for n in verdict.notes if n.displaced] == ["n6"]
    assert verdict.notes[6].deviation_ms == pytest.approx(110.0, abs=30.0)
    assert "late" in verdict.notes[6].words
    assert [n.id for n in verdict.notes if n.mistuned] == ["n3"]
    assert verdict.notes[3].cents == pytest.approx(-45.0, abs=6.0)
    assert "flat" in verdict.notes[3].words


def test_the_takes_own_tuning_is_no_fault():
    sharp = [replace(n, cents=30.0) for n in keys(tune())]
    plain = judge(sounded("clarinet", keys(tune())), JudgingRequest(tune(), NOTES))
    verdict = judge(sounded("clarinet", sharp), JudgingRequest(tune(), NOTES))
    assert verdict.answer == Answer.YES
    assert verdict.tuning_cents - plain.tuning_cents == pytest.approx(30.0, abs=2.0)
    assert not any(n.mistuned for n in verdict.notes)


def test_an_abandoned_take_is_no_and_names_what_was_not_played():
    for count in (9, 6):
        verdict = judge(sounded("flute", keys(tune())[:count]), JudgingRequest(tune(), NOTES))
        assert verdict.answer == Answer.NO
        assert faults(verdict) == [(f"n{k}", "missed") for k in range(count, len(tune().notes))]


def test_starting_in_the_middle_misses_what_was_left_out():
    verdict = judge(
        sounded("clarinet", keys(tune(), lead_s=-2.5)[5:]), JudgingRequest(tune(), NOTES)
    )
    assert verdict.answer == Answer.NO
    assert faults(verdict) == [(f"n{k}", "missed") for k in range(5)]
    assert verdict.restarts == ()


def silence() -> np.ndarray:
    return np.zeros(5 * 44_100, np.float32)


def noise() -> np.ndarray:
    return np.random.default_rng(1).normal(0, 0.1, 5 * 44_100).astype(np.float32)


def clipped() -> np.ndarray:
    return np.clip(30.0 * sounded("trumpet", keys(tune())).samples, -1.0, 1.0)


def too_short() -> np.ndarray:
    return sounded("trumpet", keys(tune())).samples[:9_000]


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (silence, "silent"),
        (noise, "No clear tone"),
        (clipped, "clipped"),
        (too_short, "0.20 s long"),
    ],
)
def test_what_cannot_carry_the_question_is_said_with_a_remedy(make, words):
    verdict = judge(Sound(make(), 44_100), JudgingRequest(tune(), NOTES))
    assert verdict.answer == Answer.CANNOT_TELL
    assert words in verdict.reason
    assert verdict.remedy
    assert [t.passed for t in verdict.tests] == [None, None]


def test_the_same_take_gives_the_same_verdict():
    sound = sounded("violin", keys(tune()))
    assert judge(sound, JudgingRequest(tune(), NOTES)) == judge(
        sound, JudgingRequest(tune(), NOTES)
    )


def test_talking_before_the_start_is_no_fault():
    rng = np.random.default_rng(3)
    time = np.arange(int(1.2 * 44_100)) / 44_100
    glide = np.cumsum(110.0 + 40.0 * np.sin(2 * np.pi * 2.3 * time)) / 44_100
    buzz = sum(np.sin(2 * np.pi * k * glide) / k for k in range(1, 12))
    syllables = np.clip(np.sin(2 * np.pi * 3.1 * time), 0.0, None) * 0.05
    talk = (buzz * syllables + rng.normal(0, 1e-3, len(time))).astype(np.float32)
    gap = np.zeros(int(0.5 * 44_100), np.float32)
    take = sounded("clarinet", keys(tune())).samples
    verdict = judge(Sound(np.concatenate([talk, gap, take]), 44_100), JudgingRequest(tune(), NOTES))
    assert verdict.answer == Answer.YES, verdict.reason


def test_no_stops_needs_a_tempo_and_says_so():
    verdict = judge(
        sounded("flute", keys(tune())[:2]),
        JudgingRequest(tune(), Criterion(tests=(NoStopsTest(),))),
    )
    assert verdict.answer == Answer.CANNOT_TELL

"""Takes: sound on disk first, then the log; the tool's answer beside the player's."""

import io
import threading
from datetime import timedelta

import msgspec
import numpy as np
import pytest
import soundfile

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, NotesTest, OwnQuestionTest, TempoTest
from coldtake.domain.ids import named_id
from coldtake.domain.take import Answer, Judge, NewTake
from coldtake.domain.topic import Exercise, PassageRef, StepPhase
from coldtake.errors import NotFoundError, RuleError, SoundError
from coldtake.music.playback.sounding import schedule
from coldtake.music.playback.synth import render
from making import NOON, step

TAKE = named_id("take")
TWO = named_id("take two")


def as_wav(samples: np.ndarray, rate: int = 44100) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, samples, rate, format="WAV", subtype="PCM_16")
    return out.getvalue()


@pytest.fixture
def slow(services, air):
    """A step with the air as its passage; notes and tempo asked."""
    topic = services.pile.add("Air")
    stored = services.pile.keep_passage(air, "air.abc")
    made = step(
        criterion=Criterion(tests=(NotesTest(), TempoTest(mark=80))),
        exercise=Exercise(passage=PassageRef(passage_id=stored.id), tempo_bpm=88),
    )
    return services.pile.keep_step(msgspec.structs.replace(made, topic_id=topic.id))


@pytest.fixture
def right(services, slow) -> bytes:
    passage = services.pile.exercise_passage(slow)
    silence = np.zeros(22050, np.float32)
    return as_wav(np.concatenate([silence, render(schedule(passage, 88.0)), silence]))


@pytest.fixture
def wrong(services, slow) -> bytes:
    notes = schedule(services.pile.exercise_passage(slow), 88.0)
    from dataclasses import replace

    notes = (*notes[:2], replace(notes[2], pitch=notes[2].pitch + 1), *notes[3:])
    return as_wav(np.concatenate([np.zeros(22050, np.float32), render(notes)]))


def keep(services, sound: bytes, slow, take_id: str = TAKE, **more):
    fields = {"at": NOON + timedelta(minutes=5), **more}
    new = NewTake(step_id=slow.id, take_id=take_id, **fields)
    return services.takes.keep(sound, new, "take.wav")


def kinds(services) -> list[str]:
    return [type(e.data).__name__ for _, e in services.store.events()][3:]


def test_the_sound_is_kept_whole_as_flac(services, slow, right):
    take = keep(services, right, slow, click_bpm=88, source="file")
    kept, rate = soundfile.read(services.takes.sound(take.id), dtype="float32")
    given, _ = soundfile.read(io.BytesIO(right), dtype="float32")
    assert rate == take.sample_rate == 44100
    assert np.array_equal(kept, given)
    assert take.duration_s == pytest.approx(len(given) / 44100)
    assert (take.click_bpm, take.source, take.cold) == (88, "file", True)
    assert not services.takes.damaged(take.id)
    services.takes.sound(take.id).write_bytes(b"")
    assert services.takes.damaged(take.id)


def test_sending_a_take_twice_is_one_take(services, slow, right, open_again):
    first = keep(services, right, slow)
    assert keep(services, right, slow) == first == keep(open_again(), right, slow)
    assert kinds(services) == ["TakeRecorded"]


@pytest.mark.parametrize(
    ("sound", "words"),
    [
        (b"", "empty"),
        (b"this is not a sound\n", "text file"),
        (b"RIFF\x10\0\0\0WAVE", "before its sound begins"),
    ],
)
def test_what_is_no_sound_leaves_nothing(services, slow, tmp_path, sound, words):
    with pytest.raises(SoundError, match=words) as told:
        keep(services, sound, slow)
    assert told.value.remedy
    assert kinds(services) == []
    assert list((tmp_path / "takes").iterdir()) == []


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"at": NOON.replace(tzinfo=None)}, "has no zone"),
        ({"click_bpm": 0}, "click of 0 beats"),
        ({"click_bpm": float("nan")}, "click of nan beats"),
        ({"take_id": "../../x"}, "not the id of a take"),
    ],
)
def test_what_does_not_fit_the_log_leaves_nothing(services, slow, right, tmp_path, fields, words):
    with pytest.raises(RuleError, match=words):
        keep(services, right, slow, **fields)
    assert kinds(services) == []
    assert list((tmp_path / "takes").iterdir()) == []


def test_the_same_take_coming_in_twice_at_once(services, slow, right):
    threads = [threading.Thread(target=keep, args=(services, right, slow)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert kinds(services) == ["TakeRecorded"]
    assert not services.takes.damaged(TAKE)


def test_a_truncated_take_leaves_nothing(services, slow, right, tmp_path):
    with pytest.raises(SoundError):
        keep(services, right[: len(right) // 2], slow)
    assert list((tmp_path / "takes").iterdir()) == []


def test_a_right_take_is_yes_and_meets_the_step(services, slow, right):
    keep(services, right, slow)
    verdict = services.takes.judge(TAKE)
    assert (verdict.answer, verdict.reason) == (Answer.YES, verdict.reason)
    assert services.takes.get(TAKE).verdict == verdict
    attempt = services.state().tries[TAKE]
    assert (attempt.answer, attempt.judge, attempt.cold) == (Answer.YES, Judge.TOOL, True)
    assert attempt.at == services.takes.get(TAKE).at  # the take's own instant, not the verdict's
    assert attempt.tempo_bpm == pytest.approx(88, abs=1)
    assert services.state().phase(slow.id) is StepPhase.MET


def test_a_wrong_note_is_no_with_that_note(services, slow, wrong):
    keep(services, wrong, slow)
    verdict = services.takes.judge(TAKE)
    assert verdict.answer is Answer.NO
    assert [n.status for n in verdict.notes].count("wrong") == 1
    assert services.state().tries[TAKE].answer is Answer.NO


def test_judging_again_is_asked_for(services, slow, right):
    keep(services, right, slow)
    first = services.takes.judge(TAKE)
    before = kinds(services)
    assert services.takes.judge(TAKE) == first
    assert kinds(services) == before == ["TakeRecorded", "TakeJudged", "TryAnswered"]
    assert services.takes.rejudge(TAKE) == first  # the same file gives the same verdict
    assert kinds(services)[-2:] == ["TakeJudged", "TryAnswered"]
    assert len(services.state().tries) == 1


def test_a_verdict_that_comes_late_leaves_the_first_try_of_the_day_first(
    services, slow, right, wrong, clock
):
    """Take, answer, work - and only then the first take is judged."""
    keep(services, wrong, slow)
    later = NOON + timedelta(minutes=9)
    keep(services, right, slow, take_id=TWO, at=later)
    services.takes.judge(TWO)
    clock.go_on(hours=1)
    services.takes.judge(TAKE)
    tries = services.state().tries
    assert [(i, t.cold) for i, t in tries.items()] == [(TAKE, True), (TWO, False)]


def test_both_answers_are_kept_and_the_players_counts(services, slow, wrong, clock):
    keep(services, wrong, slow)
    services.takes.judge(TAKE)
    clock.go_on(minutes=6)
    services.append(
        ev.TryAnswered(
            try_id=TAKE, take_id=TAKE, step_id=slow.id, answer=Answer.YES, judge=Judge.PLAYER
        )
    )
    attempt = services.state().tries[TAKE]
    assert (attempt.answer, attempt.heard) == (Answer.YES, Answer.NO)
    services.takes.rejudge(TAKE)
    assert services.state().tries[TAKE] == attempt
    assert services.takes.get(TAKE).verdict.answer is Answer.NO


class TestQuestionsForThePlayer:
    def asks(self, services, slow, *tests):
        criterion = Criterion(tests=tests)
        return services.pile.keep_step(msgspec.structs.replace(slow, criterion=criterion))

    def test_a_heard_yes_is_not_yet_an_answer(self, services, slow, right):
        own = self.asks(services, slow, NotesTest(), OwnQuestionTest(question="Does it sing?"))
        keep(services, right, own)
        assert services.takes.judge(TAKE).answer is Answer.YES
        assert services.state().tries == {}

    def test_a_heard_no_is(self, services, slow, wrong):
        own = self.asks(services, slow, NotesTest(), OwnQuestionTest(question="Does it sing?"))
        keep(services, wrong, own)
        services.takes.judge(TAKE)
        assert services.state().tries[TAKE].answer is Answer.NO

    def test_only_the_players_own_question(self, services, slow, right):
        own = self.asks(services, slow, OwnQuestionTest(question="Does it sing?"))
        keep(services, right, own)
        verdict = services.takes.judge(TAKE)
        assert verdict.answer is Answer.CANNOT_TELL
        assert "Only you" in verdict.reason

    def test_an_earlier_no_of_the_tool_is_taken_back(self, services, slow, right):
        """First asked for too fast a tempo, later with a question for the player."""
        fast = self.asks(services, slow, NotesTest(), TempoTest(mark=140))
        keep(services, right, fast)
        services.takes.judge(TAKE)
        assert services.state().tries[TAKE].answer is Answer.NO
        self.asks(services, slow, NotesTest(), OwnQuestionTest(question="Does it sing?"))
        assert services.takes.rejudge(TAKE).answer is Answer.YES
        assert services.state().tries == {}


def test_a_step_without_a_passage_cannot_be_told(services, slow, right):
    bare = services.pile.keep_step(msgspec.structs.replace(slow, exercise=Exercise()))
    keep(services, right, bare)
    verdict = services.takes.judge(TAKE)
    assert verdict.answer is Answer.CANNOT_TELL
    assert "no notation" in verdict.reason
    assert verdict.remedy


def test_a_dropped_step_keeps_its_takes_but_is_not_judged(services, slow, right):
    services.pile.drop_step(slow.id)
    take = keep(services, right, slow)
    assert services.takes.sound(take.id).is_file()
    with pytest.raises(NotFoundError, match="step was not found"):
        services.takes.judge(TAKE)


def test_a_lost_sound_says_so(services, slow, right):
    keep(services, right, slow)
    services.takes.sound(TAKE).unlink()
    with pytest.raises(NotFoundError, match="recording of this take is missing"):
        services.takes.judge(TAKE)
    assert kinds(services) == ["TakeRecorded"]


def test_there_is_no_such_take(services):
    for act in (services.takes.get, services.takes.judge, services.takes.sound):
        with pytest.raises(NotFoundError, match="take was not found"):
            act("x")


def test_a_take_with_a_lost_moment_is_never_told_no(services, slow, right, wrong):
    """A hole sounds like a stop or a missed note; a yes needs every note and may stand."""
    for name, sound, expected in (
        ("whole", wrong, Answer.NO),
        ("gaps", wrong, Answer.CANNOT_TELL),
        ("gaps", right, Answer.YES),
    ):
        take_id = named_id("take", name, expected)
        keep(services, sound, slow, take_id, source=name)
        verdict = services.takes.judge(take_id)
        assert verdict.answer is expected
        assert verdict.notes

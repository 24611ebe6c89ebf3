"""A take whose judging failed is kept, says so for good, and is tried again - not for ever."""

import io
from types import SimpleNamespace

import msgspec
import numpy as np
import pytest
import soundfile

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.ids import named_id
from coldtake.domain.take import Answer, FirstTry, JudgingFault, NewTake
from coldtake.domain.topic import Exercise, PassageRef
from coldtake.errors import JudgingError, RuleError
from coldtake.listening import worker_client
from coldtake.listening.engine import ENGINE
from coldtake.music.playback.sounding import schedule
from coldtake.music.playback.synth import render
from coldtake.practice import rejudging
from coldtake.practice.sessions.unjudged import TRIES_MOST
from coldtake.subprocesses import Limits, WorkerClient
from making import step

TAKE = named_id("take")


@pytest.fixture
def made(services, air):
    topic = services.pile.add("Air")
    stored = services.pile.keep_passage(air, "air.abc")
    exercise = Exercise(passage=PassageRef(passage_id=stored.id), tempo_bpm=96)
    one = step(criterion=Criterion(tests=(NotesTest(),)), exercise=exercise)
    return services.pile.keep_step(msgspec.structs.replace(one, topic_id=topic.id))


@pytest.fixture
def kept(services, made):
    """The air, played right, recorded and not judged."""
    quiet = np.zeros(11025, np.float32)
    sound = render(schedule(services.pile.exercise_passage(made), 96.0), rate=22050)
    out = io.BytesIO()
    soundfile.write(out, np.concatenate([quiet, sound, quiet]), 22050, format="WAV")
    return services.takes.keep(out.getvalue(), NewTake(step_id=made.id, take_id=TAKE))


@pytest.fixture
def broken(monkeypatch):
    """A listener with a fault of its own."""

    def judge(*_, **__):
        raise TypeError("an inner fault")

    with monkeypatch.context() as patch:
        patch.setattr(worker_client, "judge", judge)
        yield patch


def fails(services) -> JudgingError:
    with pytest.raises(JudgingError, match="Judging this take failed") as told:
        services.takes.judge(TAKE)
    return told.value


def test_a_fault_is_in_the_log_and_the_take_is_kept(services, kept, broken, open_again):
    told = fails(services)
    assert "The recording is saved" in told.remedy
    assert isinstance(told.__cause__, TypeError)
    failed = open_again().takes.get(TAKE).failed  # another process knows it too
    assert (failed.engine, failed.why, failed.times) == (ENGINE, JudgingFault.FAULT, 1)
    assert services.takes.sound(TAKE).is_file()
    assert services.state().tries == {}
    why = services.takes.why_unjudged(services.takes.get(TAKE))
    assert (why.title, why.can_try) == ("Judging failed", True)
    assert "next start" in why.words


def test_tried_again_it_gets_its_answer(services, kept, broken):
    fails(services)
    broken.undo()
    assert services.takes.rejudge(TAKE).answer is Answer.YES
    take = services.takes.get(TAKE)
    assert (take.failed, take.verdict.answer) == (None, Answer.YES)
    assert services.state().tries[TAKE].cold
    assert services.takes.waiting() == ()


def test_at_the_next_start_it_is_tried_by_itself(services, kept, broken, open_again):
    fails(services)
    broken.undo()
    again = open_again()
    job = again.rejudging.resume()
    assert job.title == "Judging takes"
    again.jobs.wait(60)
    assert again.jobs.now().words == "1 take judged."
    assert services.takes.get(TAKE).verdict.answer is Answer.YES
    assert again.rejudging.resume() is None


def test_what_a_killed_program_left_is_judged_at_the_next_start(services, kept, open_again):
    assert services.takes.waiting() == (TAKE,)
    again = open_again()
    again.rejudging.resume()
    again.jobs.wait(60)
    assert services.takes.get(TAKE).verdict.answer is Answer.YES


def test_it_is_not_tried_for_ever(services, kept, broken, open_again, monkeypatch):
    fails(services)
    for _ in range(TRIES_MOST - 1):
        again = open_again()
        again.rejudging.resume()
        again.jobs.wait(60)
        assert again.jobs.now().words == "0 takes judged, 1 could not be judged."
    assert services.takes.get(TAKE).failed.times == TRIES_MOST
    assert open_again().rejudging.resume() is None
    why = services.takes.why_unjudged(services.takes.get(TAKE))
    assert why.can_try
    assert "only a new version tries again by itself" in why.words
    monkeypatch.setattr("coldtake.practice.sessions.takes.ENGINE", "line-99")  # that is one
    assert services.takes.waiting() == (TAKE,)
    fails(services)
    assert services.takes.get(TAKE).failed.times == 1


def test_one_that_fails_stops_no_other(services, made, kept, monkeypatch):
    other = services.takes.keep(services.takes.sound(TAKE).read_bytes(), NewTake(step_id=made.id))
    services.takes.sound(other.id).write_bytes(b"fLaC, once")
    done = rejudging.rejudge(services.takes, SimpleNamespace(step=lambda *_: True))
    assert (done.takes, done.failed) == (1, (other.id,))
    assert services.takes.get(TAKE).verdict.answer is Answer.YES
    failed = services.takes.get(other.id).failed
    assert failed.why is JudgingFault.SOUND
    assert "cannot be read" in services.takes.why_failed(services.takes.get(other.id))


@pytest.mark.parametrize(
    ("limits", "why"),
    [
        (Limits(seconds=0.05), JudgingFault.TIME),
        (Limits(memory_bytes=120_000_000), JudgingFault.MEMORY),
    ],
)
def test_a_limit_has_a_reason_of_its_own(services, kept, monkeypatch, limits, why):
    small = WorkerClient("coldtake.listening.dispatch", limits)
    monkeypatch.setattr(worker_client, "WORKER", small)
    if why is JudgingFault.TIME:  # a judging is given its own length beside the limit
        broken = msgspec.structs.replace(services.takes.get(TAKE), duration_s=0.0)
        monkeypatch.setattr(services.takes, "get", lambda _: broken)
    with pytest.raises(JudgingError):
        services.takes.rejudge(TAKE)
    small.stop()
    assert services.state().takes[TAKE].failed.why in (why, JudgingFault.END)


def test_an_earlier_verdict_stands(services, kept, broken):
    broken.undo()
    verdict = services.takes.judge(TAKE)
    broken.setattr(worker_client, "judge", lambda *_, **__: 1 / 0)
    with pytest.raises(JudgingError):
        services.takes.rejudge(TAKE)
    take = services.takes.get(TAKE)
    assert take.verdict == verdict
    assert "The earlier verdict stays" in services.takes.why_failed(take)
    assert services.takes.waiting() == ()


@pytest.mark.parametrize(
    ("fields", "title"),
    [
        ({"source": "interrupted"}, "Not judged"),
        ({"to_judge": False}, "Not judged"),
        ({}, "Not judged yet"),
    ],
)
def test_what_was_only_to_be_kept_waits_for_nothing(services, made, kept, fields, title):
    sound = services.takes.sound(TAKE).read_bytes()
    one = services.takes.keep(sound, NewTake(step_id=made.id, **fields))
    assert services.takes.why_unjudged(one).title == title
    assert (one.id in services.takes.waiting()) is (not fields)


def test_without_its_step_or_its_sound_there_is_nothing_to_judge(services, made, kept):
    services.takes.sound(TAKE).unlink()
    why = services.takes.why_unjudged(kept)
    assert ("missing" in why.words, why.can_try) == (True, False)
    services.pile.drop_step(made.id)
    why = services.takes.why_unjudged(kept)
    assert ("step was deleted" in why.words, why.can_try) == (True, False)
    assert services.takes.waiting() == ()


class TestFirstTry:
    def by_hand(self, services, made, kept, said, **more):
        sound = services.takes.sound(kept.id).read_bytes()
        first_try = services.takes.by_hand(made.id, said)
        take = services.takes.keep(sound, NewTake(step_id=made.id, first_try=first_try, **more))
        services.takes.judge(take.id)
        return services.takes.get(take.id)

    @pytest.fixture
    def kept(self, services, kept):
        """Its sound only: the recorded take is of another step."""
        services.append(
            ev.TakeRecorded(
                take_id=kept.id, step_id="none", duration_s=1.0, sample_rate=22050, sha256=""
            )
        )
        return kept

    def test_nothing_said_is_no_cold_take(self, services, made, kept):
        take = self.by_hand(services, made, kept, FirstTry.NOT_SAID)
        assert (take.cold, take.first_try) == (False, FirstTry.NOT_SAID)
        assert not services.state().tries[take.id].cold

    @pytest.mark.parametrize(("said", "cold"), [(FirstTry.YES, True), (FirstTry.NO, False)])
    def test_what_is_said_later_holds_for_the_try_too(self, services, made, kept, said, cold):
        take = self.by_hand(services, made, kept, FirstTry.NOT_SAID)
        assert services.takes.say_first_try(take.id, said).cold is cold
        assert services.state().tries[take.id].cold is cold
        services.takes.say_first_try(take.id, FirstTry.NO)  # said otherwise
        assert not services.state().tries[take.id].cold

    def test_a_day_has_one(self, services, made, kept):
        self.by_hand(services, made, kept, FirstTry.YES)
        with pytest.raises(RuleError, match="already saved"):
            self.by_hand(services, made, kept, FirstTry.YES)
        second = self.by_hand(services, made, kept, FirstTry.NOT_SAID)
        assert (second.cold, second.first_try) == (False, FirstTry.NO)
        with pytest.raises(RuleError, match="already saved"):
            services.takes.say_first_try(second.id, FirstTry.YES)

    def test_the_next_day_has_its_own(self, services, made, kept, clock):
        self.by_hand(services, made, kept, FirstTry.YES)
        clock.go_on(days=1)
        assert self.by_hand(services, made, kept, FirstTry.YES).cold

    def test_of_a_session_the_log_tells(self, services, made, kept):
        take = services.takes.keep(
            services.takes.sound(kept.id).read_bytes(), NewTake(step_id=made.id)
        )
        assert take.cold
        with pytest.raises(RuleError, match="belongs to a session"):
            services.takes.say_first_try(take.id, FirstTry.NO)

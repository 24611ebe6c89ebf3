"""Takes of an older listener are heard again, once each; what it said is kept."""

import io

import msgspec
import numpy as np
import pytest
import soundfile

from coldtake.domain import events as ev
from coldtake.domain.take import Answer, NewTake, Verdict
from coldtake.domain.topic import Exercise, PassageRef
from coldtake.listening.engine import ENGINE
from coldtake.ports import Cancelled
from coldtake.practice import rejudging
from coldtake.practice.jobs import Stage
from making import step


class Watch:
    """A progress that says no after so many takes."""

    def __init__(self, stop_at=None):
        self.told, self.stop_at = [], stop_at

    def step(self, done, total, words):
        self.told.append((done, total, words))
        return self.stop_at is None or done < 100 * self.stop_at


def silence() -> bytes:
    out = io.BytesIO()
    soundfile.write(out, np.zeros(22_050, np.float32), 44_100, format="WAV", subtype="PCM_16")
    return out.getvalue()


@pytest.fixture
def old(services, air):
    """Three takes of silence that an older engine called clean."""
    topic = services.pile.add("Air")
    stored = services.pile.keep_passage(air, "air.abc")
    made = step(exercise=Exercise(passage=PassageRef(passage_id=stored.id)))
    services.pile.keep_step(msgspec.structs.replace(made, topic_id=topic.id))
    takes = [services.takes.keep(silence(), NewTake(step_id=made.id)) for _ in range(3)]
    said = Verdict(
        answer=Answer.YES, reason="Clean.", tempo_bpm=90.0, tests=(), notes=(), engine="line-0"
    )
    for take in takes:
        services.append(ev.TakeJudged(take_id=take.id, verdict=said), at=take.at, day=take.day)
    return [take.id for take in takes]


def engines(services, ids):
    return [services.takes.get(i).verdict.engine for i in ids]


def test_all_old_takes_are_heard_again_and_the_old_word_is_kept(services, old):
    watch = Watch()
    done = rejudging.rejudge(services.takes, watch)
    assert (done.takes, set(done.changed), done.unheard) == (3, set(old), ())
    assert engines(services, old) == [ENGINE] * 3
    take = services.takes.get(old[0])
    assert [(e.engine, e.answer) for e in take.earlier] == [("line-0", Answer.YES)]
    assert take.verdict.answer is Answer.CANNOT_TELL
    assert services.takes.outdated() == ()
    assert watch.told[0] == (0, 300, "Take 1 of 3")


def test_stopped_it_goes_on_where_it_was(services, old):
    with pytest.raises(Cancelled):
        rejudging.rejudge(services.takes, Watch(stop_at=1))
    assert engines(services, old).count(ENGINE) == 1
    assert len(services.takes.outdated()) == 2
    assert rejudging.rejudge(services.takes, Watch()).takes == 2
    assert all(len(services.takes.get(i).earlier) == 1 for i in old)


def test_a_take_without_its_sound_keeps_its_verdict(services, old):
    services.takes.sound(old[1]).unlink()
    done = rejudging.rejudge(services.takes, Watch())
    assert [i for i, _ in done.unheard] == [old[1]]
    assert services.takes.get(old[1]).verdict.engine == "line-0"
    assert "1 could not be judged" in done.words


def test_the_end_of_the_program_is_gone_on_from(services, old):
    rejudging._note(services.store, open_=True)  # as a killed process leaves it
    job = services.rejudging.resume()
    assert job.running
    services.jobs.wait(60)
    assert services.jobs.now().stage is Stage.DONE
    assert engines(services, old) == [ENGINE] * 3
    assert services.rejudging.resume() is None


def test_what_was_stopped_on_purpose_is_not_gone_on_with(services, old, monkeypatch):
    def stopped(takes, progress):
        raise Cancelled

    monkeypatch.setattr(rejudging, "rejudge", stopped)
    services.rejudging.begin()
    services.jobs.wait(10)
    assert services.jobs.now().stage is Stage.STOPPED
    assert services.rejudging.resume() is None


def test_what_was_judged_between_the_look_and_the_start_is_no_fault(services, old, monkeypatch):
    """The thread that resumes at a start died of it, beside a player who pressed the button."""
    rejudging._note(services.store, open_=True)
    outdated = services.takes.outdated
    answers = [outdated(), []]
    monkeypatch.setattr(services.takes, "outdated", lambda: answers.pop(0))
    monkeypatch.setattr(services.takes, "waiting", lambda **_: [])
    assert services.rejudging.resume() is None

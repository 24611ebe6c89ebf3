"""Every take that is uploaded gets its answer: two hundred, for every listener, rendered here."""

import msgspec
import pytest
from desk import Desk, TestClient, words

import every_take
from coldtake.bootstrap import open_services
from coldtake.domain.take import Verdict
from coldtake.domain.topic import Exercise, PassageRef
from coldtake.web.app import create_app
from making import SteppingClock

pytestmark = [
    pytest.mark.audio,
    pytest.mark.long,
    pytest.mark.skipif(not every_take.HAVE_BANK, reason="fluid-soundfont-gm is not installed"),
]
PAGES_EVERY = 12  # so often the take's page is looked at too: it is dearer than the verdict


@pytest.fixture(scope="module")
def services(tmp_path_factory):
    opened = open_services(tmp_path_factory.mktemp("takes"), clock=SteppingClock())
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def client(services):
    with TestClient(create_app(services), base_url="http://localhost") as one:
        yield one


def a_step(services, topic, take):
    stored = services.pile.keep_passage(take.abc.encode(), "take.abc")
    exercise = Exercise(passage=PassageRef(passage_id=stored.id), tempo_bpm=take.bpm)
    return Desk(services).step(topic, take.name, exercise=exercise, criterion=take.criterion)


def sent(client, services, step, take) -> str:
    """Upload it by the step page's form; with a click as the session page does. Return its id."""
    if take.click is None:
        sound = {"sound": (take.file, take.data)}
        reply = client.post(
            f"/steps/{step.id}/takes", files=sound, data={"cold": "yes"}, follow_redirects=False
        )
        assert reply.status_code == 303, (take.name, words(reply.text))
        return reply.headers["location"].rpartition("/")[2]
    take_id, track = services.log.new_id(), msgspec.json.encode(take.click).decode()
    query = {"step_id": step.id, "click": track, "cold": "yes"}
    reply = client.put(f"/api/takes/{take_id}", params=query, content=take.data)
    assert reply.status_code == 200, (take.name, reply.text)
    assert reply.json()["failed"] is None
    return take_id


@pytest.mark.parametrize("kind", every_take.COUNTS)
def test_every_take_gets_its_answer(client, services, kind):
    topic = services.pile.add(kind)
    wrong, count = [], 0
    for take in every_take.takes(kind):
        step = a_step(services, topic, take)
        take_id = sent(client, services, step, take)
        kept = services.takes.get(take_id)
        assert kept.failed is None, take.name
        verdict = kept.verdict
        assert msgspec.json.decode(msgspec.json.encode(verdict), type=Verdict) == verdict
        assert verdict.reason
        if verdict.answer not in take.may:
            wrong.append((take.name, verdict.answer.value, verdict.reason))
        if count % PAGES_EVERY == 0:
            assert client.get(f"/takes/{take_id}").status_code == 200, take.name
        count += 1
    assert wrong == []
    assert services.takes.waiting() == ()
    assert count == every_take.COUNTS[kind]


def test_they_are_two_hundred():
    assert sum(every_take.COUNTS.values()) >= 200

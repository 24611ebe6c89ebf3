"""A step without notation: one take is called right, and the others are compared with it."""

import io
import json
import re
from html import unescape

import mido
import pytest
from desk import fault_of, words

from coldtake.domain.criterion import Criterion, OwnQuestionTest, default_criterion
from coldtake.domain.take import Answer, NewTake

LINE = (60, 64, 62, 65, 67, 64, 60)


def played(notes=LINE, *, beat_ticks=240) -> bytes:
    file, track = mido.MidiFile(), mido.MidiTrack()
    file.tracks.append(track)
    for pitch in notes:
        track.append(mido.Message("note_on", note=pitch, velocity=80, time=beat_ticks // 8))
        track.append(mido.Message("note_off", note=pitch, time=beat_ticks * 7 // 8))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


@pytest.fixture
def step(desk):
    return desk.step(desk.topic("Riff"), "The riff")


def upload(client, step, data: bytes) -> str:
    sound = {"sound": ("take.mid", data)}
    answer = client.post(f"/steps/{step.id}/takes", files=sound, data={"cold": "no"})
    return str(answer.url).rsplit("/", 1)[-1]


@pytest.fixture
def right(client, step) -> str:
    take = upload(client, step, played())
    page = client.post(f"/takes/{take}/reference").text
    assert "compared with this one" in words(page)
    return take


def test_later_takes_are_compared_with_the_take_that_was_called_right(
    client, services, step, right
):
    same = services.takes.get(upload(client, step, played(beat_ticks=260)))
    assert same.verdict.answer is Answer.YES
    assert same.verdict.reference.take_id == right
    other = upload(client, step, played((60, 64, 62, 66, 67, 64, 60)))
    page = client.get(f"/takes/{other}").text
    assert "F4 was played as F♯4" in words(page)
    assert f"/takes/compare?a={right}&amp;b={other}" in page
    assert "in the reference" in words(page)
    step_page = words(client.get(f"/steps/{step.id}").text)
    assert "Takes are compared with the reference take of" in step_page
    # The reference itself is not compared with itself.
    services.takes.rejudge(right)
    assert "This is the reference take" in words(client.get(f"/takes/{right}").text)


def test_the_session_records_takes_of_such_a_step_for_a_verdict(client, services, step, right):
    running = client.post("/api/session/start", json={}).json()
    assert running["steps"][step.id]["heard"] is True
    query = {"step_id": step.id, "source": "midi"}
    sent = client.put(f"/api/takes/{services.new_id()}", params=query, content=played())
    assert sent.json()["verdict"]["answer"] == "yes"


def test_both_sounds_are_heard_at_the_place_that_differs(client, step, right):
    other = upload(client, step, played((60, 64, 62, 66, 67, 64, 60), beat_ticks=260))
    for a, b, first in ((right, other, 0), (other, right, 1)):
        page = client.get(f"/takes/compare?a={a}&b={b}").text
        assert "One of them is the reference take of the other." in words(page)
        places = {
            unescape(label): json.loads(unescape(at))
            for at, label in re.findall(r'data-at="([^"]+)"><[^>]+>[^<]*</span>([^<]+)', page)
        }
        at = places["0.8 s, F4, wrong"]
        # Note 4 begins after three beats: at 480 ticks and 120 a minute, 240 ticks are 0.25 s.
        assert at[first] == pytest.approx(3 * 0.25 + 240 / 8 / 960, abs=0.01)
        assert at[1 - first] == pytest.approx((3 * (32 + 227) + 32) / 960, abs=0.01)


def test_the_reference_can_be_replaced_and_removed(client, services, step, right):
    new = upload(client, step, played((60, 64, 62, 66, 67, 64, 60)))
    client.post(f"/takes/{new}/reference")
    assert services.state().references == {step.id: new}
    page = client.post(f"/steps/{step.id}/no-reference").text
    assert "Open a take that is right" in words(page)
    last = services.takes.get(upload(client, step, played()))
    assert last.verdict.answer is Answer.CANNOT_TELL
    assert "use a take as its reference" in last.verdict.remedy
    # What was judged against the first one stays, and still says against which.
    assert services.takes.get(new).verdict.reference.take_id == right


def test_a_reference_without_its_recording_leaves_a_take_to_the_player(
    client, services, step, right
):
    services.takes.sound(right).unlink()
    take = services.takes.get(upload(client, step, played()))
    assert take.verdict.answer is Answer.CANNOT_TELL
    assert "recording of the reference take is missing" in take.verdict.reason


def test_only_a_take_that_can_be_compared_becomes_the_reference(client, services, desk, step):
    few = upload(client, step, played((60, 62)))
    answer = client.post(f"/takes/{few}/reference")
    assert answer.status_code == 422
    assert "only 2 keys were pressed" in fault_of(answer)
    own = desk.step(desk.topic(), criterion=Criterion(tests=(OwnQuestionTest(question="Sings?"),)))
    written = desk.step(desk.topic(), passage=True)
    rhythm = desk.step(desk.topic(), criterion=default_criterion(rhythm_only=True))
    for other in (own, written, rhythm):
        take = services.takes.keep(played(), NewTake(step_id=other.id), "take.mid")
        assert "Use as reference" not in client.get(f"/takes/{take.id}").text
        assert client.post(f"/takes/{take.id}/reference").status_code == 422
    assert not services.state().references


def test_notation_outranks_the_reference_and_deleting_the_step_ends_it(
    client, services, step, right
):
    assert services.state().reference_of(step).id == right
    client.post(f"/steps/{step.id}/passage", data={"abc": "X:1\nK:C\nCEDF GEC2|\n"})
    state = services.state()
    assert state.reference_of(state.steps[step.id]) is None
    assert "Remove reference" not in client.get(f"/takes/{right}").text
    client.post(f"/steps/{step.id}/drop")
    assert not services.state().references

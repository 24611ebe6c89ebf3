"""What a session page with a wrong clock sends: acknowledged, shown, given its day or deleted."""

import io
from datetime import UTC, datetime

import numpy as np
import pytest
import soundfile
from desk import words

from coldtake.domain.ids import named_id

NEVER_SET = datetime(1970, 1, 1, 0, 31, tzinfo=UTC)
BEYOND = ("1970-01-01T00:31:00Z", "2200-05-05T17:00:00+02:00", "9999-12-31T23:59:59.999999Z")
PAGES = (
    "/",
    "/tomorrow",
    "/session",
    "/progress",
    "/outlook",
    "/performances",
    "/settings",
    "/data",
)


def answer(step, at: str, day: str) -> dict:
    data = {"kind": "try_answered", "try_id": f"t{at}", "step_id": step.id, "answer": "yes"}
    return {"id": named_id(at), "at": at, "day": day, "data": {**data, "judge": "player"}}


def wav() -> bytes:
    sound = io.BytesIO()
    soundfile.write(sound, np.zeros(4000), 8000, format="WAV")
    return sound.getvalue()


@pytest.fixture
def step(desk):
    return desk.step(desk.topic())


@pytest.mark.parametrize("day", ["the clock's", "the session's"])
@pytest.mark.parametrize("at", BEYOND)
def test_events_of_a_wrong_clock_are_acknowledged_and_shown(client, services, step, at, day):
    sent = answer(step, at, at[:10] if day == "the clock's" else "2027-01-12")
    for _ in range(2):
        reply = client.post("/api/events", json=[sent]).json()
        assert (reply["kept"], reply["refused"]) == ([sent["id"]], [])
        assert [one["id"] for one in reply["waiting"]] == [sent["id"]]
    for path in PAGES:
        assert client.get(path).status_code == 200, path
    page = words(client.get("/data").text)
    assert "Entries with a wrong date" in page
    assert at[:4] in page
    for path in ("/", "/tomorrow"):
        assert "An entry has a wrong date and cannot count yet." in words(client.get(path).text)
    group = services.misdated.groups()[0].id
    client.post("/data/misdated", data={"group": group, "day": "2027-01-12"})
    assert "Entries with a wrong date" not in words(client.get("/data").text)
    [tried] = services.state().tries.values()
    assert tried.day.isoformat() == "2027-01-12"
    told = client.get("/api/session").json()
    assert told["settled"] == [sent["id"]]
    for path in PAGES:
        assert client.get(path).status_code == 200, path


@pytest.mark.parametrize("at", BEYOND)
@pytest.mark.parametrize("day", ["the clock's", "the session's", "9999-12-31", None])
def test_a_take_of_a_wrong_clock_is_kept(client, services, step, at, day):
    shown = {"the clock's": at[:10], "the session's": "2027-01-12"}.get(day, day)
    query = {"step_id": step.id, "at": at} | ({"day": shown} if shown else {})
    reply = client.put(f"/api/takes/{named_id('take')}", params=query, content=wav())
    assert reply.status_code == 200
    assert (reply.json()["waiting"], reply.json()["verdict"]) == (True, None)
    assert "Takes: 1" in words(client.get("/data").text)
    assert services.care.check().sound


def test_a_day_without_an_instant_is_checked_too(client, services, step):
    query = {"step_id": step.id, "day": "9999-12-31"}
    reply = client.put(f"/api/takes/{named_id('take')}", params=query, content=wav())
    assert reply.json()["waiting"] is True
    assert services.state().takes == {}


def test_what_cannot_be_given_is_refused_in_words(client, services, step):
    client.post("/api/events", json=[answer(step, BEYOND[0], "1970-01-01")])
    group = services.misdated.groups()[0].id
    for day, why in (("soon", "not a date"), ("2200-01-01", "cannot be"), ("0001-01-01", "be")):
        reply = client.post("/data/misdated", data={"group": group, "day": day})
        assert reply.status_code == 422
        assert why in words(reply.text)
    gone = client.post("/data/misdated", data={"group": "none", "day": "2027-01-12"})
    assert gone.status_code == 404
    assert client.post("/data/misdated/delete", data={"group": group}).status_code == 200
    assert services.misdated.groups() == ()


def test_no_page_is_broken_by_a_date_that_somebody_enters(client, services, desk):
    topic = desk.topic()
    far = {"9999-12-31", "0001-01-01", "2200-01-01", "2037-06-01"}
    for day in far:
        for path, fields in (
            (f"/topics/{topic.id}", {"title": "x", "performance_on": day, "importance": "3"}),
            ("/performances", {"title": "x", "on": day}),
            ("/tomorrow", {"day": day, "minutes": "60", "starts_at": "17:00"}),
        ):
            reply = client.post(path, data=fields)
            assert reply.status_code == 422, (path, day)
        assert client.post("/api/session/start", json={"day": day}).status_code == 422
        for path in (
            f"/tomorrow?day={day}",
            f"/tomorrow.ics?day={day}",
            f"/what-if?free_from={day}&free_days=3",
            f"/what-if?date_of={topic.id}&date={day}",
        ):
            assert client.get(path).status_code in (404, 422), path
    assert services.state().performances == {}
    assert services.pile.topic(topic.id).performance_on is None


def test_a_log_that_was_taken_away_is_told_on_every_page_and_to_the_session(
    client, services, step, tmp_path
):
    sent = answer(step, services.now().isoformat(), "2027-01-12")
    (tmp_path / "data").rename(tmp_path / "moved")
    reply = client.post("/api/events", json=[sent])
    assert reply.status_code == 503
    assert "removed or replaced" in reply.json()["error"]["what"]
    taken = client.put(f"/api/takes/{named_id('take')}", params={"step_id": step.id}, content=wav())
    assert taken.status_code == 503
    for path in PAGES:
        shown = client.get(path)
        assert path == "/session" or "removed or replaced" in words(shown.text), path
    (tmp_path / "moved").rename(tmp_path / "data")
    assert client.post("/api/events", json=[sent]).json()["kept"] == [sent["id"]]
    assert "removed or replaced" not in words(client.get("/").text)


def test_what_could_not_be_read_is_shown_with_its_reason(client):
    """It was kept and exported before, but no page told of it."""
    assert "could not be read" not in client.get("/data").text
    reply = client.post("/api/events", json=[{"id": "x", "data": {"kind": "dance"}}]).json()
    [why] = [told["why"] for told in reply["refused"]]
    page = words(client.get("/data").text)
    assert "Entries that could not be read" in page
    assert why in page
    client.post("/api/events", json=[{"id": "x", "data": {"kind": "<b>dance</b>"}}])
    assert "&lt;b&gt;dance" in client.get("/data").text

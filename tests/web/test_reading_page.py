"""While a long log is read, pages say how far it has come; then they say what the log says."""

import threading
import time

import pytest
from desk import TestClient, words

from coldtake.domain.history.projection import fold
from coldtake.practice.state.state_projection import StateProjection
from coldtake.web import opening
from coldtake.web.app import create_app


class HeldUp:
    """A log that is read to its middle, and on when the test says so."""

    def __init__(self, store, monkeypatch):
        self.go_on = threading.Event()
        self.halfway = threading.Event()
        history = store.history

        def slow():
            told = list(history())
            for number, row in enumerate(told):
                if number == len(told) // 2:
                    self.halfway.set()
                    assert self.go_on.wait(60)
                yield row

        monkeypatch.setattr(store, "history", slow)
        monkeypatch.setattr("coldtake.practice.state.state_projection.TOLD_EVERY", 1)
        monkeypatch.setattr(opening, "LONG", 5)


@pytest.fixture
def cold(desk, services, clock, monkeypatch):
    """A fresh start on a log whose state nobody has shelved, held up in its middle."""
    from coldtake.practice.services import House

    desk.laid_out()
    again = House(services.store, services.take_files, clock)
    again.held = HeldUp(services.store, monkeypatch)
    with TestClient(create_app(again), base_url="http://localhost") as client:
        assert again.held.halfway.wait(60)
        yield client, again
        again.held.go_on.set()


def test_pages_come_at_once_and_say_how_far_it_is(cold):
    client, services = cold
    total = services.store.last_sequence()
    for path in ("/", "/outlook", "/progress", "/tomorrow"):
        answer = client.get(path)
        assert answer.status_code == 200
        assert f"{total // 2 - 1} of {total} entries read" in words(answer.text)
        assert answer.headers["cache-control"] == "no-store"
    assert "entries read" in client.get("/reading", headers={"HX-Request": "true"}).text
    assert client.get("/static/css/base.css").status_code == 200


def test_what_is_no_page_waits_and_the_page_then_opens(cold):
    client, services = cold
    answers = []
    asking = threading.Thread(target=lambda: answers.append(client.get("/api/session")))
    asking.start()
    time.sleep(0.05)
    assert answers == []
    services.held.go_on.set()
    asking.join(60)
    assert "day" in answers[0].json()
    assert services.log.ready
    ended = client.get("/reading", headers={"HX-Request": "true"})
    assert ended.headers["hx-refresh"] == "true"
    assert "Scales" in client.get("/").text
    assert client.get("/reading", follow_redirects=False).headers["location"] == "/"
    assert services.state() == fold(e for _, e in services.store.events())


def test_a_short_log_is_never_announced(desk, services, client):
    desk.laid_out()
    assert "entries read" not in client.get("/").text


def test_how_far_a_reading_is_ends_with_it_also_where_it_fails(services, desk, monkeypatch):
    desk.laid_out()
    memory = StateProjection(services.store)

    def broken():
        raise OSError("the disk")
        yield

    monkeypatch.setattr(services.store, "history", broken)
    with pytest.raises(OSError, match="the disk"):
        memory.begin()
    assert memory.reading is None

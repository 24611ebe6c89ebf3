"""A take whose judging failed: said on each page where it appears, and tried again by a button."""

import json
import re
import shutil
import time

import pytest
from desk import TestClient, words
from test_take_page import played, send

from coldtake.bootstrap import open_services
from coldtake.domain.criterion import ConditionsTest, Criterion, NotesTest
from coldtake.domain.take import Answer
from coldtake.listening import worker_client
from coldtake.web.app import create_app

TAKE = "01890a5d-ac96-774b-bcce-b302099a8058"


@pytest.fixture
def step(desk):
    return desk.step(desk.topic(), passage=True)


@pytest.fixture
def broken(monkeypatch):
    def judge(*_, **__):
        raise RuntimeError("a worker broke:\nTypeError: an inner fault")

    with monkeypatch.context() as patch:
        patch.setattr(worker_client, "judge", judge)
        yield patch


def put(client, step, **query):
    path = f"/api/takes/{TAKE}"
    return client.put(path, params={"step_id": step.id, **query}, content=played())


def pressed(page, words_on_it) -> str:
    """The address to which the form with this button goes."""
    forms = re.findall(
        r'<form(?: class="acts")? method="post" action="([^"]+)"[^>]*>\s*<button[^>]*>([^<]+)', page
    )
    (address,) = [a for a, on_it in forms if on_it == words_on_it]
    return address


def test_every_page_says_it_and_the_button_tries_again(client, services, step, broken):
    page = send(client, step, played())
    assert page.status_code == 200
    (take,) = services.state().takes.values()
    listed = client.get(f"/steps/{step.id}")
    for one in (page, client.get(f"/takes/{take.id}"), listed):
        said = words(one.text)
        assert "Judging failed" in said
        assert "Judging failed because of an internal error. The recording is saved." in said
        assert "not judged yet" not in said.lower()
    assert "1 take has no verdict yet" in words(client.get("/long-work").text)
    again = client.post(pressed(page.text, "Try again"))
    assert "Judging failed" in words(again.text)
    assert services.takes.get(take.id).failed.times == 2
    broken.undo()
    page = client.post(pressed(listed.text, "Try again"))
    assert services.takes.get(take.id).verdict.answer is Answer.YES
    assert "Judging failed" not in words(page.text)
    assert "Judging failed" not in words(client.get(f"/steps/{step.id}").text)


def test_the_session_page_is_told_and_asks_again(client, services, step, broken):
    reply = put(client, step).json()
    assert reply["verdict"] is None
    assert reply["failed"]["what"] == "Judging this take failed."
    assert "The recording is saved" in reply["failed"]["remedy"]
    broken.undo()
    again = client.post(f"/takes/{TAKE}/listen", headers={"Accept": "application/json"})
    assert again.json()["verdict"]["answer"] == "yes"
    assert again.json()["failed"] is None
    assert again.json()["take"] == reply["take"]


def test_judging_again_that_fails_leaves_the_verdict(client, services, step, broken):
    broken.undo()
    send(client, step, played())
    (take,) = services.state().takes.values()
    broken.setattr(worker_client, "judge", lambda *_, **__: 1 / 0)
    said = words(client.post(f"/takes/{take.id}/listen").text)
    assert "Judging it again failed. Judging failed because" in said
    assert "The earlier verdict stays." in said
    assert "Yes" in said


def test_a_step_that_was_deleted_meanwhile_loses_no_take(client, services, step):
    services.pile.drop_step(step.id)
    reply = put(client, step)
    assert reply.status_code == 200
    assert "step was not found" in reply.json()["failed"]["what"]
    assert services.takes.sound(TAKE).is_file()
    assert "nothing to compare it with" in words(client.get(f"/takes/{TAKE}").text)


def test_the_next_start_of_the_program_judges_it(services, step, broken, clock, tmp_path):
    with TestClient(create_app(services), base_url="http://localhost") as client:
        send(client, step, played())
    (take,) = services.state().takes.values()
    assert services.takes.get(take.id).failed
    broken.undo()
    clock.go_on(minutes=1)
    shutil.copytree(tmp_path / "data", tmp_path / "again")
    again = open_services(tmp_path / "again", clock=clock)
    try:
        with TestClient(create_app(again), base_url="http://localhost") as client:
            client.get("/settings")
            until = time.monotonic() + 90.0
            while again.takes.get(take.id).verdict is None and time.monotonic() < until:
                time.sleep(0.05)
            assert again.takes.get(take.id).verdict.answer is Answer.YES
    finally:
        again.close()


class TestFirstTryOfTheDay:
    def test_the_form_asks_and_fills_in_nothing(self, client, step):
        page = client.get(f"/steps/{step.id}").text
        asked = re.findall(r'<input type="radio"[^>]*name="cold"[^>]*>', page)
        assert len(asked) == 2
        assert all("required" in one and "checked" not in one for one in asked)

    def test_unanswered_it_is_kept_and_asked_on_its_page(self, client, services, step):
        page = client.post(f"/steps/{step.id}/takes", files={"sound": ("a.wav", played())})
        (take,) = services.state().takes.values()
        assert not take.cold
        assert "first try of the day: not said" in words(page.text)
        assert "first try of the day: not said" in words(client.get(f"/steps/{step.id}").text)
        page = client.post(f"/takes/{take.id}/answer", data={"cold": "yes"})
        assert "a cold take" in words(page.text)
        assert services.state().takes[take.id].cold
        assert services.state().tries[take.id].answer is Answer.YES  # nothing else was answered

    def test_the_second_of_a_day_is_not_asked(self, client, services, step):
        send(client, step, played())
        page = client.get(f"/steps/{step.id}")
        assert 'name="cold"' not in page.text
        assert "first try is already saved" in words(page.text)
        refused = send(client, step, played(), cold="yes")
        assert refused.status_code == 422
        assert "already saved" in words(refused.text)
        client.post(f"/steps/{step.id}/takes", files={"sound": ("a.wav", played())})
        assert sorted(t.cold for t in services.state().takes.values()) == [False, True]

    @pytest.mark.parametrize(("said", "cold"), [("yes", True), ("no", False), ("", None)])
    def test_the_interface_asks_too(self, client, services, step, said, cold):
        reply = put(client, step, cold=said, judge="no").json()
        assert reply["take"]["cold"] is cold
        assert services.state().takes[TAKE].cold is bool(cold)

    def test_what_is_no_answer(self, client, services, step):
        assert send(client, step, played(), cold="perhaps").status_code == 422
        reply = put(client, step, cold="perhaps")
        assert reply.status_code == 422
        assert "cold" in json.dumps(reply.json()["error"])
        assert services.state().takes == {}


def test_what_only_the_player_can_say_is_named_and_waited_for(client, services, desk):
    tests = (NotesTest(), ConditionsTest(stated=("from memory",)))
    step = desk.step(desk.topic(), passage=True, criterion=Criterion(tests=tests))
    page = send(client, step, played())
    said = words(page.text)
    assert "Your answer is needed" in said
    assert "Only you can answer: from memory." in said
    (take,) = services.state().takes.values()
    assert services.state().tries == {}
    said = words(client.post(f"/takes/{take.id}/answer", data={"answer": "yes"}).text)
    assert "Your answer is needed" not in said
    assert "You answered: yes" in said

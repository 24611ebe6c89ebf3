"""Long work shows itself on every page, can be stopped, and leaves the pages usable."""

import io
import re
import threading
import zipfile

import numpy as np
import pytest
import soundfile
from desk import words

from coldtake.domain import events as ev
from coldtake.domain.take import Answer, NewTake, Verdict
from coldtake.listening.engine import ENGINE
from coldtake.ports import Cancelled


@pytest.fixture
def held(services):
    """A job that has done a quarter and waits."""
    go_on, begun = threading.Event(), threading.Event()

    def work(progress):
        progress.step(1, 4, "Take 1 of 4")
        begun.set()
        go_on.wait(20)
        if not progress.step(2, 4, "Take 2 of 4"):
            raise Cancelled
        return "4 takes heard again."

    services.jobs.start("rejudge", "Judging again", work)
    begun.wait(20)
    yield go_on
    go_on.set()
    services.jobs.wait(20)


def strip(page) -> str:
    found = re.search(r'<aside id="work".*?</aside>', page.text, re.DOTALL)
    return words(found[0]) if found else ""


def test_a_page_without_long_work_says_nothing_of_it(client):
    assert strip(client.get("/settings")) == ""


@pytest.mark.parametrize("path", ["/", "/settings", "/long-work", "/nowhere"])
def test_every_page_tells_of_it(client, held, path):
    page = client.get(path)
    assert "Judging again Take 1 of 4" in strip(page)
    assert 'value="0.2500"' in page.text
    assert "style=" not in page.text


def test_the_strip_follows_and_says_what_came_of_it(client, services, held):
    part = client.get("/long-work/now", headers={"HX-Request": "true"})
    assert "25%" in part.text
    assert "<html" not in part.text
    held.set()
    services.jobs.wait(20)
    part = client.get("/long-work/now", headers={"HX-Request": "true"})
    assert part.headers["HX-Retarget"] == "#work"
    assert "Judging again: 4 takes heard again." in strip(part)
    client.post("/long-work/seen", headers={"Referer": "http://localhost/settings"})
    assert strip(client.get("/settings")) == ""


def test_it_can_be_stopped(client, services, held):
    back = client.post(
        "/long-work/stop", headers={"Referer": "http://localhost/outlook"}, follow_redirects=False
    )
    assert (back.status_code, back.headers["location"]) == (303, "/outlook")
    assert "Stopping …" in strip(client.get("/"))
    held.set()
    services.jobs.wait(20)
    assert "stopped. What was finished is saved." in strip(client.get("/"))


def test_only_one_at_a_time(client, desk, services, held):
    answer = client.post("/long-work/check")
    assert answer.status_code in (404, 409)
    with_old_verdict(desk, services)
    answer = client.post("/long-work/rejudge")
    assert answer.status_code == 409
    assert "still running" in answer.text


def with_old_verdict(desk, services, seconds=1):
    made = desk.step(desk.topic(), passage=True)
    out = io.BytesIO()
    soundfile.write(out, np.zeros(8000 * seconds, np.float32), 8000, format="WAV")
    take = services.takes.keep(out.getvalue(), NewTake(step_id=made.id))
    said = Verdict(
        answer=Answer.YES, reason="Clean.", tempo_bpm=90.0, tests=(), notes=(), engine="line-0"
    )
    services.append(ev.TakeJudged(take_id=take.id, verdict=said), at=take.at, day=take.day)
    return take


def test_old_verdicts_are_offered_and_heard_again(client, desk, services):
    take = with_old_verdict(desk, services)
    assert "1 take was judged by an older version" in words(client.get("/long-work").text)
    assert "background tasks" in words(client.get("/settings").text).lower()
    client.post("/long-work/rejudge")
    services.jobs.wait(60)
    page = client.get(f"/takes/{take.id}")
    assert "1 take judged again, 1 with a new verdict." in strip(page)
    said = words(page.text)
    assert "Clean. Coldtake, line-0" in said
    assert f"Coldtake, {ENGINE}, in force" in said
    page = words(client.get("/long-work").text)
    assert "All takes were judged by this version" in page
    assert client.post("/long-work/rejudge").status_code == 422


def test_a_long_take_is_heard_while_its_page_tells_how_far_it_is(client, desk, services):
    take = with_old_verdict(desk, services, seconds=120)
    page = client.post(f"/takes/{take.id}/listen")
    assert page.status_code == 200
    services.judging.wait(60)
    part = client.get(f"/takes/{take.id}/hearing")
    assert part.headers["HX-Refresh"] == "true"
    assert services.takes.get(take.id).verdict.engine == ENGINE


def test_the_take_page_shows_the_share_and_stops_it(client, desk, services):
    take = with_old_verdict(desk, services)
    go_on, begun = threading.Event(), threading.Event()

    def listening(progress):
        progress.step(40, 100, "Listening")
        begun.set()
        go_on.wait(20)
        if not progress.step(41, 100, "Listening"):
            raise Cancelled
        return ""

    services.judging.start(take.id, "Judging a take", listening)
    begun.wait(20)
    assert "Judging … 40%" in words(client.get(f"/takes/{take.id}").text)
    part = client.get(f"/takes/{take.id}/hearing").text
    assert "Judging … 40%" in words(part)
    client.post(f"/takes/{take.id}/hearing/stop")
    go_on.set()
    services.judging.wait(20)
    page = words(client.get(f"/takes/{take.id}").text)
    assert "Listening …" not in page
    assert "Judge again" in page


def test_an_archive_is_made_in_the_background_and_taken(client, desk, services):
    with_old_verdict(desk, services)
    assert client.get("/long-work/archive.zip").status_code == 404
    client.post("/long-work/archive")
    services.jobs.wait(60)
    page = words(client.get("/long-work").text)
    assert "and 1 take." in page
    assert "Download export: coldtake-2027-01-12.zip" in page
    taken = client.get("/long-work/archive.zip")
    assert taken.headers["Content-Type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(taken.content)) as archive:
        assert "log.jsonl" in archive.namelist()

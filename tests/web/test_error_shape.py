"""One place turns errors into answers; each caller gets the form it understands."""

import pytest
from desk import TestClient

from coldtake.errors import BusyError, InputError, NotFoundError, PlanError, StoreError
from coldtake.web.app import create_app
from coldtake.web.errors import status_of


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (InputError("x"), 422),
        (PlanError("x"), 422),
        (NotFoundError("x"), 404),
        (BusyError("x"), 409),
        (StoreError("x"), 503),
    ],
)
def test_status_follows_the_tree(error, status):
    assert status_of(error) == status


def test_a_page_for_a_person(client):
    answer = client.get("/topics/none")
    assert answer.status_code == 404
    assert "This topic was not found" in answer.text
    assert 'href="/"' in answer.text


def test_a_fragment_for_htmx_goes_to_the_fault_line(client):
    answer = client.post("/topics", data={"title": " "}, headers={"HX-Request": "true"})
    assert answer.status_code == 422
    assert answer.headers["HX-Retarget"] == "#fault"
    assert answer.text.startswith('<div class="fault">')


def test_json_for_scripts(client):
    answer = client.get("/topics/none", headers={"Accept": "application/json"})
    assert answer.status_code == 404
    assert set(answer.json()["error"]) == {"what", "where", "remedy"}


def test_an_unknown_page(client):
    assert "This page was not found" in client.get("/nowhere").text


def test_a_missing_field_is_named(client, desk):
    topic = desk.topic()
    answer = client.post(f"/topics/{topic.id}/place", data={})
    assert answer.status_code == 422
    assert "place" in answer.text


def test_a_fault_of_the_program_shows_no_traceback(services, caplog, monkeypatch):
    def broken():
        raise ZeroDivisionError("secret detail")

    monkeypatch.setattr(services.settings, "all", broken)
    with TestClient(
        create_app(services), base_url="http://localhost", raise_server_exceptions=False
    ) as client:
        answer = client.get("/settings")
    assert answer.status_code == 500
    assert "Coldtake could not finish this" in answer.text
    assert "secret detail" not in answer.text
    assert "Traceback" not in answer.text
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "secret detail" in caplog.text

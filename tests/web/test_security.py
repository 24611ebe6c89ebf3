"""Who may ask, from where, how much; and what every answer carries."""

import pytest
from desk import TestClient
from starlette.websockets import WebSocketDisconnect

from coldtake.web import security
from coldtake.web.app import create_app


@pytest.mark.parametrize(
    "host", ["localhost", "localhost:8000", "127.0.0.1:80", "[::1]:8000", "stand.localhost"]
)
def test_loopback_names_are_answered(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["example.org", "localhost.example.org", "127.0.0.1.example.org", "", "[::1"]
)
def test_other_names_are_not(client, host):
    answer = client.get("/", headers={"Host": host})
    assert answer.status_code == 421
    assert "does not use this address" in answer.text


def test_a_name_given_on_purpose_is_answered(services):
    with TestClient(
        create_app(services, hosts=["Stand.Example"]), base_url="http://localhost"
    ) as c:
        assert c.get("/", headers={"Host": "stand.example"}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://example.org"},
        {"Origin": "null"},
        {"Origin": "http://localhost:9999"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Referer": "http://localhost:9999/form"},
        {"Referer": "http://[half"},
        {"Origin": "http://localhost", "Sec-Fetch-Site": "cross-site"},
    ],
)
def test_another_sites_page_changes_nothing(client, services, headers):
    answer = client.post("/topics", data={"title": "Planted"}, headers=headers)
    assert answer.status_code == 403
    assert services.state().topics == {}


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "http://localhost"},
        {"Sec-Fetch-Site": "same-origin"},
        {"Referer": "http://localhost/"},
    ],
)
def test_our_own_page_changes_things(client, services, headers):
    client.post("/topics", data={"title": "Mine"}, headers=headers)
    assert [t.title for t in services.state().topics.values()] == ["Mine"]


@pytest.mark.parametrize("path", ["/", "/nowhere", "/static/css/tokens.css", "/settings"])
def test_every_answer_is_sealed(client, path):
    headers = client.get(path).headers
    assert headers["Content-Security-Policy"].startswith("default-src 'self';")
    assert "unsafe" not in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert headers["Cache-Control"] == "no-cache"


def test_pages_carry_no_inline_script_or_style(client, desk):
    step = desk.step(desk.topic(), passage=True)
    for path in ("/", "/tomorrow", f"/topics/{step.topic_id}", f"/steps/{step.id}", "/settings"):
        text = client.get(path).text
        assert " style=" not in text, path
        assert "<style" not in text, path
        assert " on" + "click=" not in text, path
        assert "<script>" not in text, path


def test_a_body_over_the_limit_is_refused(client, services, monkeypatch):
    monkeypatch.setattr(security, "MAX_BODY", 1000)
    answer = client.post("/topics", data={"title": "x" * 2000})
    assert answer.status_code == 413
    assert services.state().topics == {}


def test_a_body_of_unknown_length_is_counted(client, services, monkeypatch):
    monkeypatch.setattr(security, "MAX_BODY", 1000)
    parts = (b"title=" if n == 0 else b"x" * 400 for n in range(6))
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    answer = client.post("/topics", content=parts, headers=kind)
    assert answer.status_code == 413
    assert "larger than" in answer.text
    assert services.state().topics == {}


NAVIGATES = {"Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
@pytest.mark.parametrize(
    ("how", "status"),
    [
        (NAVIGATES, 200),
        ({"Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "iframe"}, 403),
        ({"Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "image"}, 403),
        ({"Sec-Fetch-Mode": "cors", "Sec-Fetch-Dest": "empty"}, 403),
    ],
)
def test_another_page_may_lead_here_and_use_nothing(client, site, how, status):
    assert client.get("/", headers={"Sec-Fetch-Site": site, **how}).status_code == status


def test_there_is_no_other_door(client):
    with pytest.raises(WebSocketDisconnect) as closed, client.websocket_connect("/api/events"):
        pass
    assert closed.value.code == 1008


def test_no_page_sets_a_cookie(client, desk):
    """So there is none that another page could ride on; the shared address has its own test."""
    step = desk.step(desk.topic(), passage=True)
    for path in ("/", "/session", "/settings", f"/steps/{step.id}", "/api/session"):
        assert "set-cookie" not in client.get(path).headers


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2f..%2fpyproject.toml",
        "/takes/..%2f..%2fcoldtake.db/sound",
        "/takes/%2e%2e/sound",
        "/passages/..%2f..%2fetc%2fpasswd.svg",
        "/static//etc/passwd",
        "/takes/%00/sound",
    ],
)
def test_no_path_from_outside_reaches_the_file_system(client, path):
    answer = client.get(path)
    assert answer.status_code in (404, 422)
    assert "root:" not in answer.text
    assert "SQLite" not in answer.text

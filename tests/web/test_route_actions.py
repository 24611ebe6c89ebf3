"""Each route declares its action, and a paired device has by the table what it had by addresses."""

import re

import pytest
from desk import TestClient, fault_of
from fastapi.routing import APIRoute
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from coldtake.practice.access import TABLE, Action, Actor, Kind, may, needed_by
from coldtake.web.app import create_app
from coldtake.web.routes import RouteActions, action_of, page_routes
from coldtake.web.sharing.gate import Gate, marked_as_shared

UUID = "01a1e03d-389d-7a02-ba33-9fc0cf770af8"
# The patterns of addresses by which the gate knew a paired device's rights before the table.
HIDDEN = re.compile(r"/(share|demo|data|long-work(?!/now))(/|$)")
CHANGES = [
    (method, re.compile(path))
    for method, path in (
        ("POST", r"/api/session/(start|lead)"),
        ("POST", r"/api/events"),
        ("PUT", r"/api/takes/[^/]+"),
        ("POST", r"/takes/[^/]+/(answer|listen|hearing/stop)"),
        ("POST", r"/tries/[^/]+/answer"),
        ("POST", r"/slow"),
        ("POST", r"/steps/[^/]+/takes"),
        ("POST", r"/tomorrow"),
        ("POST", r"/run-through(/[^/]+(/back|/take)?)?"),
        ("POST", r"/performances/[^/]+/after"),
        ("POST", r"/tomorrow/change"),
        ("POST", r"/pair"),
    )
]


@pytest.fixture(scope="module")
def pages():
    return page_routes()


@pytest.fixture(scope="module")
def routes(pages):
    """(method, address with an id filled in, route) of every page."""
    return [
        (method, re.sub(r"\{[^}]*\}", UUID, route.path), route)
        for route in pages
        for method in route.methods
    ]


def formerly(method, path):
    if method == "GET":
        return HIDDEN.match(path) is None
    return any(method == m and p.fullmatch(path) for m, p in CHANGES)


def test_every_route_declares_its_action(routes):
    assert len(routes) > 120
    assert [f"{m} {p}" for m, p, route in routes if needed_by(route.endpoint) is None] == []


def test_every_action_of_the_table_is_asked_for_by_a_route(routes):
    assert {needed_by(route.endpoint) for _, _, route in routes} == set(TABLE)


def test_a_paired_device_has_by_the_table_what_it_had_by_addresses(routes):
    device = Actor(Kind.DEVICE, "own")
    now = {(m, p) for m, p, r in routes if may(device, action_of(r, p), "own")}
    assert now == {(m, p) for m, p, _ in routes if formerly(m, p)}


def test_only_changing_routes_need_an_action_that_changes(routes):
    """A page that is looked at must not need more than to see, or it would be hidden by mistake."""
    reads = {Action.SEE, Action.HEAR, Action.USE_TOOLS, Action.PAIR}
    closed = {p for m, p, r in routes if m == "GET" and needed_by(r.endpoint) not in reads}
    assert closed == {"/demo", "/data", "/long-work", "/long-work/archive.zip", "/share"}


def test_the_app_answers_under_these_routes_alone(services, routes):
    """What is added to the app in another way would not be held against the table."""
    told = create_app(services).openapi()["paths"]
    shown = {(m.upper(), re.sub(r"\{[^}]*\}", UUID, p)) for p in told for m in told[p]}
    assert shown == {(m, p) for m, p, r in routes if isinstance(r, APIRoute)}


def test_a_route_without_an_action_is_closed_to_everybody():
    """Also to the player on the computer: who forgets to declare it is told at the first try."""
    forgotten = [Route("/forgotten", lambda _request: None, methods=["GET"])]
    refuse = lambda _request, error, status: PlainTextResponse(error.what, status)  # noqa: E731
    gate = Gate(
        PlainTextResponse("yes"), knows=lambda _s: True, refuse=refuse, routes=lambda: forgotten
    )
    answer = TestClient(gate, base_url="http://localhost").get("/forgotten")
    assert answer.status_code == 403
    assert answer.text == "Coldtake does not offer this."


@pytest.mark.parametrize(
    ("method", "path", "action"),
    [
        ("GET", "/share/", Action.SHARE),
        ("HEAD", "/data", Action.MANAGE_DATA),
        ("GET", "/long-work/now", Action.SEE),
        ("PUT", f"/api/takes/{UUID}", Action.PLAY),
        ("GET", f"/takes/{UUID}/sound", Action.HEAR),
        ("GET", "/session-outbox.js", Action.USE_TOOLS),
    ],
)
def test_a_request_is_known_by_the_route_that_answers_it(pages, method, path, action):
    route = RouteActions(lambda: pages).route(method, path)
    assert action_of(route, path) is action


@pytest.mark.parametrize(("method", "path"), [("GET", "/none"), ("DELETE", "/settings")])
def test_an_address_that_is_not_there_has_no_route(pages, method, path):
    assert RouteActions(lambda: pages).route(method, path) is None


@pytest.mark.parametrize("host", ["127.0.0.2/pair?", "127.0.0.2/pair#", "127.0.0.2:8438/pair?"])
def test_no_host_makes_another_address_of_the_one_that_is_asked_for(host):
    """The gate goes by the path that the router goes by, not by the whole address."""
    refuse = lambda _request, error, status: PlainTextResponse(error.what, status)  # noqa: E731
    gate = Gate(PlainTextResponse("yes"), knows=lambda _s: False, refuse=refuse)
    stranger = TestClient(marked_as_shared(gate, "127.0.0.2"), base_url="https://127.0.0.2:8438")
    assert stranger.get("/pair").status_code == 200
    assert stranger.get("/settings", headers={"Host": host}).status_code == 401


def test_what_a_use_case_refuses_is_shown_as_a_sentence(client, services, monkeypatch):
    """A page that asked for more than its route says gets no further."""
    ask_as, device = services.as_, Actor(Kind.DEVICE, services.player)
    monkeypatch.setattr(services, "as_", lambda _actor: ask_as(device))
    answer = client.post("/topics", data={"title": "Planted"})
    assert answer.status_code == 403
    assert fault_of(answer).startswith("This is possible only on the computer.")
    assert services.state().topics == {}

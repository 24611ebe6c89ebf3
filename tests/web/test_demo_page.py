"""The example is offered to an empty pile, told in the background, and can be stopped."""

import threading

import pytest
from desk import TestClient, fault_of, words

from coldtake.errors import StoreError
from coldtake.web.app import create_app
from coldtake.web.pages.system.demo import telling_stave

PATIENCE_S = 20


class Teller:
    """Tells an example in steps that the test lets go on."""

    def __init__(self, *, fault=None):
        self.go_on = threading.Event()
        self.began = threading.Event()
        self.fault = fault

    def __call__(self, services, progress):
        while progress.step(3, 42, "Day three is being played."):
            self.began.set()
            if self.go_on.wait(0.02):
                break
        else:
            return
        if self.fault:
            raise self.fault
        services.pile.add("An example")


@pytest.fixture
def teller():
    return Teller()


@pytest.fixture
def demo_client(services, teller):
    app = create_app(services, build_demo=teller)
    with TestClient(app, base_url="http://localhost") as client:
        yield client
    teller.go_on.set()


def told(client):
    """Ask until it is over, as the page does."""
    while client.get("/demo", headers={"HX-Request": "true"}).headers.get("HX-Redirect") is None:
        threading.Event().wait(0.02)


def test_it_is_offered_and_shows_how_far_it_has_come(demo_client, services, teller):
    assert "Open example" in demo_client.get("/").text
    demo_client.post("/demo")
    assert teller.began.wait(PATIENCE_S)
    page = demo_client.get("/demo")
    assert "Day three is being played." in words(page.text)
    assert page.text.count('<g class="bar day done') == 3
    teller.go_on.set()
    told(demo_client)
    assert "An example" in demo_client.get("/").text


def test_asking_twice_tells_it_once(demo_client, services, teller):
    demo_client.post("/demo")
    demo_client.post("/demo")
    teller.go_on.set()
    told(demo_client)
    assert len(services.state().topics) == 1
    again = demo_client.post("/demo")
    assert again.status_code == 422
    assert "only if there are no topics yet" in fault_of(again)


def test_stopped_it_leaves_the_pile_empty(demo_client, services, teller):
    demo_client.post("/demo")
    assert teller.began.wait(PATIENCE_S)
    demo_client.post("/demo/stop")
    assert services.is_empty()
    assert "Open example" in demo_client.get("/").text


@pytest.mark.parametrize("fault", [StoreError("The folder is full."), ZeroDivisionError("secret")])
def test_a_fault_while_telling_is_said_once(services, fault):
    teller = Teller(fault=fault)
    teller.go_on.set()
    with TestClient(create_app(services, build_demo=teller), base_url="http://localhost") as client:
        client.post("/demo", follow_redirects=False)
        while (answer := client.get("/demo")).status_code == 200 and "Stop" in answer.text:
            threading.Event().wait(0.02)
        assert answer.status_code >= 500
        assert "secret" not in answer.text
        assert client.get("/demo", follow_redirects=False).headers["location"] == "/"


def test_without_an_example_none_is_offered(client):
    assert client.post("/demo").status_code == 422


def test_weeks_of_it_are_drawn():
    stave = telling_stave(9, 42)
    states = [b.state for s in stave.systems for b in s.bars]
    assert (len(stave.systems), states.count("done"), len(states)) == (6, 9, 42)

"""The pages “What if” and “What fits”: from a choice to numbers, and from a proposal to a pile."""

import re
from datetime import timedelta

import pytest
from desk import fault_of, words

from coldtake.domain import events as ev
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place


@pytest.fixture
def topics(services, desk):
    """Two current topics that were practised, and one that waits without a step."""
    steps = desk.laid_out()
    for back in range(12, 0, -1):
        for n, step in enumerate(steps):
            services.append(
                ev.TryAnswered(
                    try_id=services.log.new_id(),
                    step_id=step.id,
                    answer=Answer.YES if (n + back) % 3 else Answer.NO,
                    judge=Judge.PLAYER,
                ),
                ev.SlotEnded(session_id="s", slot_id="x", step_id=step.id, played_s=600),
                at=services.now() - timedelta(days=back),
                day=services.today() - timedelta(days=back),
            )
    waiting = services.pile.add("Long tones")
    return steps[0].topic_id, steps[2].topic_id, waiting.id


def test_the_page_offers_its_suppositions(client, topics):
    page = client.get("/what-if").text
    assert "/what-if/numbers" not in page
    for name in ("take_on", "leave", "more_min", "free_days", "date_of", "importance_of"):
        assert f'name="{name}"' in page
    taken = re.search(r'name="take_on".*?</select>', page, re.DOTALL)[0]
    assert "Long tones" in taken
    assert "Air in C" not in taken


def test_a_choice_answers_at_once_and_fetches_the_numbers(client, topics):
    page = client.get(f"/what-if?take_on={topics[2]}&stray=1").text
    assert f'hx-get="/what-if/numbers?take_on={topics[2]}"' in page
    assert f'<option value="{topics[2]}" selected>' in page


def to_the_end(client, path):
    page = client.get(path).text
    while 'hx-trigger="load delay' in page:
        page = client.get(f"{path}&poll=1").text
    return page


def test_one_more_topic_in_numbers(client, topics):
    page = to_the_end(client, f"/what-if/numbers?take_on={topics[2]}")
    said = words(page)
    assert "With “Long tones” as a third topic, about " in said
    now, then, gain = re.search(
        r"Air in C .*? no date (\d\.\d) (\d\.\d) of 2 (−\d\.\d|none)", said
    ).groups()
    if gain != "none":  # the difference is that of the numbers beside it
        assert float(gain.replace("−", "-")) == pytest.approx(float(then) - float(now))
    assert "no steps yet: 2 steps assumed" in said
    assert "256 simulations" in said
    assert page.count("<table") == 1


def test_every_kind_of_supposition_has_its_sentence(client, services, topics):
    near = services.today() + timedelta(days=14)
    for tail, sentence in (
        (f"leave={topics[0]}", "Without “Air in C”, about "),
        ("more_min=20", "With 20 min more a day, "),
        (f"free_from={near}&free_days=7", "With 7 days without practice from"),
        (f"date_of={topics[0]}&date={near}", "With “Air in C” on"),
        (f"importance_of={topics[0]}&importance=5", "With “Air in C” with importance 5 of 5"),
        ("more_min=0", "It is like this already"),
    ):
        assert sentence in words(to_the_end(client, f"/what-if/numbers?{tail}")), tail


def test_what_waits_has_its_turn(client, topics):
    said = words(to_the_end(client, "/what-if/numbers?more_min=20"))
    assert "Long tones now: a place is free" in said


def test_it_can_be_stopped(client, topics):
    client.get("/what-if/numbers?more_min=30")
    stopped = client.post("/what-if/stop?more_min=30", headers={"HX-Request": "true"})
    assert 'hx-trigger="load delay' not in stopped.text
    assert "simulations" in words(stopped.text)
    plain = client.post("/what-if/stop?more_min=30", follow_redirects=False)
    assert (plain.status_code, plain.headers["location"]) == (303, "/what-if?more_min=30")


@pytest.mark.parametrize(
    ("tail", "sentence"),
    [
        ("more_min=x", "not a number"),
        ("more_min=1000", "not allowed"),
        ("free_days=200", "not allowed"),
        ("free_from=2001-01-01&free_days=3", "in the past"),
        ("date_of=x&date=soon", "not a date"),
        ("importance_of=x&importance=9", "not allowed"),
    ],
)
def test_what_cannot_be_supposed(client, tail, sentence):
    for path in ("/what-if", "/what-if/numbers"):
        answer = client.get(f"{path}?{tail}")
        assert answer.status_code == 422
        assert sentence in fault_of(answer)


def test_a_topic_that_is_not_there(client):
    answer = client.get("/what-if/numbers?take_on=none")
    assert answer.status_code == 422
    assert "topic was not found" in fault_of(answer)


def test_nothing_to_look_ahead_to(client):
    assert "There is no outlook yet" in words(client.get("/what-if/numbers?more_min=5").text)
    assert "There are no topics yet" in words(client.get("/what-if").text)
    assert "There are no topics yet" in words(client.get("/triage").text)


def test_the_proposal_is_shown_and_decided_and_taken_back(client, services, topics):
    page = client.get("/triage").text
    said = words(page)
    assert "Suggested: make “Long tones” current." in said
    assert f'href="/what-if?take_on={topics[2]}"' in page
    proposed = re.findall(r'name="place-([^"]+)" value="(\w+)" checked', page)
    assert dict(proposed) == dict.fromkeys(topics, "current")
    done = client.post("/triage", data={f"place-{i}": place for i, place in proposed})
    assert "You moved Long tones." in words(done.text)
    assert services.state().topics[topics[2]].place is Place.CURRENT
    assert "Nothing needs to change" in words(done.text)
    back = client.post("/triage/undo")
    assert services.state().topics[topics[2]].place is Place.WAITING
    assert "You moved" not in words(back.text)


def test_the_player_decides_otherwise(client, services, topics):
    client.post("/triage", data={f"place-{topics[0]}": "laid_aside"})
    assert services.state().topics[topics[0]].place is Place.LAID_ASIDE
    assert services.state().topics[topics[1]].place is Place.CURRENT


@pytest.mark.parametrize(
    ("data", "status", "sentence"),
    [
        ({}, 422, "No topic is selected"),
        ({"place-none": "current"}, 404, "This topic was not found"),
        ({"place-none": "shelf"}, 422, "not allowed"),
    ],
)
def test_a_decision_that_cannot_be(client, services, topics, data, status, sentence):
    before = services.store.last_sequence()
    answer = client.post("/triage", data=data)
    assert answer.status_code == status
    assert sentence in fault_of(answer)
    assert services.store.last_sequence() == before


def test_nothing_to_take_back(client):
    answer = client.post("/triage/undo")
    assert answer.status_code == 404
    assert "nothing left to undo" in fault_of(answer)


def test_a_topic_past_its_date_is_proposed_to_be_laid_aside(client, services, desk, clock):
    topic = desk.topic("Old piece", performance_on=services.today() + timedelta(days=1))
    desk.step(topic)
    clock.go_on(days=3)
    page = client.get("/triage").text
    assert "is past, and it takes a place" in words(page)
    assert f'name="place-{topic.id}" value="laid_aside" checked' in page


def test_the_outlook_leads_there(client):
    page = client.get("/outlook").text
    assert 'href="/what-if"' in page
    assert 'href="/triage"' in page

"""The pile: in within seconds, few current, nothing lost, a newcomer led."""

import re

import pytest
from desk import fault_of, words

from coldtake.domain.topic import Place


def titles(services, place):
    return [t.title for t in services.state().topics.values() if t.place is place]


def test_an_empty_pile_asks_for_one_thing(client):
    page = words(client.get("/").text)
    assert "What do you want to play clean?" in page
    assert "Show me the example" not in page


def test_the_first_topic_is_current_the_next_wait(client, services):
    for title in ("One", "Two"):
        client.post("/topics", data={"title": f"  {title} "})
    assert titles(services, Place.CURRENT) == ["One"]
    assert titles(services, Place.WAITING) == ["Two"]


def test_a_newcomer_is_led_to_the_first_session(client, services, desk):
    client.post("/topics", data={"title": "Air"})
    page = client.get("/").text
    assert "What in Air could come out clean" in page
    topic = next(iter(services.state().topics.values()))
    client.post(f"/topics/{topic.id}/steps", data={"title": "Bars 1 to 4", "back": "/"})
    assert "Plan today" in client.get("/").text
    client.post("/tomorrow", data={"minutes": "25", "starts_at": "23:00", "day": "today"})
    assert "Begin to play" in client.get("/").text
    services.sessions.start(services.today())
    assert "To the first session" not in client.get("/").text


def test_one_line_is_enough_to_play(client, services):
    answer = client.post("/first", data={"title": " Long tones "}, follow_redirects=False)
    assert answer.headers["location"] == "/session"
    [topic] = services.state().topics.values()
    [step] = services.state().topic_steps(topic.id)
    assert (topic.title, topic.place) == ("Long tones", Place.CURRENT)
    cold, work = services.evening.plan(services.today()).slots
    assert (cold.kind, cold.step_id, cold.question) == ("cold", step.id, "Did it come out clean?")
    assert cold.minutes + work.minutes <= 10


def test_a_line_that_is_none_begins_nothing(client, services):
    for sent in ({"title": " "}, {"title": "Air", "minutes": "4"}, {"title": "x" * 201}):
        assert client.post("/first", data=sent).status_code == 422
    assert services.state().topics == {}
    assert services.state().plans == {}


def test_past_the_limit_a_line_waits_and_the_day_is_planned_without_it(client, services, desk):
    for n in range(4):
        desk.step(desk.topic(f"Topic {n}"))
    client.post("/first", data={"title": "One more", "minutes": "25"})
    assert titles(services, Place.WAITING) == ["One more"]
    planned = {s.topic_id for s in services.evening.plan(services.today()).slots}
    waiting = [t.id for t in services.state().topics.values() if t.place is Place.WAITING]
    assert planned.isdisjoint(waiting)


def test_many_at_once(client, services):
    text = "\n".join(f"Topic {n}" for n in range(20)) + "\n\n"
    client.post("/topics/many", data={"text": text})
    assert len(services.state().topics) == 20


def test_nothing_pasted_is_said(client):
    assert "nothing to add" in fault_of(client.post("/topics/many", data={"text": " \n "}))


def test_past_the_limit_the_reason_is_given_and_nothing_moves(client, services, desk):
    for n in range(4):
        desk.topic(f"Topic {n}")
    waiting = services.pile.add("One more")
    answer = client.post(f"/topics/{waiting.id}/place", data={"place": "current"})
    assert answer.status_code == 422
    assert "4 is your limit" in fault_of(answer)
    assert titles(services, Place.WAITING) == ["One more"]


def test_laid_aside_and_taken_back_with_its_steps(client, services, desk):
    topic = desk.topic()
    desk.step(topic)
    client.post(f"/topics/{topic.id}/place", data={"place": "laid_aside"})
    assert titles(services, Place.LAID_ASIDE) == [topic.title]
    client.post(f"/topics/{topic.id}/place", data={"place": "waiting"})
    assert titles(services, Place.WAITING) == [topic.title]
    assert len(services.state().topic_steps(topic.id)) == 1


@pytest.mark.parametrize("title", ["", "   ", "x" * 201])
def test_a_title_that_is_none(client, services, title):
    answer = client.post("/topics", data={"title": title})
    assert answer.status_code == 422
    assert services.state().topics == {}


def test_a_title_cannot_carry_marks(client):
    client.post("/topics", data={"title": "<script>alert(1)</script>"})
    page = client.get("/").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_the_pile_shows_date_and_importance(client, services, desk):
    day = services.today().replace(year=2028)
    desk.topic("Concert piece", performance_on=day, importance=5)
    page = words(client.get("/").text)
    assert "everything hangs on it" in page
    assert f"{(day - services.today()).days} days left" in page


@pytest.mark.parametrize(
    "back", ["//example.org", "https://example.org", "/\\example.org", "javascript:x"]
)
def test_after_a_change_one_stays_here(client, desk, back):
    topic = desk.topic()
    answer = client.post(
        f"/topics/{topic.id}/place",
        data={"place": "waiting", "back": back},
        follow_redirects=False,
    )
    assert answer.headers["location"] == "/"


def test_every_field_has_a_name_to_be_read_out(client, desk):
    desk.topic()
    page = client.get("/").text
    named = set(re.findall(r'<label[^>]* for="([^"]+)"', page))
    fields = re.findall(r'<input id="([^"]+)"', page)
    assert set(fields) <= named

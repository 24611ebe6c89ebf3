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
    assert "Open example" not in page


def test_what_is_only_added_waits_the_first_topic_too(client, services):
    for title in ("One", "Two"):
        client.post("/topics", data={"title": f"  {title} "})
    assert titles(services, Place.CURRENT) == []
    assert titles(services, Place.WAITING) == ["One", "Two"]


def test_a_newcomer_is_led_to_the_first_session(client, services, desk):
    client.post("/topics", data={"title": "Air"})
    assert "No topic is current yet" in client.get("/").text
    topic = next(iter(services.state().topics.values()))
    page = client.post(f"/topics/{topic.id}/place", data={"place": "current"}).text
    assert "What in Air can you play clean" in page
    client.post(f"/topics/{topic.id}/steps", data={"title": "Bars 1 to 4", "back": "/"})
    assert "Plan today" in client.get("/").text
    client.post("/tomorrow", data={"minutes": "25", "starts_at": "23:00", "day": "today"})
    assert "Start session" in client.get("/").text
    services.sessions.start(services.today())
    assert "Your first session" not in client.get("/").text


def test_one_line_is_enough_to_play(client, services):
    answer = client.post("/first", data={"title": " Long tones "}, follow_redirects=False)
    assert answer.headers["location"] == "/session"
    [topic] = services.state().topics.values()
    [step] = services.state().topic_steps(topic.id)
    assert (topic.title, topic.place) == ("Long tones", Place.CURRENT)
    cold, work = services.plans.plan(services.today()).slots
    assert (cold.kind, cold.step_id, cold.question) == ("cold", step.id, "Was it clean?")
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
    planned = {s.topic_id for s in services.plans.plan(services.today()).slots}
    waiting = [t.id for t in services.state().topics.values() if t.place is Place.WAITING]
    assert planned.isdisjoint(waiting)


def test_many_at_once(client, services):
    text = "\n".join(f"Topic {n}" for n in range(20)) + "\n\n"
    client.post("/topics/many", data={"text": text})
    assert len(services.state().topics) == 20


def test_nothing_pasted_is_said(client):
    assert "nothing to add" in fault_of(client.post("/topics/many", data={"text": " \n "}))


def full(desk, services):
    """Four current topics and one that waits."""
    current = [desk.topic(f"Topic {n}") for n in range(4)]
    return current, services.pile.add("One more")


@pytest.mark.parametrize("htmx", [True, False])
@pytest.mark.parametrize("on_topic", [True, False])
def test_past_the_limit_the_refusal_stands_beside_the_topic_with_what_could_leave(
    client, services, desk, htmx, on_topic
):
    current, waiting = full(desk, services)
    back = f"/topics/{waiting.id}" if on_topic else "/"
    headers = {"hx-request": "true"} if htmx else {}
    answer = client.post(
        f"/topics/{waiting.id}/place", data={"place": "current", "back": back}, headers=headers
    )
    assert answer.status_code == 422
    assert "hx-retarget" not in answer.headers  # it comes with the page that the hand is on
    assert "4 topics are current. Your limit is 4" in fault_of(answer)
    room = answer.text[answer.text.index('<div class="room"') :]
    for topic in current:
        for act in ("Move to waiting", "Set aside"):
            assert f'{act}<span class="aside">: {topic.title}, and make One more' in room
    assert titles(services, Place.WAITING) == ["One more"]
    row = answer.text[: answer.text.index(room)]
    assert row.rindex(f"topic-{waiting.id}") > max(row.rfind(f"topic-{t.id}") for t in current)


@pytest.mark.parametrize("to", ["waiting", "laid_aside"])
def test_one_touch_makes_room_and_makes_current(client, services, desk, to):
    current, waiting = full(desk, services)
    data = {"place": "current", "instead": current[1].id, "to": to}
    answer = client.post(f"/topics/{waiting.id}/place", data=data, follow_redirects=False)
    assert answer.headers["location"] == f"/#topic-{waiting.id}"
    assert titles(services, Place(to)) == ["Topic 1"]
    assert titles(services, Place.CURRENT) == ["Topic 0", "Topic 2", "Topic 3", "One more"]


def test_a_script_gets_the_refusal_as_json(client, services, desk):
    _, waiting = full(desk, services)
    answer = client.post(
        f"/topics/{waiting.id}/place",
        data={"place": "current"},
        headers={"accept": "application/json"},
    )
    assert answer.status_code == 422
    assert "your limit is 4" in answer.json()["error"]["what"]


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
    assert "very high" in page
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
    assert answer.headers["location"] == f"/#topic-{topic.id}"


def test_every_field_has_a_name_to_be_read_out(client, desk):
    desk.topic()
    page = client.get("/").text
    named = set(re.findall(r'<label[^>]* for="([^"]+)"', page))
    fields = re.findall(r'<input id="([^"]+)"', page)
    assert set(fields) <= named


def test_a_long_list_can_be_searched(client, services):
    services.pile.add_many("\n".join(f"Study {n}" for n in range(12)))
    assert "Search topics" not in client.get("/").text
    services.pile.add("Étude <13>")
    page = client.get("/").text
    assert "Search topics" in page
    assert page.count("data-title=") == 13
    assert 'data-title="Étude &lt;13&gt;"' in page

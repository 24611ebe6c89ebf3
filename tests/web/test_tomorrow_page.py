"""The evening before: minutes in, a plan out; every change of the player stays."""

from datetime import timedelta

import pytest
from desk import fault_of, words

from coldtake.web.views.plan_view import free_words, neighbour_place
from making import plan, slot, step

GIVEN = {"minutes": "60", "starts_at": "17:00", "day": ""}


@pytest.fixture
def planned(client, services, desk):
    desk.laid_out()
    client.post("/tomorrow", data=GIVEN)
    return services.plans.plan(services.plans.tomorrow())


def change(client, services, act, **fields):
    day = services.plans.tomorrow()
    answer = client.post("/tomorrow/change", data={"day": str(day), "act": act, **fields})
    assert answer.status_code == 200, fault_of(answer)
    return services.plans.plan(day)


def test_without_a_plan_the_page_asks_for_minutes(client):
    page = words(client.get("/tomorrow").text)
    assert "Make plan" in page
    assert "Minutes" in page


def test_nothing_to_plan_says_what_to_do_first(client):
    page = words(client.post("/tomorrow", data=GIVEN).text)
    assert "nothing to plan yet" in page


def test_a_first_plan_says_that_it_knows_nothing(client, planned):
    page = words(client.get("/tomorrow").text)
    assert "There are no takes yet" in page
    for one in planned.slots:
        assert one.question in page
        assert f"{one.minutes} min" in page


def test_each_period_is_a_system_and_each_slot_a_bar(client, planned):
    page = client.get("/tomorrow").text
    assert page.count('<svg class="stave"') == len(planned.periods)
    drawn = page.count('<g class="bar work') + page.count('<g class="bar cold')
    assert drawn == len(planned.slots)
    assert page.count('<g class="bar break') == len(planned.periods) - 1


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"minutes": "-30"}, "from 5 to 720 min"),
        ({"minutes": "4"}, "not allowed"),
        ({"minutes": "an hour"}, "is not a number"),
        ({"minutes": "30.5"}, "is not a whole number"),
        ({"day": "2026-01-01"}, "2026-01-01 is in the past"),
        ({"day": "tuesday"}, "is not a date"),
        ({"starts_at": "25:00"}, "is not a time of day"),
        ({"starts_at": ""}, "is not a time of day"),
    ],
)
def test_what_cannot_be_planned(client, services, given, sentence):
    answer = client.post("/tomorrow", data=GIVEN | given)
    assert answer.status_code == 422
    assert sentence in fault_of(answer)
    assert services.state().plans == {}


@pytest.mark.parametrize(("given", "free"), [(30, 0), (35, 5), (38, 8), (39, 0)])
def test_minutes_that_a_break_leaves_free_are_told(given, free):
    """Seen: 35 minutes asked for, 30 planned, and not a word about the others."""
    said = free_words(plan(tuple(slot(step(n)) for n in "abc"), minutes=given))
    expected = f"{free} of your {given} min stay free. After 30 min of playing a break of 5 min"
    assert said.startswith(expected) if free else said == ""


def test_pinned_and_let_go(client, services, planned):
    one = planned.slots[-1]
    pinned = change(client, services, "pin", slot_id=one.id)
    assert [s.pinned for s in pinned.slots if s.step_id == one.step_id and s.kind == one.kind]
    assert any(s.pinned for s in pinned.slots)
    free = change(client, services, "unpin", slot_id=one.id)
    assert not any(s.pinned for s in free.slots)


def test_moved_earlier_it_stays_there(client, services, planned):
    second = planned.slots[1]
    after = change(client, services, "earlier", slot_id=second.id)
    assert (after.slots[0].step_id, after.slots[0].kind) == (second.step_id, second.kind)
    assert after.slots[0].pinned


@pytest.mark.parametrize(("act", "by"), [("longer", 1), ("shorter", -1)])
def test_stretched(client, services, planned, act, by):
    one = planned.slots[0]
    after = change(client, services, act, slot_id=one.id)
    assert one.minutes + by in [s.minutes for s in after.slots if s.step_id == one.step_id]


def test_refused_and_allowed_again(client, services, planned):
    one = planned.slots[0]
    without = change(client, services, "refuse", slot_id=one.id)
    assert one.step_id not in {s.step_id for s in without.slots}
    page = words(client.get("/tomorrow").text)
    assert "Allow again" in page
    again = change(client, services, "allow", step_id=one.step_id)
    assert not any(w.refused for w in again.request.wishes)


def test_swapped_for_what_was_out(client, services, planned):
    one = planned.slots[0]
    without = change(client, services, "refuse", slot_id=one.id)
    other = without.slots[0]
    after = change(client, services, "swap", slot_id=other.id, step_id=one.step_id)
    assert one.step_id in {s.step_id for s in after.slots}
    assert other.step_id not in {s.step_id for s in after.slots}


def test_refusing_everything_is_said_and_changes_nothing(client, services, desk):
    desk.step(desk.topic())
    client.post("/tomorrow", data=GIVEN)
    before = services.plans.plan(services.plans.tomorrow())
    form = {"act": "refuse", "slot_id": before.slots[0].id}
    answer = client.post("/tomorrow/change", data=form)
    assert answer.status_code == 422
    assert "needs at least one slot" in fault_of(answer)
    assert services.plans.plan(services.plans.tomorrow()) == before


def test_all_changes_taken_back(client, services, planned):
    change(client, services, "refuse", slot_id=planned.slots[0].id)
    assert change(client, services, "reset") == planned


def test_changes_outlive_other_minutes(client, services, planned):
    out = planned.slots[0].step_id
    change(client, services, "refuse", slot_id=planned.slots[0].id)
    client.post("/tomorrow", data=GIVEN | {"minutes": "45"})
    again = services.plans.plan(services.plans.tomorrow())
    assert again.minutes <= 45
    assert out not in {s.step_id for s in again.slots}


@pytest.mark.parametrize(
    ("fields", "status"),
    [
        ({"act": "explode"}, 422),
        ({"act": "swap", "slot_id": "x"}, 422),
        ({"act": "pin", "slot_id": "none"}, 404),
        ({"act": "add", "step_id": "none"}, 404),
    ],
)
def test_changes_that_cannot_be(client, planned, fields, status):
    assert client.post("/tomorrow/change", data=fields).status_code == status


def test_a_day_without_a_plan_cannot_be_changed_or_printed(client, services):
    day = str(services.today() + timedelta(days=5))
    assert client.post("/tomorrow/change", data={"day": day, "act": "reset"}).status_code == 404
    assert client.get(f"/tomorrow/print?day={day}").status_code == 404
    assert client.get(f"/tomorrow.ics?day={day}").status_code == 404


def test_the_page_for_the_stand_has_every_slot_and_notation_once(client, planned):
    page = client.get("/tomorrow/print").text
    assert page.count('<li class="row') == len(planned.slots)
    assert page.count("<img src=") == 1  # both topics play their first part from it
    assert 'alt="Notation of' in page


def test_the_calendar_is_a_file(client, planned):
    answer = client.get("/tomorrow.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    assert answer.content.startswith(b"BEGIN:VCALENDAR\r\n")
    assert "attachment" in answer.headers["content-disposition"]


def test_after_a_move_the_page_says_where_the_slot_is_now(client, services, planned):
    one = planned.slots[0]
    form = {"act": "later", "slot_id": one.id}
    answer = client.post("/tomorrow/change", data=form, follow_redirects=False)
    moved = answer.headers["location"].partition("&moved=")[2]
    after = services.plans.plan(services.plans.tomorrow())
    assert next(s for s in after.slots if s.id == moved).step_id == one.step_id
    assert next(s for s in after.slots if s.id == moved).pinned
    assert f'data-moved="{moved}"' in client.get(answer.headers["location"]).text


def test_a_slot_goes_over_the_break_and_stops_at_the_ends():
    a, b, c = (slot(step(name), name=name) for name in "abc")
    day = plan((a, b), (c,))
    assert neighbour_place(day, a.id, -1) is None
    assert neighbour_place(day, a.id, 1) == (0, 1)
    assert neighbour_place(day, b.id, 1) == (1, 0)
    assert neighbour_place(day, c.id, -1) == (0, 2)
    assert neighbour_place(day, c.id, 1) is None


def test_a_large_pile_does_not_swell_the_page(client, desk):
    """Every slot offers something else, and not each of two hundred steps."""
    topic = desk.topic()
    for number in range(40):
        desk.step(topic, f"Chorus {number}")
    page = client.post("/tomorrow", data={"minutes": "30", "starts_at": "17:00", "day": ""}).text
    chosen = page.split("<select", 1)[1].split("</select>", 1)[0]
    assert 10 < chosen.count("<option") <= 21
    assert page.count("Add to plan") > 21  # the rest is still there, folded


def test_after_midnight_the_evening_goes_on_and_tomorrow_is_the_coming_date(client, desk, clock):
    clock.instant = clock.instant.replace(hour=23, minute=30)
    desk.laid_out()
    assert "after midnight" not in client.get("/tomorrow").text
    clock.go_on(minutes=70)  # 00:40 on Wednesday
    page = words(client.get("/tomorrow").text)
    assert "What you play now still counts for Tue 12 Jan." in page
    assert "Wednesday 13 January" in page
    clock.go_on(hours=4)
    page = words(client.get("/tomorrow").text)
    assert "after midnight" not in page
    assert "Thursday 14 January" in page

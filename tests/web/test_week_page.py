"""The week at a glance, days that are not like others, and what the plan page makes of them."""

from datetime import timedelta

import pytest
from desk import fault_of, words

from coldtake.domain.events import SessionEnded, SlotEnded, SlotStarted, TryAnswered
from coldtake.domain.take import Answer, Judge
from coldtake.domain.told_days import DayKind, ToldDay
from coldtake.planning.value.minutes_ahead import minutes_until
from coldtake.planning.words import hours_and_minutes
from making import NOON

TODAY = NOON.date()  # Tuesday, 12 January 2027


def on(days):
    return TODAY + timedelta(days=days)


def tell(client, first, last="", what="off", minutes=""):
    data = {"first": str(first), "last": str(last), "what": what, "minutes": minutes}
    return client.post("/week/days", data=data)


def line(client, day):
    """What the week's page says of one day."""
    page = client.get(f"/week?day={day}").text
    return words(page.partition(f'id="day-{day}"')[2].partition('<li class="week-day')[0])


def played(services, step, days, minutes=60):
    for ahead in days:
        services.elsewhere.keep(step.id, minutes, on(ahead))


def test_a_week_has_seven_days_each_one_touch_from_its_plan(client, desk):
    desk.laid_out()
    page = client.get("/week").text
    assert page.count('class="week-day') == 7
    for ahead in range(-1, 6):
        assert (f'href="/tomorrow?day={on(ahead)}"' in page) == (ahead >= 0)
    assert f"/week?day={on(6)}" in page
    assert 'href="/week' in client.get("/tomorrow").text


def test_a_day_off_is_shown_planned_around_and_taken_back(client, services, desk):
    desk.laid_out()
    before = minutes_until(services.state(), on(1), on(8))
    tell(client, on(2), on(3), "travel")
    assert "Travel without the instrument" in line(client, on(2))
    assert "min suggested" not in line(client, on(2))
    page = words(client.get(f"/tomorrow?day={on(2)}").text)
    assert "You entered for this day: Travel without the instrument." in page
    assert minutes_until(services.state(), on(1), on(8)) == pytest.approx(before * 5 / 7)
    tell(client, on(2), what="usual")
    assert set(services.state().days_told) == {on(3)}
    assert "60 min suggested" in line(client, on(2))


def test_minutes_of_a_day_and_of_weekdays_are_what_its_plan_proposes(client, services, desk):
    desk.laid_out()
    client.post("/week/weekdays", data={"minutes-4": "25", "minutes-6": "90", "minutes-7": "0"})
    tell(client, on(3), what="minutes", minutes="40")
    wanted = {2: 25, 3: 40, 4: 90}  # Thursday, Friday as told, Saturday
    for ahead, minutes in wanted.items():
        assert services.plans.default_request(on(ahead)).minutes == minutes
        assert f"{hours_and_minutes(minutes)} suggested" in line(client, on(ahead))
    assert "no practice" in line(client, on(5))
    assert 'name="minutes-4" min="0" max="720" inputmode="numeric" value="25"' in (
        client.get("/week").text
    )
    client.post("/week/weekdays", data={"minutes-4": ""})
    assert services.state().weekdays_told == {}


def test_the_same_word_twice_is_one_event(client, services):
    tell(client, on(1), on(4), "illness")
    count = services.store.last_sequence()
    tell(client, on(1), on(4), "illness")
    assert services.store.last_sequence() == count
    assert services.state().days_told[on(4)] == ToldDay(kind=DayKind.ILLNESS)


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        ({"first": "soon"}, "“soon” is not a date"),
        ({"last": str(on(-1))}, f"The last day, {on(-1)}, is before the first, {TODAY}"),
        ({"last": str(on(500))}, "These are 501 days"),
        ({"what": "party"}, "Choose one of these: usual, minutes, off"),
        ({"what": "minutes"}, "Other minutes need a number"),
        ({"minutes": "900"}, "from 0 to 720"),
        ({"first": "1990-01-01"}, "Enter a date within ten years"),
    ],
)
def test_what_cannot_be_says_so_and_keeps_nothing(client, services, sent, sentence):
    answer = client.post("/week/days", data={"first": str(TODAY), "what": "off", **sent})
    assert answer.status_code == 422
    assert sentence in fault_of(answer)
    assert services.store.last_sequence() == 0
    bad = client.post("/week/weekdays", data={"minutes-1": "30", "minutes-2": "-5"})
    assert "Tuesday" in fault_of(bad)
    assert services.state().weekdays_told == {}


def test_a_past_day_says_what_came_of_it(client, services, clock, desk):
    step = desk.laid_out()[0]
    run = services.sessions.start()
    ids = {"session_id": run.id, "slot_id": run.plan.slots[0].id, "step_id": step.id}
    services.append(
        SlotStarted(**ids, planned_s=600),
        TryAnswered(try_id=services.log.new_id(), **ids, answer=Answer.YES, judge=Judge.PLAYER),
        SlotEnded(**ids, played_s=600),
        SessionEnded(session_id=run.id),
    )
    clock.go_on(days=1)
    said = line(client, TODAY)
    assert "10 min played" in said
    assert "1 of 1 first try clean" in said
    assert "over" in said
    assert "nothing played" in line(client, on(-1))
    page = client.get(f"/week?day={TODAY}").text
    assert f"/tomorrow?day={TODAY}" not in page  # a past day cannot be planned any more


def test_coming_back_is_said_plainly_with_the_caution(client, services, clock, desk):
    step = desk.laid_out()[0]
    clock.go_on(days=40)
    played(services, step, range(20, 31))
    tell(client, on(33), on(36), "holiday")
    page = words(client.get(f"/tomorrow?day={on(40)}").text)
    assert "You come back after 9 days without practice (holiday)." in page
    assert "Suggested: 30 min instead of 60 min. Each practice day adds at most 20%." in page
    assert "get a cold take before more work" in page
    assert "ask a doctor" in page
    assert services.plans.default_request(on(40)).minutes == 30
    assert "30 min suggested" in line(client, on(40))


def test_pain_puts_rest_first(client):
    tell(client, TODAY, what="pain")
    page = words(client.get(f"/tomorrow?day={TODAY}").text)
    assert "You entered for this day: Pain. Rest comes first." in page.replace("</p>", "")


def test_a_weekday_that_is_played_otherwise_is_offered(client, services, clock, desk):
    """Five weeks in which Thursdays had 20 minutes."""
    step = desk.laid_out()[0]
    clock.go_on(days=36)  # a Wednesday
    for ahead in range(36):
        played(services, step, [ahead], 20 if on(ahead).weekday() == 3 else 60)
    page = words(client.get(f"/tomorrow?day={on(37)}").text)
    assert "On Thursdays you play about 20 min (5 of the last 5 Thursdays)." in page
    assert "you play about" not in words(client.get(f"/tomorrow?day={on(38)}").text)
    given = {"minutes": "60", "starts_at": "17:00", "day": str(on(37)), "session": "1"}
    client.post("/tomorrow", data=given | {"minutes_instead": "20"})
    assert services.plans.plan(on(37)).request.minutes == 20


def test_a_further_session_is_added_and_deleted_on_the_page(client, services, desk):
    desk.laid_out()
    day = on(1)
    given = {"minutes": "60", "starts_at": "17:00", "day": str(day), "session": "1"}
    client.post("/tomorrow", data=given)
    late = services.plans.plan(day)
    new = client.get(f"/tomorrow?day={day}&session=new").text
    assert 'name="session" value="2"' in new
    clash = client.post("/tomorrow", data=given | {"session": "2", "starts_at": "17:30"})
    assert "17:30 to 18:30 overlaps the session from 17:00 to" in fault_of(clash)
    sent = {"session": "2", "starts_at": "08:00", "minutes": "25"}
    page = words(client.post("/tomorrow", data=given | sent).text)
    assert "08:00" in page
    assert "17:00" in page
    assert services.plans.plan(day, 1).request == late.request
    said = line(client, day)
    assert said.index("08:00") < said.index("17:00")
    first = services.plans.plan(day, 2).slots[0]
    act = {"day": str(day), "session": "2", "act": "pin", "slot_id": first.id}
    client.post("/tomorrow/change", data=act)
    assert services.plans.plan(day, 2).slots[0].pinned
    for page in ("/tomorrow/print", "/print.pdf"):
        asked = {"day": str(day), "plan": str(day), "session": "2"}
        assert client.get(page, params=asked).status_code == 200
    client.post("/tomorrow/delete", data={"day": str(day), "session": "2"})
    assert [p.request.session for p in services.plans.plans(day)] == [1]


def test_a_long_day_gets_a_word_on_each_of_its_sessions(client, services, desk):
    for title in ("Scales", "Tune", "Study", "Sonata"):
        topic = desk.topic(title)
        for number in range(4):
            desk.step(topic, f"{title} {number}")
    given = {"minutes": "600", "starts_at": "08:00", "day": str(on(1)), "session": "1"}
    client.post("/tomorrow", data=given)
    assert len(services.plans.plans(on(1))) == 3
    for session in "123":
        page = words(client.get(f"/tomorrow?day={on(1)}&session={session}").text)
        assert page.count("That is a lot for hands, arms, lips and ears.") == 1
        assert "The advice of a doctor" in page


def test_a_plan_moved_to_a_day_that_has_one_becomes_a_further_session(client, services, desk):
    desk.laid_out()
    for day in (on(1), on(2)):
        given = {"minutes": "30", "starts_at": "17:00", "day": str(day), "session": "1"}
        client.post("/tomorrow", data=given | {"shown": str(day)})
    moved = {"minutes": "30", "starts_at": "09:00", "day": str(on(2)), "session": "1"}
    client.post("/tomorrow", data=moved | {"shown": str(on(1))})
    assert [p.request.starts_at.hour for p in services.plans.plans(on(2))] == [9, 17]
    assert len(services.plans.plans(on(1))) == 1


def test_the_address_for_a_calendar_program_stands_there_and_answers(client, services, desk):
    desk.laid_out()
    services.plans.propose(services.plans.default_request(on(1)))
    page = client.get("/week").text
    assert 'value="http://localhost/calendar.ics"' in page
    answer = client.get("/calendar.ics")
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    assert answer.text.count("BEGIN:VEVENT") == 1

"""What a step needs, said on its page; a rehearsal entered with its date gets its steps."""

import re
from datetime import timedelta

import pytest
from desk import words

from coldtake.domain.events import TryAnswered
from coldtake.domain.requirement import Requirement, Resource
from coldtake.domain.take import Answer, Judge

QUARTET = Requirement(what=Resource.PEOPLE, note="the quartet")
PLANNED = {"minutes": "60", "starts_at": "17:00"}


@pytest.fixture
def needing(client, desk):
    """A step that needs the quartet, as its page was filled in, among three that need nothing."""
    step = desk.laid_out()[0]
    needs = {"requires_asked": "1", "requires": "people", "note_people": " the  quartet "}
    client.post(f"/steps/{step.id}", data={"title": step.title, "need_min": "20"} | needs)
    return step


def meet(client, day, **more):
    sent = {"kind": "rehearsal", "on": str(day), "requires_asked": "1", "requires": "people"}
    return client.post("/appointments", data=sent | more)


def planned(client, services, **more):
    day = services.plans.tomorrow()
    client.post("/tomorrow", data=PLANNED | {"day": str(day)} | more)
    return services.plans.plan(day)


def test_a_step_says_what_it_needs_and_keeps_it(client, services, needing):
    assert services.pile.step(needing.id).requires == (QUARTET,)
    assert "the quartet" in client.get(f"/steps/{needing.id}").text
    client.post(f"/steps/{needing.id}", data={"title": "Anew", "need_min": "20"})
    assert services.pile.step(needing.id).requires == (QUARTET,)  # it was not asked
    client.post(f"/steps/{needing.id}", data={"title": "A", "need_min": "9", "requires_asked": "1"})
    assert services.pile.step(needing.id).requires == ()


def test_the_map_of_its_topic_says_what_a_step_needs(client, needing):
    said = words(client.get(f"/topics/{needing.topic_id}").text)
    assert said.count("needs other people (the quartet)") == 1


def test_a_topic_says_what_all_of_it_needs(client, services, needing):
    topic = services.pile.topic(needing.topic_id)
    sent = {"title": topic.title, "requires_asked": "1", "requires": "piano"}
    client.post(f"/topics/{topic.id}", data=sent)
    assert services.pile.topic(topic.id).requires == (Requirement(what=Resource.PIANO),)


def test_it_waits_for_the_rehearsal_and_is_named_there(client, services, needing):
    assert needing.id not in {s.step_id for s in planned(client, services).slots}
    assert "No rehearsal or lesson is planned" in words(client.get("/tomorrow").text)
    page = words(meet(client, services.today() + timedelta(days=1), title="Quartet").text)
    assert re.search(rf"Quartet .*{needing.title}", page)
    page = words(client.get("/tomorrow").text)
    assert f"To play there: {needing.title}" in page
    assert "No rehearsal or lesson is planned" not in page


def test_what_is_at_hand_on_a_day_can_be_played_that_day(client, services, needing):
    plan = planned(client, services, requires_asked="1", at_hand="0")
    assert needing.id in {s.step_id for s in plan.slots}
    plan = planned(client, services)  # planned again without the ticks: it is there still
    assert needing.id in {s.step_id for s in plan.slots}
    plan = planned(client, services, requires_asked="1")
    assert plan.request.at_hand is None  # what usually is


def test_a_rehearsal_is_deleted_and_restored(client, services):
    meet(client, services.today())
    (made,) = services.appointments.upcoming()
    client.post(f"/appointments/{made.id}/delete")
    assert services.appointments.upcoming() == ()
    assert "Restore" in words(client.get("/performances").text)
    client.post(f"/appointments/{made.id}/restore")
    assert services.appointments.upcoming() == (made,)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"on": ""}, "date"),
        ({"minutes": "0"}, "from 1 to 720"),
        ({"requires": "an elephant"}, "what it needs"),
        ({"kind": "party"}, "kind"),
    ],
)
def test_what_cannot_be_is_refused_in_words(client, services, more, said):
    answer = meet(client, services.today(), **more)
    assert answer.status_code == 422
    assert said in words(answer.text)
    assert services.appointments.upcoming() == ()


def test_one_that_is_not_there_is_said_so(client):
    assert client.post("/appointments/none/delete").status_code == 404


def test_it_has_a_page_and_is_printed_and_taken_to_the_calendar(client, services, needing):
    today = services.today()
    meet(client, today, title="the quartet", starts_at="19:30", minutes="90")
    (made,) = services.appointments.upcoming()
    page = words(client.get(f"/appointments/{made.id}").text)
    assert "Rehearsal: the quartet" in page
    assert needing.title in page
    planned_for = {"minutes": "60", "starts_at": "17:00", "day": str(today)}
    client.post("/tomorrow", data=planned_for)
    stand = words(client.get(f"/tomorrow/print?day={today}").text)
    assert f"Rehearsal: the quartet : {needing.title}" in stand
    for address in (f"/tomorrow.ics?day={today}", f"/appointments/{made.id}/calendar.ics"):
        calendar = client.get(address).text.replace("\r\n ", "")
        assert "SUMMARY:Rehearsal: the quartet" in calendar
        assert needing.title in calendar.replace("\\", "")


def test_what_its_steps_brought_is_answered_there(client, services, clock, needing):
    day = services.today()
    meet(client, day, starts_at="19:00")
    (made,) = services.appointments.upcoming()
    client.post(f"/appointments/{made.id}/answers", data={f"answer-{needing.id}": ""})
    assert services.state().step_tries(needing.id) == ()  # not played
    clock.instant += timedelta(days=2)
    client.post(f"/appointments/{made.id}/answers", data={f"answer-{needing.id}": "no"})
    [tried] = services.state().step_tries(needing.id)
    assert (tried.answer, tried.day, tried.at.hour, tried.cold) == (Answer.NO, day, 19, True)


def test_a_rehearsal_that_is_over_is_found_from_the_list(client, services, clock, needing):
    """On the evenings after it the player says how it went; nothing else leads there."""
    meet(client, services.today(), title="the quartet")
    (made,) = services.appointments.upcoming()
    clock.instant += timedelta(days=2)
    page = client.get("/performances").text
    assert f'href="/appointments/{made.id}"' in page
    assert "Enter answers" in words(page)
    client.post(f"/appointments/{made.id}/answers", data={f"answer-{needing.id}": "no"})
    page = client.get("/performances").text
    assert f'href="/appointments/{made.id}"' in page
    assert "Enter answers" not in words(page)


def test_what_is_still_to_come_has_no_answers(client, services, needing):
    meet(client, services.today() + timedelta(days=1))
    (made,) = services.appointments.upcoming()
    data = {f"answer-{needing.id}": "yes"}
    answer = client.post(f"/appointments/{made.id}/answers", data=data)
    assert answer.status_code == 422
    assert "on that day or later" in words(answer.text)


def test_it_can_be_changed(client, services, needing):
    today = services.today()
    meet(client, today)
    (made,) = services.appointments.upcoming()
    sent = {"kind": "lesson", "on": str(today + timedelta(days=2)), "topics": needing.topic_id}
    page = words(client.post(f"/appointments/{made.id}", data=sent).text)
    assert "Lesson" in page
    (changed,) = services.appointments.upcoming()
    assert changed.topic_ids == (needing.topic_id,)
    assert changed.offers == made.offers  # they were not asked
    refused = client.post(f"/appointments/{made.id}", data={**sent, "on": "2020-01-01"})
    assert refused.status_code == 422
    assert "past" in words(refused.text)


def test_a_met_step_says_when_it_is_asked_again(client, services, desk, needing):
    step = desk.step(services.pile.topic(needing.topic_id), "Kept")
    for _ in range(2):
        services.append(
            TryAnswered(
                try_id=services.log.new_id(),
                step_id=step.id,
                answer=Answer.YES,
                judge=Judge.PLAYER,
            )
        )
    said = words(client.get(f"/steps/{step.id}").text)
    assert re.search("Its cold take is due in the next plan|Next cold take around", said)
    assert "Next cold take" not in words(client.get(f"/steps/{needing.id}").text)

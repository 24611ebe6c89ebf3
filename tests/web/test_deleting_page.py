"""Deleting takes on their pages: asked once, with what goes and what stays; answers put right."""

from datetime import timedelta

import numpy as np
import pytest
from desk import fault_of, words

from coldtake.domain.ids import named_id
from coldtake.domain.take import Answer, NewTake
from coldtake.domain.topic import KeepTakes
from coldtake.web.views import session_data
from every_take import wav
from making import NOON

ONE, TWO = named_id("one"), named_id("two")
YESTERDAY = NOON - timedelta(days=1)


@pytest.fixture
def step(services, desk):
    """A step with two takes of yesterday, the first answered with yes."""
    made = desk.step(desk.topic())
    for number, take_id in enumerate((ONE, TWO)):
        sound = wav(np.random.default_rng(number).normal(0, 0.1, 4000).astype(np.float32))
        at = YESTERDAY + timedelta(minutes=number)
        new = NewTake(step_id=made.id, take_id=take_id, at=at, day=at.date(), to_judge=False)
        services.takes.keep(sound, new, "take.wav")
    services.takes.answer(ONE, Answer.YES)
    return made


def test_a_take_is_deleted_after_one_plain_question(client, services, step):
    assert f"/takes/delete?take={ONE}" in client.get(f"/takes/{ONE}").text
    asked = words(client.get(f"/takes/delete?take={ONE}").text)
    for said in ("The recording.", "yes, no or cannot tell", "cannot be undone", "Exports"):
        assert said in asked
    assert len(services.state().takes) == 2, "asking deletes nothing"
    done = client.post("/takes/delete", data={"take": ONE, "count": "1"})
    assert "Deleted for good: 1 take." in words(done.text)
    assert ONE in done.text, "this browser lets go of it"
    assert client.get(f"/takes/{ONE}").status_code == 404
    assert client.get(f"/takes/{ONE}/sound").status_code == 404
    page = words(client.get(f"/steps/{step.id}").text)
    assert "Deleted for good: 1 take. The answer stays." in page
    [emptied] = services.state().takes_deleted.values()
    assert set(emptied.entry_ids) <= set(session_data.snapshot(services)["settled"])


def test_takes_of_a_topic_or_before_a_day_are_counted_and_deleted(client, services, step):
    day = (YESTERDAY + timedelta(days=1)).date().isoformat()
    for query in (f"topic={step.topic_id}", f"before={day}", f"topic={step.topic_id}&before={day}"):
        assert "Delete 2 takes" in words(client.get(f"/takes/delete?{query}").text)
    none = words(client.get(f"/takes/delete?before={YESTERDAY.date().isoformat()}").text)
    assert "There is no such take." in none
    changed = client.post("/takes/delete", data={"before": day, "count": "1"})
    assert "There are 2 such takes now. The page showed 1." in fault_of(changed)
    assert len(services.state().takes) == 2
    done = client.post("/takes/delete", data={"topic": step.topic_id, "count": "2"})
    assert "Deleted for good: 2 takes." in words(done.text)
    assert not services.state().takes


@pytest.mark.parametrize(
    ("query", "said"),
    [("", "Nothing was chosen"), ("before=x", "not a date"), ("take=x", "was not found")],
)
def test_what_cannot_be_chosen_is_said(client, step, query, said):
    assert said in fault_of(client.get(f"/takes/delete?{query}"))


def test_no_browser_keeps_what_shows_a_take(client, step):
    for path in (f"/takes/{ONE}", f"/takes/{ONE}/sound"):
        assert client.get(path).headers["cache-control"] == "no-store"


def test_which_takes_a_topic_keeps_is_chosen_on_its_page(client, services, step):
    def save(**more):
        client.post(f"/topics/{step.topic_id}", data={"title": "Air", "importance": "3", **more})
        return services.state().topics[step.topic_id]

    assert save().keep_takes is KeepTakes.ALL
    chosen = save(keep_takes="first_tries")
    assert (chosen.keep_takes, chosen.keep_takes_from) == (KeepTakes.FIRST_TRIES, services.today())
    assert save(keep_takes="first_tries").keep_takes_from == chosen.keep_takes_from
    assert '<option value="first_tries" selected>' in client.get(f"/topics/{step.topic_id}").text


def test_an_answer_of_yesterday_is_put_right_on_the_page_of_its_step(client, services, step):
    before = services.state()
    assert before.tries[ONE].answer is Answer.YES
    assert "Change to no" in words(client.get(f"/steps/{step.id}").text)
    page = client.post(f"/tries/{ONE}/answer", data={"answer": "no"})
    said = "Corrected 12 Jan, 12:00: it was yes."
    assert said in words(page.text).replace("Tue ", ""), words(page.text)
    assert said in words(client.get(f"/takes/{ONE}").text).replace("Tue ", "")
    state = services.state()
    now = state.tries[ONE]
    assert (now.answer, now.day, now.cold) == (Answer.NO, YESTERDAY.date(), True)
    assert state.phase(step.id) != before.phase(step.id), "what follows from it follows"
    assert state.prints[step.id] != before.prints[step.id]
    answers = [e.data.answer for _, e in services.store.events() if hasattr(e.data, "answer")]
    assert answers == [Answer.YES, Answer.NO], "the log keeps both"
    client.post(f"/tries/{ONE}/answer", data={"answer": "no"})
    assert services.state().tries[ONE] == now, "the same answer is no correction"


def test_an_answer_is_put_right_after_its_take_was_deleted(client, services, step):
    client.post("/takes/delete", data={"take": ONE, "count": "1"})
    client.post(f"/tries/{ONE}/answer", data={"answer": "cannot_tell"})
    assert services.state().tries[ONE].answer is Answer.CANNOT_TELL
    missing = client.post(f"/tries/{TWO}/answer", data={"answer": "no"})
    assert "This answer was not found." in fault_of(missing)

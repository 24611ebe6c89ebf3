"""Performances, run-throughs and the minute after: made, put in order, played, told, taken back."""

import re
from datetime import timedelta

import pytest
from desk import fault_of, words

from coldtake.domain import events as ev
from coldtake.domain.performance import RunKind
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place


@pytest.fixture
def pieces(desk):
    steps = desk.laid_out()
    return list(dict.fromkeys(s.topic_id for s in steps))


@pytest.fixture
def concert(client, services):
    on = services.today() + timedelta(days=10)
    there = client.post(
        "/performances", data={"title": "Noon concert", "on": on.isoformat(), "place": "the hall"}
    )
    return services.performances.get(there.url.path.rsplit("/", 1)[1])


@pytest.fixture
def filled(services, concert, pieces):
    return services.performances.order(concert.id, pieces)


def practised(services, pieces, days=20):
    for ago in range(days, 0, -1):
        for topic_id in pieces:
            for step in services.state().topic_steps(topic_id):
                services.append(
                    ev.TryAnswered(
                        try_id=services.log.new_id(),
                        step_id=step.id,
                        answer=Answer.YES if ago % 4 else Answer.NO,
                        judge=Judge.PLAYER,
                    ),
                    ev.SlotEnded(session_id="s", slot_id="x", step_id=step.id, played_s=480),
                    at=services.now() - timedelta(days=ago),
                    day=services.today() - timedelta(days=ago),
                )


def test_a_performance_is_made_and_its_programme_put_in_order(client, services, concert, pieces):
    address = f"/performances/{concert.id}"
    for topic_id in pieces:
        client.post(f"{address}/programme", data={"topic_id": topic_id, "act": "add"})
    assert services.performances.get(concert.id).programme == tuple(pieces)
    client.post(f"{address}/programme", data={"topic_id": pieces[0], "act": "later"})
    assert services.performances.get(concert.id).programme == (pieces[1], pieces[0])
    client.post(f"{address}/programme", data={"topic_id": pieces[0], "act": "later"})
    assert services.performances.get(concert.id).programme == (pieces[1], pieces[0]), "a wall"
    client.post(f"{address}/programme", data={"topic_id": pieces[1], "act": "out"})
    said = words(client.get(address).text)
    assert "Noon concert" in said
    assert "the hall" in said
    assert "in 10 days" in said
    assert "0 of 2 steps met" in said
    changed = {"title": "Noon music", "on": concert.on.isoformat(), "place": ""}
    client.post(address, data=changed)
    assert services.performances.get(concert.id).title == "Noon music"
    assert "Noon music" in words(client.get("/performances").text)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"title": ""}, "This field is empty"),
        ({"on": "soon"}, "is not a date"),
        ({"on": "2020-01-01"}, "in the past"),
        ({"place": "x" * 201}, "at most 200"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_kept(client, services, concert, change, sentence):
    before = services.store.last_sequence()
    sent = {"title": "N", "on": concert.on.isoformat(), "place": ""} | change
    for address in ("/performances", f"/performances/{concert.id}"):
        answer = client.post(address, data=sent)
        assert answer.status_code in (400, 422)
        assert sentence in fault_of(answer)
    assert services.store.last_sequence() == before


def test_what_a_programme_cannot_do(client, services, concert, pieces):
    address, before = f"/performances/{concert.id}/programme", services.store.last_sequence()
    for sent, sentence in (
        ({"act": "add"}, "No piece was chosen"),
        ({"act": "add", "topic_id": "nobody"}, "This topic was not found"),
        ({"act": "out", "topic_id": pieces[0]}, "not in the programme"),
        ({"act": "burn"}, "not in the programme"),
    ):
        assert sentence in fault_of(client.post(address, data=sent))
    assert services.store.last_sequence() == before
    assert client.get("/performances/nobody").status_code == 404


def test_taken_off_and_put_back(client, services, filled):
    client.post(f"/performances/{filled.id}/off")
    said = words(client.get("/performances").text)
    assert "Deleted" in said
    assert client.get(f"/performances/{filled.id}").status_code == 404
    client.post(f"/performances/{filled.id}/on")
    assert services.performances.get(filled.id) == filled


def test_topics_take_the_date_of_their_performance(client, filled, pieces):
    assert "10 days left" in words(client.get("/").text)
    said = words(client.get(f"/topics/{pieces[0]}").text)
    assert "Noon concert" in said
    dates = words(client.get("/outlook/dates").text)
    assert dates.count("Fri 22 Jan") == 2  # the pages' clock stands at 12 January 2027


def test_readiness_says_not_enough_and_then_the_whole(client, services, filled, pieces):
    address = f"/performances/{filled.id}/readiness"
    before = words(client.get(address).text)
    assert "Not enough takes yet" in before
    assert "%" not in before
    practised(services, pieces)
    said = words(client.get(address).text)
    assert re.search(r"Every piece clean on stage: \d+ in 100", said)
    assert "Weakest steps" in said
    assert "pieces of one day depend on each other" in said


def test_readiness_of_an_empty_programme(client, concert):
    assert "No pieces yet" in words(client.get(f"/performances/{concert.id}").text)
    assert client.get(f"/performances/{concert.id}/readiness").status_code == 200


def begin(client, **sent):
    there = client.post("/run-through", data=sent)
    return there, there.url.path.rsplit("/", 1)[1]


def test_a_run_through_of_the_programme_like_the_day(client, services, clock, filled, pieces):
    said = words(client.get(f"/run-through?performance={filled.id}").text)
    assert "one try" in said
    there, run_id = begin(client, performance=filled.id, intention="Breathe before each start.")
    assert "Breathe before each start." in words(there.text)
    clock.go_on(minutes=9)
    page = client.get(f"/run-through/{run_id}/end").text
    assert 'value="9"' in page
    broke = services.state().topic_steps(pieces[1])[0]
    told = client.post(
        f"/run-through/{run_id}",
        data={
            "answer-0": "yes",
            "answer-1": "no",
            "broke-1": [broke.id],
            "broke-0": [broke.id],  # ticked under a yes: it does not count
            "words-1": "lost the thread",
            "minutes": "9",
        },
    )
    said = words(told.text)
    assert "1 of 2 clean" in said
    assert f"{broke.title}: lost the thread" in said
    run = services.performances.run(run_id)
    assert [p.answer for p in run.parts] == [Answer.YES, Answer.NO]
    assert (run.parts[0].broke, run.parts[1].broke, run.minutes) == ((), (broke.id,), 9.0)
    assert "1 of 2 clean" in words(client.get(f"/performances/{filled.id}").text)
    client.post(f"/run-through/{run_id}/back")
    assert services.state().runs == {}


def test_a_topic_by_itself_and_a_run_left_untold(client, services, filled, pieces):
    there, run_id = begin(client, topic=pieces[0], performance=filled.id)
    assert services.performances.run(run_id).topic_ids == (pieces[0],)
    assert "No result yet" in words(client.get(f"/performances/{filled.id}").text)
    there, other = begin(client, topic=pieces[0])
    assert services.performances.run(other).performance_id is None
    assert there.status_code == 200


def test_answers_that_are_missing_or_no_answers(client, services, filled):
    _, run_id = begin(client, performance=filled.id)
    before = services.store.last_sequence()
    for sent, sentence in (
        ({"answer-0": "yes"}, "no answer yet"),
        ({"answer-0": "yes", "answer-1": "perhaps"}, "is not allowed"),
        ({"answer-0": "yes", "answer-1": "no", "broke-1": "x"}, "not a step of that piece"),
        ({"answer-0": "yes", "answer-1": "no", "minutes": "1e9"}, "from 0 to 360"),
    ):
        assert sentence in fault_of(client.post(f"/run-through/{run_id}", data=sent))
    assert "has no pieces yet" in fault_of(client.post("/run-through", data={}))
    assert services.store.last_sequence() == before


def test_the_minute_after_and_what_it_teaches(client, services, clock, filled):
    address = f"/performances/{filled.id}/after"
    assert "is on a later day" in words(client.get(address).text)
    sent = {"answer-0": "yes", "answer-1": "no", "words": "cold hands"}
    assert "on that day or later" in fault_of(client.post(address, data=sent))
    clock.go_on(days=11)
    assert "Enter result" in words(client.get("/performances").text)
    said = words(client.post(address, data=sent).text)
    assert "Result" in said
    assert "cold hands" in said
    run = services.performances.stage_run(filled.id)
    assert (run.kind, run.day) == (RunKind.STAGE, filled.on)
    assert 'value="yes"' in client.get(address).text
    assert "Enter result" not in words(client.get("/performances").text)
    client.post(address, data=sent | {"answer-1": "yes"})
    assert services.performances.stage_run(filled.id).parts[1].answer is Answer.YES


def test_the_stage_effect_is_told_once_there_is_enough(client, services, clock, filled, pieces):
    practised(services, pieces)
    assert "Not enough takes yet" in words(client.get("/performances/stage").text)
    for _ in range(3):
        _, run_id = begin(client, performance=filled.id)
        client.post(f"/run-through/{run_id}", data={"answer-0": "no", "answer-1": "yes"})
        clock.go_on(days=1)
    said = words(client.get("/performances/stage").text)
    assert re.search(r"on stage: about \d+ in 100 \(between \d+ and \d+ in 100", said)
    assert "on 3 days" in said


def test_a_recording_of_a_run_through_is_kept_and_not_judged(client, services, filled):
    import io

    import numpy as np
    import soundfile

    _, run_id = begin(client, performance=filled.id)
    client.post(f"/run-through/{run_id}", data={"answer-0": "yes", "answer-1": "yes"})
    sound = io.BytesIO()
    soundfile.write(sound, 0.1 * np.sin(np.arange(48000) / 20), 48000, format="WAV")
    client.post(f"/run-through/{run_id}/take", files={"sound": ("run.wav", sound.getvalue())})
    page = client.get(f"/run-through/{run_id}").text
    [address] = re.findall(r'src="(/takes/[^"]+/sound)"', page)
    assert client.get(address).headers["content-type"] == "audio/flac"
    [take] = services.state().takes.values()
    assert (take.step_id, take.verdict) == (run_id, None)
    assert client.get(f"/takes/{take.id}").status_code == 200
    assert services.takes.outdated() == ()
    nothing = client.post(f"/run-through/{run_id}/take", data={})
    assert "No recording was chosen" in fault_of(nothing)


def test_a_piece_that_waits_is_said(client, services, filled, pieces):
    services.pile.place(pieces[0], Place.WAITING)
    assert "not in plans" in words(client.get(f"/performances/{filled.id}").text)


def test_the_plan_of_the_last_days_offers_a_run_through_and_takes_a_no(
    client, services, clock, desk
):
    topic = desk.topic("Air in C")
    for n in (1, 2):
        desk.step(topic, f"part {n}")
    practised(services, [topic.id])
    services.performances.add(
        "Noon concert", services.today() + timedelta(days=3), programme=[topic.id]
    )
    sent = {"minutes": "60", "starts_at": "17:00", "day": ""}
    said = words(client.post("/tomorrow", data=sent).text)
    assert "Run-through: Air in C" in said
    assert "in this run-through: " in said
    tomorrow = services.today() + timedelta(days=1)
    plan = services.plans.plan(tomorrow)
    assert plan.minutes <= 60
    assert f"17:{plan.lead_min:02d}" in said, "the slots begin after it"
    assert "Run-through" in words(client.get(f"/tomorrow/print?day={tomorrow}").text)
    assert b"run-through: Air in C" in services.plans.calendar(tomorrow).replace(b"\r\n ", b"")
    change = {"day": tomorrow.isoformat(), "act": "no_run"}
    said = words(client.post("/tomorrow/change", data=change).text)
    assert "Run-through: Air in C" not in said
    assert "Allow run-through again" in said
    client.post("/tomorrow/change", data=change | {"act": "with_run"})
    assert services.plans.plan(tomorrow).run is not None

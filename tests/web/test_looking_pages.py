"""Progress, outlook, settings: true figures, each chart with its table, nothing pretended."""

import re
from datetime import timedelta

import pytest
from desk import fault_of, words

from coldtake import settings
from coldtake.domain import events as ev
from coldtake.domain.take import Answer, Judge


def practised(services, step, days_ago, answer, minutes=10.0):
    day = services.today() - timedelta(days=days_ago)
    at = services.now() - timedelta(days=days_ago)
    services.append(
        ev.TryAnswered(
            try_id=services.log.new_id(), step_id=step.id, answer=answer, judge=Judge.PLAYER
        ),
        ev.SlotEnded(session_id="s", slot_id="x", step_id=step.id, played_s=60 * minutes),
        at=at,
        day=day,
    )


def test_nothing_played_yet(client):
    assert "Nothing played yet" in words(client.get("/progress").text)


def test_progress_tells_weeks_and_minutes(client, services, desk):
    first, _, other, _ = desk.laid_out()
    practised(services, first, 9, Answer.NO, 10)
    practised(services, first, 8, Answer.YES, 20)
    practised(services, other, 1, Answer.YES, 12)
    page = client.get("/progress").text
    said = words(page)
    assert "Air in C 30 min" in said
    assert "Scales 12 min" in said
    # Monday 11 January 2027 begins the week of "yesterday"; the one before holds the first yes
    assert re.search(r"4 Jan 1 0 0", said)
    assert re.search(r"11 Jan 1 0 0", said)
    assert 'aria-labelledby="chords-name chords-words"' in page
    assert '<title id="chords-name">' in page
    assert '<desc id="chords-words">' in page
    assert '<ul class="strokes" aria-label="Minutes played on each topic">' in page
    assert page.count("<table>") == 2


def test_the_outlook_says_not_enough_before_it_knows(client, desk):
    desk.laid_out()
    page = words(client.get("/outlook/dates").text)
    assert "Not enough takes yet" in page
    assert "%" not in page


def test_the_outlook_gives_intervals_once_it_knows(client, services, desk):
    steps = desk.laid_out()
    for days_ago in range(20, 0, -1):
        for one in steps:
            practised(services, one, days_ago, Answer.YES if days_ago % 5 else Answer.NO)
    page = words(client.get("/outlook/dates").text)
    assert re.search(r"\d+ % to \d+ %", page)
    assert "steps should come out clean that day" in page


def test_an_empty_outlook_leads_to_the_pile(client):
    assert "nothing to look ahead to yet" in words(client.get("/outlook/dates").text)


def test_the_outlook_page_answers_at_once_and_fetches_the_rest(client):
    page = client.get("/outlook?minutes=40").text
    assert 'hx-get="/outlook/dates?minutes=40"' in page


@pytest.mark.parametrize("minutes", ["-1", "x", "1000"])
def test_minutes_a_day_that_cannot_be(client, minutes):
    assert client.get(f"/outlook?minutes={minutes}").status_code == 422


def test_every_setting_stands_with_its_line(client):
    page = words(client.get("/settings").text)
    for setting in settings.SETTINGS:
        assert setting.help in page


def test_a_setting_is_chosen(client, services):
    client.post("/settings", data={"period_cap": "40"})
    assert services.settings.all()["period_cap"] == 40
    assert services.state().settings == {"period_cap": "40"}


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("period_cap", "90", "outside 5 to 60 min"),
        ("period_cap", "", "outside"),
        ("a4_hz", "high", "outside 392 to 466 Hz"),
        ("loudness", "3", "no setting called"),
    ],
)
def test_a_setting_that_cannot_be(client, services, name, value, sentence):
    answer = client.post("/settings", data={name: value})
    assert answer.status_code == 422
    assert sentence in fault_of(answer)
    assert services.state().settings == {}

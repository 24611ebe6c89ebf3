"""Progress, outlook, settings: true figures, each chart with its table, nothing pretended."""

import re
from datetime import timedelta

import pytest
from desk import fault_of, words

from coldtake import settings
from coldtake.domain import events as ev
from coldtake.domain.estimate import ForecastChance, Interval, SaidTopic
from coldtake.domain.take import Answer, Judge
from coldtake.learning.calibration import yes_chance


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
    assert 'aria-label="Minutes of each topic by week"' in page
    assert 'aria-label="Air in C: 10, 20, 0 minutes, week by week"' in page
    assert "28 Dec 10 0 4 Jan 20 0 11 Jan 0 12" in said
    assert page.count("<table>") == 2
    assert "Not enough takes yet: 0 of 20 cold takes" in said
    assert "No clean tempo was measured in these weeks." in said


def tried_at(services, step, days_ago, bpm):
    services.append(
        ev.TryAnswered(
            try_id=services.log.new_id(),
            step_id=step.id,
            answer=Answer.YES,
            judge=Judge.PLAYER,
            tempo_bpm=bpm,
        ),
        at=services.now() - timedelta(days=days_ago),
        day=services.today() - timedelta(days=days_ago),
    )


def test_clean_tempi_and_where_they_lead(client, services, desk):
    first, _, other, _ = desk.laid_out()
    for days_ago, bpm in ((25, 60), (20, 66), (14, 70), (8, 73), (3, 75)):
        tried_at(services, first, days_ago, float(bpm))
    for days_ago in (6, 2):
        tried_at(services, other, days_ago, 80.0)
    page = client.get("/progress").text
    said = words(page)
    assert "Fastest clean tempo: ♩ = 75, first on Sat 9 Jan." in said
    assert re.search(
        r"If you practise as before, it reaches about \d+: between \d+ and \d+, "
        r"right 4 times in 5\. "
        r"Target ♩ = 96: (around \w+ \d+ \w+|within reach now|not expected)",
        said,
    )
    assert "Fri 18 Dec 60" in said  # its table
    assert '<path class="band"' in page
    assert "Scales, part 1 clean at ♩ = 80, the target, on 2 days" not in said
    assert "Scales, part 1 clean at ♩ = 80" in said
    assert "%" not in re.search(r"Clean tempo.*How often", said)[0]
    of_step = words(client.get(f"/steps/{first.id}").text)
    assert "Fastest clean tempo: ♩ = 75, first on Sat 9 Jan." in of_step


def test_a_tempo_that_was_reached_needs_no_outlook(client, services, desk):
    first, *_ = desk.laid_out()  # at 96
    for days_ago, bpm in ((25, 60), (20, 80), (14, 90), (8, 96), (3, 72)):
        tried_at(services, first, days_ago, float(bpm))
    page = client.get("/progress").text
    assert "Fastest clean tempo: ♩ = 96, first on Mon 4 Jan. That is the target." in words(page)
    assert '<path class="band"' not in page


def test_too_few_clean_tempi_say_so(client, services, desk):
    first, *_ = desk.laid_out()
    for days_ago, bpm in ((9, 60), (2, 72)):
        tried_at(services, first, days_ago, float(bpm))
    assert "Not enough clean takes yet for a forecast" in words(client.get("/progress").text)


def test_how_right_the_outlook_was(client, services, desk):
    first, *_ = desk.laid_out()
    for days_ago in range(25, 0, -1):
        day = services.today() - timedelta(days=days_ago)
        at = services.now() - timedelta(days=days_ago)
        chance = (ForecastChance(step_id=first.id, chance=0.75),)
        before = at - timedelta(hours=12)
        services.append(ev.ChancesSaid(for_day=day, chances=chance), at=before, day=day)
        practised(services, first, days_ago, Answer.YES if days_ago % 5 else Answer.NO)
    said = words(client.get("/progress").text)
    yes = yes_chance(0.75, heard=False)
    score = 0.8 * (1 - yes) ** 2 + 0.2 * yes**2  # against 0.8 * 0.2 of always saying 80 %
    assert f"20 of 25 cold takes were clean. The estimates expected {25 * yes:.1f}" in said
    assert "a yes expected: 70 to 80 times in 100 20 of 25 yes" in said
    assert f"Brier score {score:.3f}; a constant estimate of 80 in 100 has 0.16. Cannot" in said
    assert "There is no estimate for a date yet" in said


def said_of(services, steps, on, days_ago=30):
    topic = SaidTopic(
        topic_id=steps[0].topic_id,
        on=on,
        clean_steps=Interval(low=1, mid=1, high=2),
        ready_chance=0.3,
        steps=tuple(ForecastChance(step_id=s.id, chance=0.6) for s in steps),
    )
    at = services.now() - timedelta(days=days_ago)
    services.append(ev.OutlookSaid(topics=(topic,)), at=at, day=at.date())


def test_intervals_that_held(client, services, desk):
    first, second, *_ = desk.laid_out()
    practised(services, first, 10, Answer.YES)
    practised(services, second, 9, Answer.NO)
    said_of(services, [first, second], services.today() + timedelta(days=20), days_ago=2)
    assert "The first date with an estimate is Monday 1 February 2027" in words(
        client.get("/progress").text
    )
    said_of(services, [first, second], services.today() - timedelta(days=9))
    said = words(client.get("/progress").text)
    assert "1 of 1 ranges were right" in said
    assert "Sun 3 Jan Air in C Sun 13 Dec 1 to 2 of 2 1 of 2 yes" in said
    assert "Each step: not enough takes yet, 2 of 20 cold takes" in said


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
    assert re.search(r"between \d+ and \d+ in 100", page)
    assert "steps clean on that day" in page


def test_an_empty_outlook_leads_to_the_pile(client):
    assert "There is no outlook yet" in words(client.get("/outlook/dates").text)


def test_the_outlook_page_answers_at_once_and_fetches_the_rest(client):
    page = client.get("/outlook?minutes=40").text
    assert 'hx-get="/outlook/dates?minutes=40"' in page


@pytest.mark.parametrize("minutes", ["-1", "x", "1000"])
def test_minutes_a_day_that_cannot_be(client, minutes):
    assert client.get(f"/outlook?minutes={minutes}").status_code == 422


def test_every_setting_stands_with_its_line(client):
    page = words(client.get("/settings").text)
    for setting in settings.SETTINGS:
        assert (setting.help in page) == setting.shown


def test_a_setting_is_chosen(client, services):
    client.post("/settings", data={"period_cap": "40"})
    assert services.settings.all()["period_cap"] == 40
    assert services.state().settings == {"period_cap": "40"}


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("period_cap", "90", "from 5 to 60"),
        ("period_cap", "", "not allowed"),
        ("a4_hz", "high", "from 392 to 466"),
        ("loudness", "3", "does not exist"),
    ],
)
def test_a_setting_that_cannot_be(client, services, name, value, sentence):
    answer = client.post("/settings", data={name: value})
    assert answer.status_code == 422
    assert sentence in fault_of(answer)
    assert services.state().settings == {}

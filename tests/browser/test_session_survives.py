"""Nothing lost, nothing doubled: server killed, page reloaded, two tabs, no server at all."""

import random
from collections import Counter

import pytest
from stand import Stand, laid_out, plan_today, slot

from coldtake.bootstrap import open_services
from coldtake.domain import events as ev

pytestmark = pytest.mark.browser


@pytest.fixture
def data(tmp_path):
    """A data folder with a plan for today."""
    folder = tmp_path / "data"
    services = open_services(folder)
    steps = laid_out(services)
    plan_today(
        services,
        [slot(steps["row"], 9), slot(steps["own"], 8), slot(steps["air"], 7)],
    )
    services.close()
    return folder


def session_ids(data):
    """Ids of the session's events as the log holds them, in order of arrival."""
    services = open_services(data)
    kinds = (ev.PlanKept, ev.TopicKept, ev.TopicPlaced, ev.StepKept, ev.PassageKept)
    found = [e for _, e in services.store.events() if not isinstance(e.data, kinds)]
    services.close()
    return [e.id for e in found], found


def digits(page):
    minutes, seconds = page.evaluate(
        "() => [...document.querySelectorAll('#bar .signature')].map((d) => Number(d.textContent))"
    )
    return 60 * minutes + seconds


def test_server_killed_at_random_moments_loses_and_doubles_nothing(data, served_process, open_page):
    server = served_process(data)
    stand = Stand(open_page(), server.url).open().begin()
    chance = random.Random(4)
    for _ in range(2):
        for key in chance.choices(("y", "n", "c", "Backspace"), k=6):
            stand.page.keyboard.press(key)
        server.kill()
        stand.press("y", "n")
        stand.page.wait_for_function(
            "() => document.querySelector('#notices').textContent.includes('does not answer')"
        )
        server.start()
        stand.sent()
    stand.press("m").sees("intention").press("Enter").sees("slot", "Slow bows").press("y").sent()
    kept = stand.kept_ids()
    server.kill()
    ids, _ = session_ids(data)
    assert Counter(ids).most_common(1)[0][1] == 1
    assert set(ids) == kept


def test_reload_while_the_server_is_dead_keeps_clock_and_answers(data, served_process, open_page):
    server = served_process(data)
    page = open_page()
    stand = Stand(page, server.url).open().begin().press("y", "n", "y")
    page.evaluate("() => navigator.serviceWorker.ready")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    stand.sent()
    server.kill()
    stand.press("y")
    before = digits(page)
    began = page.evaluate("() => Date.now()")
    page.reload()
    page.wait_for_function("() => document.body.dataset.ready === 'yes'")
    stand.sees("slot", "Again")
    gone = (page.evaluate("() => Date.now()") - began) / 1000
    assert digits(page) == pytest.approx(before - gone, abs=2)
    assert page.inner_text("#slot-row") == "2 of 3 in a row"
    assert page.locator("#bar .mark").count() == 4
    assert "does not answer" in page.inner_text("#notices")
    assert page.evaluate("() => document.querySelector('.page img').naturalWidth > 0")
    stand.press("n", "m").sees("intention").press("Enter").sees("slot", "Slow bows")
    server.start()
    stand.sent()
    page.wait_for_function(
        "() => !document.querySelector('#notices').textContent.includes('does not answer')"
    )
    kept = stand.kept_ids()
    server.kill()
    ids, found = session_ids(data)
    assert set(ids) == kept
    assert len(ids) == len(kept)
    answers = [e.data.answer for e in found if isinstance(e.data, ev.TryAnswered)]
    assert answers == ["yes", "no", "yes", "yes", "no"]


def test_a_reload_from_the_server_alone_gives_the_same_session(data, served_process, open_page):
    """Another browser knows only what the server tells."""
    server = served_process(data)
    first = Stand(open_page(), server.url).open().begin().press("y", "n").sent()
    left = digits(first.page)
    other = Stand(open_page(), server.url).open().sees("slot", "Again")
    assert other.page.locator("#bar .mark").count() == 2
    assert digits(other.page) == pytest.approx(left, abs=8)


def test_two_tabs_do_not_fight(data, served_process, open_page):
    server = served_process(data)
    page = open_page()
    first = Stand(page, server.url).open().begin()
    second = Stand(page.context.new_page(), server.url).open().sees("slot", "Again")
    second.page.wait_for_function(
        "() => document.querySelector('#notices').textContent.includes('another tab')"
    )
    second.press("y")
    first.press("n")
    second.page.wait_for_function("() => document.querySelectorAll('#bar .mark').length === 1")
    second.press("t")
    first.page.wait_for_function(
        "() => document.querySelector('#notices').textContent.includes('another tab')"
    )
    first.press("n")
    second.press("y").sent()
    server.kill()
    _, found = session_ids(data)
    answers = [e.data.answer for e in found if isinstance(e.data, ev.TryAnswered)]
    assert answers == ["no", "yes"]

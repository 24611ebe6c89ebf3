"""One clock: a hidden tab and a busy main thread shift no click and no deadline.

Ten minutes of the same, with figures: bench/browser/clock.py.
"""

import random
import time

import pytest
from raw_browser import RawBrowser
from rendered import BLOCK, EVENTS, begin, click_errors, hide
from stand import BPM, Stand, laid_out, plan_today, slot

from conftest import ARGS, CHROMIUM

pytestmark = [pytest.mark.browser, pytest.mark.audio]

CLICKS_LEAST = 8
SEEN_WITHIN_MS = 5_000  # on any machine; how soon on a quiet one is in bench/browser


@pytest.fixture
def planned(services):
    steps = laid_out(services)
    plan_today(services, [slot(steps["row"], 9), slot(steps["own"], 5)])
    return steps


def test_a_hidden_tab_with_a_busy_main_thread(services, served, planned):
    """The quiet moment ends on its deadline; every click is in its place."""
    services.settings.choose("quiet_seconds", "4")
    chance = random.Random(1)
    with RawBrowser(CHROMIUM, *ARGS) as browser:
        tab = begin(browser, served.url)
        hide(browser, tab)
        tab.wait("document.body.dataset.screen === 'slot'")
        ((_, seen),) = tab.evaluate("__turns")
        events = dict(tab.evaluate(EVENTS))
        assert events["slot_started"] - events["intention_set"] == 4000
        assert seen - events["slot_started"] < SEEN_WITHIN_MS
        time.sleep(2.0)  # until the slot's bell has rung out: it would cover the first clicks
        tab.press("PageDown")
        tab.wait("document.body.dataset.take === 'playing'")
        for _ in range(4):
            tab.evaluate(BLOCK)
            time.sleep(chance.uniform(0.1, 0.4))
        tab.wait(f"__tap.onsets.length >= {CLICKS_LEAST}")
        heard = click_errors(tab)
    assert heard["missing"] == 0, str(heard)
    assert heard["worst_ms"] < 1.0, heard
    assert heard["clicks"] >= CLICKS_LEAST


def test_a_clock_set_back_an_hour_changes_nothing(served, services, planned, open_page):
    page = open_page()
    page.clock.install()
    stand = Stand(page, served.url).open().begin()
    left = page.evaluate("() => document.querySelector('#bar .signature').textContent")
    page.evaluate("() => { const now = Date.now; Date.now = () => now() - 3_600_000; }")
    stand.press("y").forward(120).press("n").sent()
    now_left = page.evaluate("() => document.querySelector('#bar .signature').textContent")
    assert int(left) - int(now_left) in (2, 3)
    stand.forward(430).sees("intention").sent()
    (run,) = services.state().sessions.values()
    assert run.slots[0].played_s == pytest.approx(540, abs=0.01)
    first, second = services.state().step_tries(planned["row"].id)
    assert 120 <= (second.at - first.at).total_seconds() < 140, f"a click of {BPM} runs too"

"""Takes that start, end, are judged and counted by themselves; a pedal that learns."""

import pytest
from stand import (
    AIR,
    ENTERS,
    Stand,
    clarinet,
    enters,
    laid_out,
    microphone_file,
    plan_today,
    show_more,
    slot,
)

from coldtake.domain.take import Answer, Judge

pytestmark = [pytest.mark.browser, pytest.mark.audio]

WORK_S = 258.0  # past the work that comes before the takes of a slot of six minutes
AGAIN_S = 6.0
HEARD = "() => document.querySelector('#mic-words').textContent.includes('ready')"


@pytest.fixture
def begin(services, served, hearing, tmp_path):
    """Open a session with one slot for work, two in a row wanted; the microphone plays."""
    services.settings.choose("quiet_seconds", "0")
    steps = laid_out(services, times=2)
    plan_today(services, [slot(steps["row"], 6)])

    def build(script="0"):
        browser = hearing(microphone_file(tmp_path, (), 1.0))
        page = browser.new_page(viewport={"width": 1180, "height": 820})
        page.add_init_script(script)
        page.clock.install()
        stand = Stand(page, served.url)
        stand.open().sees("start").press("Space").sees("intention")
        page.wait_for_function(HEARD)
        return stand.press("Enter").sees("slot", "Again")

    return build


def test_two_in_a_row_without_a_touch(begin, services, tmp_path):
    stand, air = begin(ENTERS), clarinet(AIR, tmp_path)
    page = stand.page
    assert "starts at" in page.inner_text("#take-small")
    enters(page, air)
    page.clock.fast_forward(round(1000 * WORK_S))
    page.wait_for_function("() => document.body?.dataset.take === 'count_in'")
    assert page.inner_text("#cancel").startswith("Not yet")
    assert stand.waits_for("Yes", "No", "Cannot tell") == "Yes", page.inner_text("#told")
    assert page.inner_text("#slot-row") == "1 of 2 in a row"
    high = page.evaluate(
        "() => document.querySelector('#told-word').getBoundingClientRect().height"
    )
    # Beside the music: 66 pixels of a 96th of an inch are 17 mm, for two metres 10 are enough.
    assert high > 0.08 * 820, "a verdict is read from two metres"
    assert page.locator("#coming").is_visible()
    enters(page, air)
    page.clock.fast_forward(round(1000 * AGAIN_S))
    page.wait_for_function("() => document.body?.dataset.take === 'playing'")
    assert stand.waits_for("Yes", "No", "Cannot tell") == "Yes", page.inner_text("#told")
    assert page.inner_text("#slot-row") == "2 of 2 in a row"
    assert "Criterion met." in page.inner_text("#offer-words")
    stand.sent()
    (row,) = (s for s in services.state().steps.values() if s.title == "Again")
    tries = services.state().step_tries(row.id)
    assert [(t.answer, t.judge) for t in tries] == [(Answer.YES, Judge.TOOL)] * 2


def test_cut_off_by_a_reload_then_nobody_there(begin, services):
    stand = begin()
    page = stand.page
    stand.forward(WORK_S)
    page.wait_for_function("() => document.body?.dataset.take === 'playing'")
    page.wait_for_timeout(700)
    page.reload()
    page.wait_for_function("() => document.body?.dataset.ready === 'yes'")
    stand.sees("slot", "Again")
    page.wait_for_function(
        "() => document.querySelector('#notices').textContent.includes('interrupted take')"
    )
    stand.press("h", "h").sent()  # any key gives the page its sound again; this one plays a passage
    (kept,) = services.state().takes.values()
    assert (kept.source, kept.verdict) == ("interrupted", None)
    page.wait_for_function("() => !document.querySelector('#coming').hidden")
    stand.forward(30)
    page.wait_for_function(
        "() => document.querySelector('#notices').textContent.includes('Nothing was played')",
    )
    assert page.inner_text("#take-small") == "recorded, press a key"
    stand.forward(30)
    assert page.evaluate("document.body.dataset.take") == "none"
    stand.sent()
    assert list(services.state().takes) == [kept.id], "a take that nobody played is no take"
    assert services.state().tries == {}


def test_not_yet_and_a_pedal_with_more_switches(begin):
    stand = begin()
    page = stand.page
    stand.forward(WORK_S)
    page.wait_for_function("() => document.body?.dataset.take === 'count_in'")
    stand.press("PageUp")
    page.wait_for_function("() => document.body?.dataset.take === 'none'")
    assert page.inner_text("#take-small") == "recorded, press a key"

    show_more(page)
    page.get_by_text("Keys", exact=True).click()
    row = page.locator("#keys tr", has_text="Next slot")
    row.get_by_role("button").click()
    page.keyboard.press("F8")
    assert "F8" in row.inner_text()
    stand.press("Escape", "F8").sees("end")

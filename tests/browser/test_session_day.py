"""A whole day from an empty data folder, through the pages, with a recorded clarinet.

The microphone plays from the moment the page opens it; the player presses the key so that the
performance falls after the count-in, as a player would enter.
"""

import re
import time

import pytest
from playwright.sync_api import Page, expect
from stand import ABC, AIR, Stand, microphone_file

from coldtake.bootstrap import open_services
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import StepPhase
from conftest import PATIENCE_S

pytestmark = [pytest.mark.browser, pytest.mark.audio]

RIGHT_AT_S, WRONG_AT_S, LENGTH_S = 14.0, 34.0, 90.0
COUNT_IN_S = 0.25 + 4 * 60 / 96
LATE_S = 0.5  # the clarinet enters this long after the count-in asks for it
WRONG = (*AIR[:4], (66, 1), *AIR[5:])  # F sharp in the place of G


@pytest.fixture
def page(hearing, tmp_path):
    performances = ((RIGHT_AT_S, AIR), (WRONG_AT_S, WRONG))
    browser = hearing(microphone_file(tmp_path, performances, LENGTH_S))
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.set_default_timeout(1000 * PATIENCE_S)
    page.clock.install()
    return page


def lay_out(page: Page, url: str) -> None:
    """Two topics with a step each; the first has notation."""
    page.goto(url)
    page.fill("#new-topic", "Air in C")
    page.get_by_role("button", name="Add without playing").click()
    page.get_by_role("button", name="Make “Air in C” current").click()
    page.fill("#first-step", "Bars 1 to 3")
    page.get_by_role("button", name="Add first step").click()
    expect(page.get_by_text("Plan today").first).to_be_visible()
    page.get_by_role("link", name="Air in C").first.click()
    page.get_by_role("link", name="Bars 1 to 3").click()
    page.fill("textarea[name=abc]", ABC)
    page.get_by_role("button", name="Use this notation").click()
    expect(page.get_by_role("img", name=re.compile("Notation")).first).to_be_visible()
    page.goto(url)
    page.fill("#new-topic", "Loose hands")
    page.get_by_role("button", name="Add").click()
    page.get_by_role("link", name="Loose hands").first.click()
    page.fill("#new-step", "Slow bows")
    page.get_by_role("button", name="Add").click()
    expect(page.get_by_role("link", name="Slow bows")).to_be_visible()
    if page.locator("#place-current").count():
        page.locator("#place-current").click()
        expect(page.locator("#place-waiting")).to_be_visible()


def plan(page: Page, url: str) -> None:
    page.goto(f"{url}/tomorrow")
    page.fill("input[name=minutes]", "40")
    day = page.evaluate("() => new Date().toLocaleDateString('sv')")  # nothing was played before
    page.fill("input[name=day]", day)
    page.get_by_role("button", name=re.compile("Make plan|Update plan")).click()
    page.get_by_role("link", name="Start session").click()


def wait_until(mic_opened: float, second: float) -> None:
    time.sleep(max(0.0, mic_opened + second - time.monotonic()))


def enter(stand: Stand, opened: float, at_s: float) -> None:
    """Press the pedal so that the performance at `at_s` follows the count-in."""
    wait_until(opened, at_s - COUNT_IN_S - LATE_S)
    stand.page.keyboard.press("PageDown")


def go_to(stand: Stand, title: str) -> None:
    """Move on through slots, breaks and intentions until a slot of this step runs."""
    trail = []
    for _ in range(12):
        screen = stand.page.evaluate("document.body.dataset.screen")
        trail.append((screen, stand.page.inner_text("#slot-title") if screen == "slot" else ""))
        if screen == "slot":
            if title in stand.page.inner_text("#slot-title"):
                return
            stand.press("m")
        elif screen == "break":
            stand.forward(200).press("PageDown")
        else:
            stand.press("PageDown")
    raise AssertionError(f"no slot of {title}: {trail}")


def keep(page: Page, name: str) -> None:
    """Keep a setting, and wait for its answer: the next one is chosen on the page that comes."""
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.locator(f"form:has([name={name}])").get_by_role("button").first.click()
    page.wait_for_load_state("networkidle")


def test_a_day_of_practice(tmp_path, served_process, page):
    data = tmp_path / "data"
    server = served_process(data)
    lay_out(page, server.url)
    page.goto(f"{server.url}/settings")
    page.fill("[name=period_cap]", "10")
    keep(page, "period_cap")
    page.select_option("[name=takes_alone]", "0")  # this player starts takes by the pedal
    keep(page, "takes_alone")
    plan(page, server.url)

    stand = Stand(page, server.url)
    stand.page.wait_for_function("() => document.body?.dataset.ready === 'yes'")
    stand.sees("start").press("Space").sees("intention")
    page.wait_for_function(
        "() => document.querySelector('#mic-words').textContent.includes('ready')"
    )
    opened = time.monotonic()
    page.keyboard.type("One breath")
    stand.press("Enter").sees("quiet").press("PageDown").sees("slot")
    go_to(stand, "Bars 1 to 3")
    page.click("#click-drawer summary")
    page.fill("#click-bpm", "96")  # this player begins at the tempo of the page
    page.keyboard.press("Escape")
    assert "recorded" in page.inner_text("#take-small")
    assert page.evaluate("document.body.dataset.recording") == "false"

    enter(stand, opened, RIGHT_AT_S)
    stand.waits_for("Recording")
    assert page.evaluate("document.body.dataset.recording") == "true"
    assert stand.waits_for("Yes", "No", "Cannot tell") == "Yes", page.inner_text("#told")
    assert page.evaluate("document.body.dataset.recording") == "false"
    with page.expect_popup() as evidence:
        page.get_by_role("link", name="Show all notes").click()
    expect(evidence.value.locator("main svg").first).to_be_visible()
    expect(evidence.value.get_by_text("All 9 notes right.")).to_be_visible()
    evidence.value.close()

    enter(stand, opened, WRONG_AT_S)
    stand.waits_for("Recording")
    assert stand.waits_for("Yes", "No", "Cannot tell") == "No"

    # The battery dies while the player answers; nothing of it is lost.
    server.kill()
    stand.press("Escape", "n")
    server.start()
    stand.sent()
    go_to(stand, "Slow bows")
    stand.press("y")
    while not page.locator("[data-screen=end]").count():
        stand.press("m") if page.locator("[data-screen=slot]").count() else stand.press("PageDown")
        if page.locator("[data-screen=break]").count():
            stand.forward(310)
    assert "Played" in page.inner_text("#end-title")
    assert "2 yes" in page.inner_text("#end-counts")
    assert "2 no" in page.inner_text("#end-counts")
    page.fill("#end-note", "The leap is there")
    with page.expect_navigation(url="**/tomorrow*"):
        page.get_by_role("button", name="Plan tomorrow").click()
    expect(page.locator("h1")).to_be_visible()
    server.kill()

    services = open_services(data)
    state = services.state()
    (session,) = state.sessions.values()
    assert (session.note, session.intentions[""]) == ("The leap is there", "One breath")
    assert len(session.breaks) >= 1
    air = next(s for s in state.steps.values() if s.title == "Bars 1 to 3")
    tries = state.step_tries(air.id)
    assert [t.answer for t in tries] == [Answer.YES, Answer.NO, Answer.NO]
    assert [t.judge for t in tries] == [Judge.TOOL, Judge.TOOL, Judge.PLAYER]
    right, wrong = (services.takes.get(i) for i in state.takes)
    assert not services.takes.damaged(right.id)
    assert {n.status for n in right.verdict.notes} == {"right"}
    marked = [n for n in wrong.verdict.notes if n.status == "wrong"]
    assert [(n.expected_pitch, round(n.pitch)) for n in marked] == [(67, 66)]
    assert state.phase(air.id) is StepPhase.MET
    services.close()

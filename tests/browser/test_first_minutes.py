"""The first minutes: an empty tool, one typed line, no microphone, no notation, no help page."""

import pytest
from playwright.sync_api import Page, expect

from coldtake.domain.plan import SlotKind
from coldtake.domain.topic import Place

pytestmark = pytest.mark.browser


class Newcomer:
    """Somebody with a phone who counts what they touch."""

    def __init__(self, page: Page):
        self.page = page
        self.touches = 0

    def touch(self, name: str) -> None:
        self.page.get_by_role("button", name=name).first.click()
        self.touches += 1

    def enter(self) -> None:
        self.page.keyboard.press("Enter")
        self.touches += 1


def test_one_line_and_five_touches_to_the_first_finished_slot(served, open_page, axe):
    newcomer = Newcomer(open_page(390, 844))
    page = newcomer.page
    page.goto(served.url)
    assert axe(page) == []
    page.keyboard.type("long tones")  # the field has the focus already
    newcomer.enter()
    newcomer.touch("Start")
    newcomer.touch("Skip")
    newcomer.touch("Start now")
    question = page.locator("#slot-question")
    expect(question).to_have_text("Was it clean?")
    expect(page.locator("#slot-cold")).to_be_visible()
    newcomer.touch("Yes")
    expect(page.locator("#slot-cold")).to_be_hidden()  # the next slot has begun
    assert newcomer.touches == 5

    services = served.services
    plan = services.plans.plan(services.today())
    assert [s.kind for s in plan.slots] == [SlotKind.COLD, SlotKind.WORK]
    assert plan.slots[0].minutes <= 3
    for _ in range(300):
        [run] = services.state().sessions.values()
        if run.slots and run.slots[0].ended_at is not None:
            break
        page.wait_for_timeout(100)
    first = run.slots[0]
    assert (first.ended_at - run.started_at).total_seconds() < 300
    [answered] = services.state().tries.values()
    assert (answered.cold, str(answered.answer)) == (True, "yes")


def test_a_line_can_also_be_added_without_playing_and_then_it_waits(served, open_page):
    page = open_page()
    page.goto(served.url)
    page.keyboard.type("Air in C")
    page.get_by_role("button", name="Add without playing").click()
    page.get_by_role("button", name="Make “Air in C” current").wait_for()
    [topic] = served.services.state().topics.values()
    assert topic.place is Place.WAITING
    page.get_by_role("button", name="Make “Air in C” current").click()
    page.locator("#first-step").fill("Bars 1 to 4, slowly")
    page.keyboard.press("Enter")
    expect(page.locator("#first-minutes")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name="Start session")).to_be_visible()
    assert served.services.state().sessions == {}

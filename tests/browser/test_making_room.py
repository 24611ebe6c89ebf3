"""The places are full: the refusal stands where the hand is, and one touch makes room there."""

import re

import pytest
from playwright.sync_api import Page, expect

from coldtake.domain.topic import Place

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "tablet": (820, 1180), "laptop": (1440, 900)}
WISHED = "Topic 9"


@pytest.fixture
def full(served):
    """Four current topics, and so many waiting that the last of them stands far down the page."""
    pile = served.services.pile
    for n in range(4):
        pile.add(f"Current {n}", place=Place.CURRENT)
    pile.add_many("\n".join(f"Topic {n}" for n in range(10)))
    return served


def current(served) -> set[str]:
    topics = served.services.state().topics.values()
    return {t.title for t in topics if t.place is Place.CURRENT}


def row(page: Page):
    return page.locator("li.resting").filter(has=page.get_by_role("link", name=WISHED, exact=True))


# Within a pixel: the browser scrolls by whole ones, and boxes end between them.
IN_VIEW = """() => { const r = document.querySelector(".room").getBoundingClientRect();
return r.top > -1 && r.bottom < innerHeight + 1 && r.left > -1 && r.right < innerWidth + 1; }"""


def leave(page: Page, words: str, title: str):
    """The one button that says what leaves and what comes in for it."""
    name = re.compile(rf"{words} ?: {title}, and make {WISHED} current")
    return page.get_by_role("button", name=name)


def refused(page: Page) -> None:
    """What everybody must find: the reason spoken, the hand on it, all of it in view."""
    said = page.locator("#room-words")
    expect(said).to_be_focused()
    expect(said).to_contain_text("4 topics are current. Your limit is 4")
    assert said.get_attribute("role") == "alert"
    expect(page.locator(".room li")).to_have_count(4)
    page.wait_for_function(IN_VIEW)
    expect(page.locator("#fault")).to_be_empty()


def test_one_touch_beside_the_refusal_makes_room(full, open_page, axe):
    page = open_page()
    for size in SIZES.values():
        page.set_viewport_size({"width": size[0], "height": size[1]})
        page.goto(full.url)
        row(page).get_by_role("button", name="Make current").click()
        refused(page)
    assert row(page).locator(".room").count() == 1
    assert axe(page) == []
    leave(page, "Set aside", "Current 2").click()
    expect(page.locator(".room")).to_have_count(0)
    assert current(full) == {"Current 0", "Current 1", "Current 3", WISHED}
    expect(page.get_by_role("link", name=WISHED, exact=True)).to_be_focused()
    expect(page.locator("#said")).to_have_text(f"Current 2: set aside. {WISHED} is current.")


def test_the_same_on_the_topic_s_own_page(full, open_page):
    page = open_page(*SIZES["phone"])
    page.goto(full.url)
    page.get_by_role("link", name=WISHED, exact=True).click()
    page.get_by_role("button", name="Make current").click()
    refused(page)
    leave(page, "Move to waiting", "Current 0").click()
    expect(page.locator(".room")).to_have_count(0)
    assert current(full) == {"Current 1", "Current 2", "Current 3", WISHED}
    expect(page.get_by_text("Current", exact=True).last).to_be_focused()


def test_and_without_any_script(full, open_page):
    page = open_page(*SIZES["phone"], java_script_enabled=False)
    page.goto(full.url)
    row(page).get_by_role("button", name="Make current").click()
    refused_words = page.locator("#room-words")
    expect(refused_words).to_be_focused()
    expect(refused_words).to_be_in_viewport()
    leave(page, "Move to waiting", "Current 1").click()
    expect(page.locator(".room")).to_have_count(0)
    assert current(full) == {"Current 0", "Current 2", "Current 3", WISHED}
    expect(page.get_by_role("link", name=WISHED, exact=True)).to_be_in_viewport()

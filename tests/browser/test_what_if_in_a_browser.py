"""A supposition and the triage in a real browser: by keyboard, better numbers, taken back."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from coldtake.domain import events as ev
from coldtake.domain.criterion import default_criterion
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place, Step


@pytest.fixture
def pile(services):
    """Two current topics that were practised, and one that waits."""
    for title in ("Air in C", "Scales"):
        topic = services.pile.add(title, place=Place.CURRENT)
        for n in range(4):
            step = services.pile.keep_step(
                Step(
                    id=services.log.new_id(),
                    topic_id=topic.id,
                    title=f"{title}, part {n}",
                    criterion=default_criterion(),
                )
            )
            for back in (9, 6, 3):
                services.append(
                    ev.TryAnswered(
                        try_id=services.log.new_id(),
                        step_id=step.id,
                        answer=Answer.YES if n % 2 else Answer.NO,
                        judge=Judge.PLAYER,
                    ),
                    ev.SlotEnded(session_id="s", slot_id="x", step_id=step.id, played_s=480),
                    at=services.now() - timedelta(days=back),
                    day=services.today() - timedelta(days=back),
                )
    return services.pile.add("Long tones")


# What a draw may come to: all topics of thirty steps, all chances at an end.
WIDEST = """() => document.querySelectorAll(".now-then tbody tr").forEach((row) => {
  const [now, then, difference, all] = row.querySelectorAll("td");
  now.textContent = "29.9";
  then.textContent = "29.9 of 30";
  difference.textContent = "-29.9";
  all.append(" fewer than 1 in 100 → more than 99 in 100");
})"""


@pytest.mark.usefixtures("pile")
def test_one_more_topic_by_keyboard_until_all_futures_are_lived(served, open_page):
    page = open_page(390, 844)
    page.goto(f"{served.url}/what-if")
    page.locator("#take-on").focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#numbers [role=status]")).to_have_text("256 simulations")
    expect(page.locator(".said-first")).to_contain_text("With “Long tones” as a third topic")
    expect(page.locator(".now-then tbody tr")).to_have_count(3)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.set_viewport_size({"width": 320, "height": 640})
    page.evaluate(WIDEST)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_triage_is_decided_and_taken_back_without_leaving_the_page(
    services, served, open_page, pile
):
    page = open_page(1280, 900)
    page.goto(f"{served.url}/triage")
    expect(page.locator(".said-first").first).to_contain_text("make “Long tones” current")
    page.locator("#decide").click()
    expect(page.locator(".undo")).to_contain_text("You moved Long tones.")
    assert services.state().topics[pile.id].place is Place.CURRENT
    page.locator("#undo").click()
    expect(page.locator(".undo")).to_have_count(0)
    expect(page.locator("#said")).to_have_text("Undone.")
    assert services.state().topics[pile.id].place is Place.WAITING

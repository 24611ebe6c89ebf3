"""A session by keys alone, by a pedal, without a microphone; what the log says of it."""

import pytest
from stand import Stand, laid_out, plan_today, slot

from coldtake.domain.take import Answer, Judge

pytestmark = pytest.mark.browser


@pytest.fixture
def planned(services):
    steps = laid_out(services)
    plan_today(
        services,
        [slot(steps["air"], 2, cold=True), slot(steps["row"], 6), slot(steps["own"], 5)],
        [slot(steps["air"], 4)],
        spare=[slot(steps["spare"], 5)],
    )
    return steps


@pytest.fixture
def stand(served, planned, open_page):
    page = open_page()
    page.clock.install()
    return Stand(page, served.url).open()


def answers(services, step):
    return [t.answer for t in services.state().step_tries(step.id)]


def test_from_the_first_intention_to_the_end_by_keys_alone(stand, services, planned):
    page = stand.page
    stand.begin().sees("slot", "Bars 1 to 3")
    assert "one try" in page.inner_text("#slot-cold")
    assert page.get_by_role("img", name="Notation: Bars 1 to 3").first.is_visible()

    stand.press("n", "y")  # the second answer is not taken: one chance
    assert "No" in stand.told()
    meant = "The only cold take was not clean. From cold takes only, the chance of a clean first"
    assert meant in page.inner_text("#told-more")
    stand.forward(7).sees("slot", "Again")  # goes on by itself; the topic is the same
    assert page.inner_text("#slot-row") == "0 of 3 in a row"
    stand.press("y", "y")
    assert not page.is_visible("#told-more")  # no later try is cold
    assert page.inner_text("#slot-row") == "2 of 3 in a row"
    stand.press("n", "Backspace", "y")
    assert page.inner_text("#slot-row") == "3 of 3 in a row"
    # three in a row at one half, within three tries: the answer taken back does not count
    lucky = "clean only half the time also passes within this many tries 12 times in 100."
    assert lucky in page.inner_text("#offer").lower()
    stand.press("s").sees("slot", "Shifts")  # the spare slot takes the rest

    stand.press("p").sees("between").press("Space").sees("slot", "Shifts").press("m")
    stand.sees("slot", "Slow bows").press("y", "m")
    stand.sees("break")
    stand.press("Space").sees("break")  # not before three minutes
    stand.forward(181).press("Space").sees("intention")
    page.keyboard.type("Long line")
    stand.press("Enter")
    stand.sees("slot", "Bars 1 to 3").press("c", "m")
    stand.sees("end")
    page.fill("#end-note", "Good day")
    with page.expect_navigation(url="**/tomorrow*"):
        page.get_by_role("button", name="Plan tomorrow").click()

    assert answers(services, planned["row"]) == [Answer.YES] * 3
    assert answers(services, planned["air"]) == [Answer.NO, Answer.CANNOT_TELL]
    tries = services.state().step_tries(planned["air"].id)
    assert [t.cold for t in tries] == [True, False]
    assert {t.judge for t in tries} == {Judge.PLAYER}
    assert {t.tempo_bpm for t in tries} == {None}  # no click went through, no take was heard
    (run,) = services.state().sessions.values()
    assert (run.note, run.early) == ("Good day", False)
    assert [s.step_id for s in run.added] == [planned["spare"].id]
    assert "Long line" in run.intentions.values()
    assert run.breaks[0].ended_at is not None


def test_slots_and_the_break_come_by_themselves(stand, services):
    stand.begin()
    stand.forward(119).sees("slot", "Again")
    stand.forward(358).sees("intention")
    stand.forward(13).sees("slot", "Slow bows")  # nobody wrote one
    stand.forward(283).sees("break").forward(298).sees("intention").sent()
    (run,) = services.state().sessions.values()
    first, second, third = run.slots
    assert [s.played_s for s in run.slots] == pytest.approx([120, 360, 285], abs=0.01)
    assert not any(s.early for s in run.slots)
    assert second.started_at == first.ended_at
    assert (third.started_at - second.ended_at).total_seconds() == pytest.approx(15, abs=0.01)
    assert (third.ended_at - first.started_at).total_seconds() == pytest.approx(13 * 60, abs=0.01)
    (pause,) = run.breaks
    assert (pause.ended_at - pause.started_at).total_seconds() == pytest.approx(300, abs=0.01)


def test_a_pedal_is_enough_without_a_microphone(stand, services, planned):
    """Forward plays and says yes, back says no; back alone does nothing."""
    stand.begin().press("PageUp")
    assert answers(services, planned["air"]) == []
    stand.press("PageDown")  # count-in or play
    stand.page.wait_for_function("() => document.body?.dataset.take === 'playing'")
    stand.press("PageDown").waits_for("Yes or no?")
    stand.press("PageUp").sent()
    assert answers(services, planned["air"]) == [Answer.NO]


def test_ending_early_asks_once_and_is_kept_as_it_was(stand, services):
    stand.begin().press("e", "Escape").sees("slot").press("e", "n").sees("slot")
    assert not services.state().tries, "a key while the page asks must not answer"
    stand.press("e", "Enter").sees("end").sent()
    (run,) = services.state().sessions.values()
    assert run.early
    assert run.ended_at is not None
    assert len(run.slots) == 1


def test_it_says_that_there_is_no_microphone_and_goes_on(stand):
    stand.begin()
    assert "Answer yourself" in stand.page.inner_text("#mic-words")
    assert stand.page.inner_text("#take-small") == "not recorded"


def test_nothing_planned_and_nothing_to_plan(served, open_page):
    stand = Stand(open_page(), served.url).open().sees("start")
    assert "Nothing is planned" in stand.page.inner_text("#start-title")
    stand.press("Space").settle()
    stand.page.wait_for_function("() => document.querySelector('#notices').textContent.length > 20")
    stand.sees("start")


def test_hear_it_is_for_work_and_never_before_a_cold_take(services, served, open_page):
    steps = laid_out(services)
    plan_today(services, [slot(steps["air"], 2, cold=True), slot(steps["row"], 9)])
    page = open_page()
    stand = Stand(page, served.url).open().begin()
    assert not page.locator("#hear").is_visible()
    stand.press("h")
    assert page.evaluate("() => document.querySelector('#hear').textContent") == "Play passage"
    stand.press("m").sees("slot", "Again").press("h")
    page.wait_for_function("() => document.querySelector('#hear').textContent !== 'Play passage'")
    stand.press("Space")  # a take: nothing may sound into it
    page.wait_for_function("() => document.body?.dataset.take !== 'none'")
    assert page.evaluate("() => document.querySelector('#hear').textContent") == "Play passage"

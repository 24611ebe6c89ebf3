"""A performance from its first line to the minute after, by keyboard, by touch, and recorded."""

from datetime import timedelta

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Page, expect

from coldtake.domain import events as ev
from coldtake.domain.criterion import default_criterion
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place, Step

pytestmark = pytest.mark.browser
SIZES = {"phone": (390, 844), "laptop": (1280, 900)}


@pytest.fixture
def concert(served):
    """A programme of two pieces, practised for three weeks."""
    services = served.services
    today, topics = services.today(), []
    for title in ("A slow movement for winds, with a long name", "Dance"):
        topic = services.pile.add(title, place=Place.CURRENT)
        topics.append(topic.id)
        for n in (1, 2):
            step = Step(
                id=services.log.new_id(),
                topic_id=topic.id,
                title=f"Part {n}, from memory",
                criterion=default_criterion(),
            )
            services.pile.keep_step(step)
            for ago in range(20, 0, -2):
                answer = Answer.NO if ago % 6 == 0 else Answer.YES
                services.append(
                    ev.TryAnswered(
                        try_id=services.log.new_id(),
                        step_id=step.id,
                        answer=answer,
                        judge=Judge.PLAYER,
                    ),
                    ev.SlotEnded(session_id="s", slot_id="x", step_id=step.id, played_s=480),
                    at=services.now() - timedelta(days=ago),
                    day=today - timedelta(days=ago),
                )
    return services.performances.add(
        "Noon concert", today + timedelta(days=12), place="the small hall", programme=topics
    )


def show(page: Page, url: str) -> Page:
    page.goto(url)
    page.wait_for_function("() => !document.querySelector('[hx-trigger=load]')")
    return page


def overflows(page: Page) -> bool:
    return page.evaluate(
        "document.documentElement.scrollWidth > document.documentElement.clientWidth"
    )


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_pages_hold_at_every_size(served, concert, open_page, axe, size, dark, tmp_path):
    width, height = SIZES[size]
    page = open_page(width, height, dark=dark)
    run = served.services.performances.begin(concert.programme, performance_id=concert.id)
    for name in (
        "performances",
        f"performances/{concert.id}",
        f"performances/{concert.id}/after",
        f"run-through?performance={concert.id}",
        f"run-through/{run.id}",
        f"run-through/{run.id}/end",
    ):
        show(page, f"{served.url}/{name}")
        assert not overflows(page), name
        assert axe(page) == [], name


def test_the_order_is_changed_by_keyboard_alone(served, concert, open_page):
    page = show(open_page(), f"{served.url}/performances/{concert.id}")
    first, second = concert.programme
    page.locator(f"#later-{first}").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_contain_text("later")
    # It stays when the page has fetched its chances again.
    page.wait_for_function("() => !document.querySelector('[hx-trigger=load]')")
    expect(page.locator("#said")).to_contain_text("later")
    assert served.services.performances.get(concert.id).programme == (second, first)


def test_run_through_by_touch_told_with_places_and_taken_back(served, concert, open_page):
    page = show(open_page(390, 844, has_touch=True), f"{served.url}/performances/{concert.id}")
    page.get_by_role("link", name="Start run-through").tap()
    page.locator("#intention").fill("Play to the back of the room.")
    page.get_by_role("button", name="Start", exact=True).tap()
    expect(page.locator("h1")).to_have_text("Play to the back of the room.")
    page.locator("#over").tap()
    page.locator("input[name=answer-0][value=yes]").tap()
    page.locator("input[name=answer-1][value=no]").tap()
    page.locator("#where-1 summary").tap()
    page.locator("#where-1 input[type=checkbox]").first.tap()
    page.get_by_role("button", name="Save result").tap()
    expect(page.locator("h1")).to_have_text("1 of 2 clean")
    [run] = served.services.state().runs.values()
    assert [len(p.broke) for p in run.parts] == [0, 1]
    page.get_by_role("button", name="Delete run-through").tap()
    expect(page.locator("h1")).to_have_text("Noon concert")
    assert served.services.state().runs == {}


def test_a_run_through_is_recorded_and_kept(served, concert, hearing, tmp_path):
    tone = 0.3 * np.sin(2 * np.pi * 440 * np.arange(20 * 48000) / 48000)
    soundfile.write(tmp_path / "in.wav", tone, 48000, subtype="PCM_16")
    context = hearing(tmp_path / "in.wav").new_context()
    page = context.new_page()
    run = served.services.performances.begin(concert.programme, performance_id=concert.id)
    page.goto(f"{served.url}/run-through/{run.id}")
    page.locator("#record").click()
    expect(page.locator("#recording")).to_contain_text("Recording until")
    page.wait_for_timeout(2500)
    page.locator("#over").click()
    for n in (0, 1):
        page.locator(f"input[name=answer-{n}][value=yes]").check()
    page.get_by_role("button", name="Save result").click()
    expect(page.locator("audio")).to_have_count(1)  # it goes out from here
    [take] = served.services.state().takes.values()
    assert (take.step_id, take.verdict) == (run.id, None)
    assert 1.5 < take.duration_s < 10
    sound, rate = soundfile.read(served.services.takes.sound(take.id))
    spectrum = np.abs(np.fft.rfft(sound[rate // 2 :]))
    hz = np.argmax(spectrum) * rate / (len(sound) - rate // 2)
    assert hz == pytest.approx(440, abs=3)
    page.reload()
    expect(page.locator("audio")).to_have_count(1)  # sent once
    context.close()

"""The planning and looking-back pages as a person meets them: seen, by keyboard, on paper."""

import re
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, time, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Page, expect

from coldtake.domain import events as ev
from coldtake.domain.criterion import default_criterion
from coldtake.domain.estimate import ForecastChance, Interval, SaidTopic
from coldtake.domain.plan import PlanRequest
from coldtake.domain.take import Answer, Judge, NewTake
from coldtake.domain.topic import Exercise, PassageRef, Place, Step, TopicKind

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "tablet": (820, 1180), "laptop": (1440, 900)}
AIR = "X:1\nT:Air\nM:4/4\nL:1/4\nQ:1/4=96\nK:C\nCDEF|GFED|C4|\n"
# Nothing is still to come: no part that loads by itself, no picture in sight on its way.
WHOLE = """() => !document.querySelector("[hx-trigger^=load]") && document.fonts.status === "loaded"
  && [...document.images].every((image) => image.complete || image.loading === "lazy")"""
SMALL = """() => [...document.querySelectorAll("button, input, select, summary")]
  .map((e) => [e.id || e.textContent.trim(), e.getBoundingClientRect()])
  .filter(([, r]) => r.width > 0 && (r.width < 20 || r.height < 20))
  .map(([name]) => name)"""


@dataclass
class House:
    """A server with something true to show on every page."""

    url: str
    services: object
    paths: dict[str, str]

    def open(self, page: Page, name: str) -> Page:
        page.goto(self.url + self.paths[name])
        page.wait_for_function(WHOLE)
        return page


def filled(services) -> dict[str, str]:
    """Lay out topics, steps, weeks of tries, a plan and a take; return the addresses."""
    today = services.today()
    stored = services.pile.keep_passage(AIR.encode(), "air.abc")
    whole = Exercise(passage=PassageRef(passage_id=stored.id), tempo_bpm=96)
    piece = services.pile.add(
        "A rather long title of a slow movement for winds",
        kind=TopicKind.PIECE,
        importance=5,
        performance_on=today + timedelta(days=40),
        place=Place.CURRENT,
    )
    scales = services.pile.add("Scales in thirds", place=Place.CURRENT)
    for title in ("Long tones", "Reading in flats"):
        services.pile.add(title)
    services.pile.add("Double tonguing", place=Place.LAID_ASIDE)
    steps = [
        services.pile.keep_step(
            Step(
                id=services.log.new_id(),
                topic_id=topic.id,
                title=title,
                criterion=default_criterion(),
                exercise=exercise,
            )
        )
        for topic, title, exercise in (
            (piece, "Bars 1 and 2, slowly", whole),
            (piece, "The whole line at tempo", whole),
            (scales, "C to G, slurred", Exercise()),
            (scales, "All keys, tongued", Exercise()),
        )
    ]
    for back in range(20, 0, -2):
        _said(services, steps[:3], back)
        _practised(services, steps[:3], back)
    _said_of_a_date(services, piece, steps[:2], today - timedelta(days=6))
    services.settings.choose("held_test", "1")
    request = PlanRequest(
        day=today + timedelta(days=1),
        starts_at=services.plans.default_request(today + timedelta(days=1)).starts_at,
        minutes=70,
    )
    services.plans.propose(request)
    take, slower = (_taken(services, steps[0], bpm) for bpm in (96, 72))
    return {
        "pile": "/",
        "topic": f"/topics/{piece.id}",
        "proposal": f"/topics/{scales.id}/proposal?way=technique&go=1&keys=C&instrument=oboe",
        "proposal fault": f"/topics/{piece.id}/proposal?way=piece&go=1",
        "step": f"/steps/{steps[0].id}",
        "tomorrow": "/tomorrow",
        "week": "/week",
        "print": "/tomorrow/print",
        "take": f"/takes/{take}",
        "takes": "/takes",
        "two takes": f"/takes/compare?a={take}&b={slower}",
        "progress": "/progress",
        "outlook": "/outlook",
        "what if": f"/what-if?leave={scales.id}",
        "triage": "/triage",
        "settings": "/settings",
        "long work": "/long-work",
        "missing": "/topics/none",
    }


def _said(services, steps, back: int) -> None:
    """What the evening before would have said, so that there is something to look back at."""
    day = services.today() - timedelta(days=back)
    chances = tuple(
        ForecastChance(step_id=step.id, chance=0.3 + 0.2 * n) for n, step in enumerate(steps)
    )
    at = services.now() - timedelta(days=back, hours=20)
    services.append(ev.ChancesSaid(for_day=day, chances=chances), at=at, day=day)


def _said_of_a_date(services, topic, steps, on: date) -> None:
    said = SaidTopic(
        topic_id=topic.id,
        on=on,
        clean_steps=Interval(low=0, mid=1, high=2),
        ready_chance=0.2,
        steps=tuple(ForecastChance(step_id=step.id, chance=0.5) for step in steps),
    )
    day = services.today() - timedelta(days=3)  # so that none is due while the pages are looked at
    at = services.now() - timedelta(days=3)
    services.append(ev.OutlookSaid(topics=(said,)), at=at, day=day)


def _practised(services, steps, back: int) -> None:
    day = services.today() - timedelta(days=back)
    for n, step in enumerate(steps):
        at = services.now() - timedelta(days=back, minutes=30 - n)
        answer = (Answer.NO, Answer.YES, Answer.YES, Answer.CANNOT_TELL)[(back + n) % 4]
        services.append(
            ev.TryAnswered(
                try_id=services.log.new_id(),
                step_id=step.id,
                answer=answer,
                judge=Judge.PLAYER,
                tempo_bpm=90.0 - back,
            ),
            ev.SlotEnded(session_id="x", slot_id="x", step_id=step.id, played_s=420),
            at=at,
            day=day,
        )


def _taken(services, step, bpm: int) -> str:
    import io

    from coldtake.music.playback.sounding import schedule
    from coldtake.music.playback.synth import render

    passage = services.pile.exercise_passage(step)
    notes = list(schedule(passage, bpm))
    del notes[5]
    sound = render(tuple(notes), rate=22050, voice="clarinet")
    quiet = np.zeros(11025, dtype=np.float32)
    out = io.BytesIO()
    soundfile.write(out, np.concatenate([quiet, sound, quiet]), 22050, format="WAV")
    take = services.takes.keep(out.getvalue(), NewTake(step_id=step.id), "take.wav")
    services.takes.judge(take.id)
    return take.id


@pytest.fixture(scope="module")
def house(tmp_path_factory, serving) -> Iterator[House]:
    with serving(tmp_path_factory.mktemp("house")) as served:
        yield House(served.url, served.services, filled(served.services))


@contextmanager
def nothing_changes(services) -> Iterator[None]:
    before = services.store.last_sequence()
    yield
    assert services.store.last_sequence() == before


def too_wide(page: Page) -> list[str]:
    """What sticks out of the window at its right edge, outside anything that scrolls by itself."""
    return page.evaluate(
        """() => document.documentElement.scrollWidth <= innerWidth ? [] :
        [...document.querySelectorAll("body *")]
          .filter((e) => e.getBoundingClientRect().right > innerWidth + 1)
          .map((e) => `${e.tagName}.${e.className.baseVal ?? e.className}`)"""
    )


@pytest.mark.parametrize("size", SIZES)
def test_every_page_fits_and_is_free_of_faults(house, open_page, axe, size):
    """At three sizes, and each in the other light too: there only colours can differ."""
    width, height = SIZES[size]
    first, second = ("dark", "light") if size == "tablet" else ("light", "dark")
    page = open_page(width, height, dark=first == "dark")
    found = {}
    for name in house.paths:
        house.open(page, name)
        faults = too_wide(page) + axe(page)
        if size == "laptop":
            page.emulate_media(color_scheme=second)
            faults += axe(page, "color-contrast", "link-in-text-block")
            page.emulate_media(color_scheme=first)
        if faults:
            found[name] = faults
    assert found == {}


def test_the_narrowest_window_and_the_touch(house, open_page):
    """WCAG 2.2, success criteria 1.4.10 (Reflow): no sideways scrolling at 320 CSS pixels, and
    2.5.8 (Target Size, Minimum): 24 by 24 CSS pixels, or that much room around.
    """
    page = open_page(320, 640)
    wide, small = {}, {}
    for name in house.paths:
        if name == "print":
            continue
        house.open(page, name)
        wide[name] = too_wide(page)
        if name in ("pile", "tomorrow", "take", "settings"):
            small[name] = page.evaluate(SMALL)
    assert {name: found for name, found in wide.items() if found} == {}
    assert {name: found for name, found in small.items() if found} == {}


def test_one_long_word_stays_within_the_page(services, served, open_page):
    services.pile.add("A" * 190, place=Place.CURRENT)
    page = open_page(390, 844)
    page.goto(served.url)
    expect(page.locator("li.topic")).to_have_count(1)
    assert too_wide(page) == []


def test_hear_it_plays_and_stops(house, open_page):
    page = house.open(open_page(), "step")
    button = page.locator("#hear")
    button.click()
    expect(button).to_have_text("Stop")
    button.click()
    expect(button).to_have_text("Play")
    button.click()
    expect(button).to_have_text("Stop")  # and at its end it is ready again
    expect(button).to_have_text("Play")


def short_day(house, ahead: int):
    """Plan a day of a few slots; a step may come twice in it."""
    day = house.services.today() + timedelta(days=ahead)
    request = PlanRequest(day=day, starts_at=time(17), minutes=25)
    return house.services.plans.propose(request), str(day)


def plan_on(house, day: str):
    return house.services.plans.plan(date.fromisoformat(day))


def focused(page: Page) -> str:
    return page.evaluate("document.activeElement.id")


def settled(page: Page, key: str) -> None:
    """Press a key and wait until the page shows what came of it."""
    page.evaluate(
        """() => { window.settled = new Promise((done) =>
          document.addEventListener("htmx:afterSettle", done, {once: true})); }"""
    )
    page.keyboard.press(key)
    page.evaluate("() => window.settled.then(() => true)")


def tab_to(page: Page, part: str, most: int = 120) -> str:
    for _ in range(most):
        page.keyboard.press("Tab")
        if focused(page).startswith(part):
            return focused(page)
    raise AssertionError(f"the keyboard never reached {part}; it is at {focused(page)}")


def test_a_slot_is_moved_stretched_and_pinned_by_keyboard_alone(house, open_page):
    plan, day = short_day(house, 5)
    page = open_page(1440, 900)
    page.goto(f"{house.url}/tomorrow?day={day}")
    first = plan.slots[0]
    assert tab_to(page, "grip-") == f"grip-{first.id}"
    settled(page, "ArrowDown")
    moved = plan_on(house, day).slots[1]
    assert (moved.step_id, moved.pinned) == (first.step_id, True)
    assert focused(page) == f"grip-{moved.id}", "the hand stays on the slot"
    settled(page, "ArrowLeft")
    shorter = plan_on(house, day).slots[1]
    assert (shorter.step_id, shorter.minutes) == (first.step_id, moved.minutes - 1)
    settled(page, "p")
    assert not any(s.pinned for s in plan_on(house, day).slots)
    expect(page.locator("#said")).to_contain_text(": unpinned")
    on = focused(page).removeprefix("grip-")
    refused = next(s.step_id for s in plan_on(house, day).slots if s.id == on)
    settled(page, "Delete")
    assert refused not in {s.step_id for s in plan_on(house, day).slots}
    assert focused(page).startswith("grip-"), "the hand goes to what stands there now"


def test_buttons_do_the_same_by_touch_and_stay_unfolded(house, open_page):
    plan, day = short_day(house, 6)
    page = open_page(390, 844, has_touch=True)
    page.goto(f"{house.url}/tomorrow?day={day}")
    one = plan.slots[0].id
    page.locator(f"#change-{one} summary").tap()
    page.locator(f"#pin-{one}").tap()
    expect(page.locator(f"#unpin-{one}")).to_be_visible()
    page.locator(f"#unpin-{one}").tap()
    expect(page.locator(f"#pin-{one}")).to_be_visible()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("minutes", [25, 70, 180])
def test_the_page_for_the_stand_is_one_page(house, open_page, tmp_path, paper, minutes):
    day = house.services.today() + timedelta(days=9)
    house.services.plans.propose(PlanRequest(day=day, starts_at=time(17), minutes=minutes))
    page = open_page()
    page.goto(f"{house.url}/tomorrow/print?day={day}")
    page.wait_for_load_state("networkidle")
    pdf = tmp_path / "stand.pdf"
    page.pdf(path=pdf, format=paper)
    assert pages_of(pdf) == 1
    said = subprocess.run(["pdftotext", pdf, "-"], capture_output=True, text=True, check=True)
    flat = re.sub(r"\s+", " ", said.stdout)
    plan = house.services.plans.plan(day)
    titles = {house.services.state().steps[s.step_id].title for s in plan.slots}
    assert [t for t in titles if t.split(",")[0] not in flat] == []


def pages_of(pdf: Path) -> int:
    told = subprocess.run(["pdfinfo", pdf], capture_output=True, text=True, check=True).stdout
    return int(re.search(r"Pages:\s+(\d+)", told)[1])


def test_a_fault_is_said_where_it_happened_and_goes_away(house, open_page):
    page = house.open(open_page(), "settings")
    field = page.locator("#s-period_cap")
    page.evaluate("document.querySelectorAll('form').forEach((f) => (f.noValidate = true))")
    with nothing_changes(house.services):
        field.fill("90")
        field.press("Enter")
        expect(page.locator("#fault .fault")).to_contain_text("from 5 to 60")
    assert field.input_value() == "90", "what was typed is not lost"
    field.fill("30")
    field.press("Enter")
    expect(page.locator("#fault .fault")).to_have_count(0)


def test_a_note_plays_the_take_from_there(house, open_page):
    page = house.open(open_page(), "take")
    page.wait_for_function("() => document.getElementById('sound').readyState >= 1")
    row = page.locator("#notes-table tr[data-seek]").nth(3)
    ids, seek = row.get_attribute("data-notation"), float(row.get_attribute("data-seek"))
    assert seek > 1
    page.locator(f"#evidence .only-wide [data-note='{ids.split(' ')[0]}']").first.dispatch_event(
        "click"
    )
    at = page.evaluate("document.getElementById('sound').currentTime")
    assert seek - 0.01 <= at < seek + 0.6
    page.locator("#wave").click(position={"x": 2, "y": 40})
    assert page.evaluate("document.getElementById('sound').currentTime") < 0.6


def test_the_chosen_light_stays(house, open_page):
    page = house.open(open_page(), "pile")
    page.get_by_label("dark").check()
    dark = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    house.open(page, "progress")
    assert page.evaluate("document.documentElement.dataset.look") == "dark"
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == dark
    assert page.get_by_label("dark").is_checked()


def test_without_scripts_every_form_still_works(house, open_page):
    page = house.open(open_page(java_script_enabled=False), "pile")
    page.locator("#new-topic").fill("Written without a script")
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.get_by_role("link", name="Written without a script")).to_be_visible()


def test_a_server_that_is_gone_is_said(house, open_page):
    page = house.open(open_page(), "pile")
    page.context.set_offline(True)
    page.locator("#new-topic").fill("Lost?")
    page.keyboard.press("Enter")
    expect(page.locator("#fault")).to_contain_text("Coldtake does not answer")
    assert page.locator("#new-topic").input_value() == "Lost?"


def test_the_other_take_goes_on_at_the_same_note(house, open_page):
    """One is played at 96, the other at 72, both after half a second of silence."""
    page = house.open(open_page(), "two takes")
    page.get_by_role("button", name="Begin at bar 2", exact=True).click()
    place = "n => document.querySelectorAll('audio')[n].currentTime"
    page.wait_for_function("() => document.querySelectorAll('audio')[0].currentTime > 3.3")
    page.keyboard.press("b")
    first, second = page.evaluate(place, 0), page.evaluate(place, 1)
    assert abs((second - 0.5) * 72 - (first - 0.5) * 96) / 72 < 0.25
    assert page.evaluate("[...document.querySelectorAll('audio')].map((a) => a.paused)") == [
        True,
        False,
    ]
    expect(page.get_by_role("button", name="Play B here")).to_have_attribute("aria-pressed", "true")

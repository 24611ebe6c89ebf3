"""Every scene of the session page at three sizes, day and stage: nothing cut off, axe silent."""

from datetime import datetime

import msgspec
import pytest
from stand import OWN, Stand, laid_out, plan_today, show_more, slot

from coldtake.domain.topic import Place, Step
from coldtake.practice.topics.proposals.asks import TuneAsk

pytestmark = pytest.mark.browser

SIZES = ((390, 844), (820, 1180), (1440, 900))
TALL = "() => [document.documentElement.scrollWidth, window.innerWidth]"
SIZES_OF_STANDS = ((390, 844), (820, 1180), (1180, 820), (1440, 900), (1920, 1080))
MM = 96 / 25.4  # CSS Values and Units Module Level 4 (W3C, 2024), section 6.2: 1in is 96px, 25.4mm
# Height of a digit of the clock in the font's own measure, in pixels.
DIGIT = """() => document.querySelector("#bar .signature").getBBox().height * 0.5"""
# The stave's height, the music's share of the window, its width as a share of its room, and how far
# its lowest system lies above the figure's lower edge.
MUSIC = """() => {
  const figure = document.querySelector("[data-scene=slot] > .page");
  const box = figure.getBoundingClientRect();
  const lines = [...figure.querySelector("g.staff").children].filter((e) => e.tagName === "path");
  const ys = lines.slice(0, 5).map((e) => e.getBoundingClientRect().top);
  const drawn = figure.querySelector("svg").getBoundingClientRect();
  const halves = [...figure.querySelectorAll(".half")];
  const systems = halves.map((e) => e.getBoundingClientRect().bottom);
  return {
    stave: ys[4] - ys[0],
    share: (box.width * box.height) / (window.innerWidth * window.innerHeight),
    wide: drawn.width / figure.clientWidth,
    under: box.bottom - Math.max(...systems),
  };
}"""
# Text and buttons that are cut off, covered, or lie over one another.
FAULTY = """() => {
  const HIDDEN = ".aside, .drawer, thead"; // for a reader of the screen, or scrolled by itself
  const seen = (e) => e.checkVisibility({visibilityProperty: true}) && e.getClientRects().length;
  const named = (e) => `${e.tagName}#${e.id} “${e.textContent.trim().slice(0, 30)}”`;
  const written = (e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
  const texts = [...document.querySelectorAll("main *, #notices *")].filter(
    (e) => e instanceof HTMLElement && seen(e) && written(e) && !e.closest(HIDDEN));
  // what scrolls goes under the lower edge; in a slot nothing may
  const apart = (a, b) => document.body.dataset.screen !== "slot" &&
    a.closest("#edge, #confirm") !== b.closest("#edge, #confirm");
  const faults = [];
  for (const e of texts) {
    const box = e.getBoundingClientRect();
    if (box.left < -1 || box.right > window.innerWidth + 1) faults.push("outside: " + named(e));
    const style = getComputedStyle(e);
    const cut = style.overflowX !== "visible" && e.scrollWidth > e.clientWidth + 1;
    if (cut) faults.push("cut: " + named(e));
  }
  for (const e of document.querySelectorAll("main button, #notices button")) {
    if (!seen(e) || e.closest(".drawer")) continue; // what is in a drawer scrolls there
    const box = e.getBoundingClientRect();
    if (box.top < 0 || box.bottom > window.innerHeight) continue; // reached by scrolling
    const top = document.elementFromPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2);
    const free = !top || top === e || e.contains(top) || apart(top, e);
    if (!free) faults.push(`covered: ${named(e)} by ${named(top)}`);
  }
  for (const [i, a] of texts.entries()) for (const b of texts.slice(i + 1)) {
    if (a.contains(b) || b.contains(a) || apart(a, b)) continue;
    const crossed = [...a.getClientRects()].some((p) => [...b.getClientRects()].some((q) =>
      Math.min(p.right, q.right) - Math.max(p.left, q.left) > 2 &&
      Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 4));
    if (crossed) faults.push(`overlap: ${named(a)} and ${named(b)}`);
  }
  return faults;
}"""
# Rows of tools, and the lowest of them: what is touched with a foot on the floor is large.
TOOLS = """() => {
  const boxes = [...document.querySelectorAll(".tools > button, .tools summary")]
    .map((e) => e.getBoundingClientRect()).filter((r) => r.width > 0);
  const tops = new Set(boxes.map((r) => Math.round(r.top)));
  return [tops.size, Math.min(...boxes.map((r) => r.height))];
}"""


@pytest.fixture
def planned(services):
    steps = laid_out(services)
    slots = [slot(steps["air"], 2, cold=True), slot(steps["row"], 9), slot(steps["own"], 8)]
    plan_today(services, slots, [slot(steps["air"], 7)], spare=[slot(steps["spare"], 4)])


def holds(page, axe, scene):
    """Nothing is wider than the window at any size; axe is silent by day and on stage."""
    for width, height in SIZES_OF_STANDS:
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(400 if scene == "slot" else 100)  # the clock is drawn by ticks
        assert page.evaluate(FAULTY) == [], f"{scene} at {width}"
        wide, window = page.evaluate(TALL)
        assert wide <= window, f"{scene} at {width}"
        if scene == "slot":
            # ISO 9241-303 (2011, Geneva; from memory): legible from 10 minutes of arc, here at 2 m
            least = 5.8 * MM if width >= 768 else 5.0 * MM
            assert page.evaluate(DIGIT) > least, "the clock is read from two metres"
            assert page.locator("#take").is_visible()
            assert page.locator("#slot-question").is_visible()
            music = page.evaluate(MUSIC)
            assert music["stave"] >= (9.9 if width >= 768 else 7.9) * MM, f"{music} at {width}"
            assert music["share"] > (0.5 if width >= 768 else 0.4), f"{music} at {width}"
            assert music["wide"] > 0.85, f"{music} at {width}"
            assert music["under"] >= -1, f"{music} at {width}"
            rows, high = page.evaluate(TOOLS)
            assert rows <= 3, f"the tools take the page at {width}"
            assert high >= 44, f"a tool is {high} high at {width}"
    for look in ("light", "dark"):
        page.emulate_media(color_scheme=look)
        assert axe(page) == [], f"{scene}, {look}"
    if scene in ("slot", "ask", "end"):
        page.evaluate("() => { document.documentElement.dataset.look = 'sun'; }")
        assert axe(page) == [], f"{scene}, in the sun"
        page.evaluate("() => { document.documentElement.dataset.look = 'auto'; }")


def test_scenes_hold_at_every_size(planned, served, open_page, axe):
    page = open_page()
    stand = Stand(page, served.url).open().sees("start")
    holds(page, axe, "start")
    stand.press("Space").sees("intention")
    holds(page, axe, "intention")
    stand.press("Enter").sees("quiet").press("Space").sees("slot").press("m").sees("slot", "Again")
    holds(page, axe, "slot")
    stand.press("y")
    show_more(page)
    page.get_by_text("Keys", exact=True).click()
    holds(page, axe, "keys")
    stand.press("Escape", "Space")
    page.wait_for_function("() => document.body?.dataset.take === 'playing'")
    stand.press("Space").waits_for("Yes or no?")
    holds(page, axe, "ask")
    stand.press("Escape", "p").sees("between")
    holds(page, axe, "between")
    stand.press("m").sees("slot", "Slow").press("m").sees("break")
    holds(page, axe, "break")
    stand.press("e")
    holds(page, axe, "confirm")
    stand.press("Enter").sees("end")
    holds(page, axe, "end")


DRAWN = """() => {
  const bars = [...document.querySelectorAll("#line g.bar")];
  const rests = bars.filter((bar) => bar.classList.contains("break")).length;
  return [bars.length - rests, rests, document.querySelectorAll("#start-slots li").length];
}"""


def counted(page):
    """The start says what it draws and lists."""
    page.wait_for_function("() => document.querySelectorAll('#line g.bar').length > 0")
    slots, rests, listed = page.evaluate(DRAWN)
    assert slots == listed
    said = f"{slots} slot{'s' * (slots != 1)}"
    if rests:
        said += f" and {rests} break{'s' * (rests != 1)}"
    assert page.locator("#start-title").inner_text() == f"{said} today"
    assert page.locator("#line svg").get_attribute("aria-label") == f"Session: {said}, 0 started"
    return slots


def test_the_line_of_music_and_the_words_count_the_same_also_when_it_is_late(
    services, served, open_page
):
    for n in range(3):
        topic = services.pile.add(f"Topic {n}", place=Place.CURRENT)
        for part in ("first", "second"):
            services.pile.keep_step(
                Step(id=services.log.new_id(), topic_id=topic.id, title=part, criterion=OWN)
            )
    today = services.today()
    usual = services.plans.default_request(today)
    services.plans.propose(msgspec.structs.replace(usual, minutes=60))
    page = open_page()
    page.clock.install(time=datetime.combine(today, usual.starts_at))
    Stand(page, served.url).open().sees("start")
    whole = counted(page)
    page.clock.fast_forward("35:00")
    page.wait_for_function("() => /later than planned/.test(document.body.innerText)")
    assert counted(page) < whole


def test_a_chart_is_in_sight_as_a_whole_while_improvising(services, served, open_page):
    topic = services.pile.add("Blues", place=Place.CURRENT)
    blues = "F7 | Bb7 | F7 | % | Bb7 | % | F7 | D7 | Gm7 | C7 | F7 D7 | Gm7 C7"
    proposal = services.pile.propose_steps(topic.id, TuneAsk(changes=blues))
    services.pile.keep_proposal(proposal, [proposal.steps[0].id])
    usual = services.plans.default_request(services.today())
    services.plans.propose(msgspec.structs.replace(usual, minutes=25))
    page = open_page()
    stand = Stand(page, served.url).open().sees("start").press("Space").sees("intention")
    stand.press("Enter").sees("quiet").press("Space").sees("slot")
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(300)
        low, edge, wide = page.evaluate(
            """() => {
            const image = document.querySelector("[data-scene=slot] > .page.is-chart svg");
            const edge = document.querySelector("#edge").getBoundingClientRect();
            const box = image.getBoundingClientRect();
            return [box.bottom, edge.top, box.width];
            }"""
        )
        assert low <= edge + 1, f"the chart goes under the buttons at {width}"
        assert wide > 250

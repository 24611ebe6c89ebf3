"""Nothing lost, nothing doubled: server killed, page reloaded, two tabs, no server at all."""

import random
from collections import Counter

import pytest
from raw_browser import RawBrowser
from rendered import begin
from stand import KEPT, UNSENT, Stand, laid_out, plan_today, slot

from coldtake.bootstrap import open_services
from coldtake.domain import events as ev
from conftest import ARGS, CHROMIUM

pytestmark = pytest.mark.browser

QUOTA = 4_000_000  # bytes; the page and its fonts take half a million
MEMO = """
  const open = indexedDB.open("coldtake-session");
  const db = await new Promise((done) => (open.onsuccess = () => done(open.result)));
  const put = (size) => new Promise((done) => {
    const work = db.transaction("memo", "readwrite", { durability: "strict" });
    work.objectStore("memo").put(new Uint8Array(size), "fill" + Math.random());
    work.oncomplete = () => done(true);
    work.onabort = () => done(false);
  });
"""
FILL = f"""async () => {{ {MEMO}
  for (const size of [400_000, 40_000, 4_000, 400, 40]) while (await put(size));
  db.close();
}}"""
EMPTY = f"""async () => {{ {MEMO}
  const work = db.transaction("memo", "readwrite", {{ durability: "strict" }});
  work.objectStore("memo").delete(IDBKeyRange.bound("fill", "film"));
  await new Promise((done) => (work.oncomplete = done));
  db.close();
}}"""


@pytest.fixture
def data(tmp_path):
    """A data folder with a plan for today."""
    folder = tmp_path / "data"
    services = open_services(folder)
    steps = laid_out(services)
    plan_today(
        services,
        [slot(steps["row"], 9), slot(steps["own"], 8), slot(steps["air"], 7)],
    )
    services.close()
    return folder


def session_ids(data):
    """Ids of the session's events as the log holds them, in order of arrival."""
    services = open_services(data)
    kinds = (ev.PlanKept, ev.TopicKept, ev.TopicPlaced, ev.StepKept, ev.PassageKept)
    found = [e for _, e in services.store.events() if not isinstance(e.data, kinds)]
    services.close()
    return [e.id for e in found], found


def digits(page):
    minutes, seconds = page.evaluate(
        "() => [...document.querySelectorAll('#bar .signature')].map((d) => Number(d.textContent))"
    )
    return 60 * minutes + seconds


def test_server_killed_at_random_moments_loses_and_doubles_nothing(data, served_process, open_page):
    server = served_process(data)
    stand = Stand(open_page(), server.url).open().begin()
    chance = random.Random(4)
    for _ in range(2):
        for key in chance.choices(("y", "n", "c", "Backspace"), k=6):
            stand.page.keyboard.press(key)
        server.kill()
        stand.press("y", "n")
        stand.page.wait_for_function(
            "() => document.querySelector('#notices').textContent.includes('does not answer')"
        )
        server.start()
        stand.sent()
    stand.press("m").sees("intention").press("Enter").sees("slot", "Slow bows").press("y").sent()
    kept = stand.kept_ids()
    server.kill()
    ids, _ = session_ids(data)
    assert Counter(ids).most_common(1)[0][1] == 1
    assert set(ids) == kept


def test_reload_while_the_server_is_dead_keeps_clock_and_answers(data, served_process, open_page):
    server = served_process(data)
    page = open_page()
    stand = Stand(page, server.url).open().begin().press("y", "n", "y")
    page.evaluate("() => navigator.serviceWorker.ready")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    stand.sent()
    server.kill()
    stand.press("y")
    before = digits(page)
    began = page.evaluate("() => Date.now()")
    page.reload()
    page.wait_for_function("() => document.body?.dataset.ready === 'yes'")
    stand.sees("slot", "Again")
    gone = (page.evaluate("() => Date.now()") - began) / 1000
    assert digits(page) == pytest.approx(before - gone, abs=2)
    assert page.inner_text("#slot-row") == "2 of 3 in a row"
    assert page.locator("#bar .mark").count() == 4
    assert "does not answer" in page.inner_text("#notices")
    page.wait_for_selector("[data-scene=slot] > .page g.staff")
    stand.press("n", "m").sees("intention").press("Enter").sees("slot", "Slow bows")
    server.start()
    stand.sent()
    page.wait_for_function(
        "() => !document.querySelector('#notices').textContent.includes('does not answer')"
    )
    kept = stand.kept_ids()
    server.kill()
    ids, found = session_ids(data)
    assert set(ids) == kept
    assert len(ids) == len(kept)
    answers = [e.data.answer for e in found if isinstance(e.data, ev.TryAnswered)]
    assert answers == ["yes", "no", "yes", "yes", "no"]


def test_a_reload_from_the_server_alone_gives_the_same_session(data, served_process, open_page):
    """Another browser knows only what the server tells."""
    server = served_process(data)
    first = Stand(open_page(), server.url).open().begin().press("y", "n").sent()
    left = digits(first.page)
    other = Stand(open_page(), server.url).open().sees("slot", "Again")
    assert other.page.locator("#bar .mark").count() == 2
    assert digits(other.page) == pytest.approx(left, abs=8)


def test_two_tabs_do_not_fight(data, served_process, open_page):
    server = served_process(data)
    page = open_page()
    first = Stand(page, server.url).open().begin()
    second = Stand(page.context.new_page(), server.url).open().sees("slot", "Again")
    second.page.wait_for_function(
        "() => document.querySelector('#notices').textContent.includes('Another tab')"
    )
    second.press("y")
    first.press("n")
    second.page.wait_for_function("() => document.querySelectorAll('#bar .mark').length === 1")
    second.press("t")
    first.page.wait_for_function(
        "() => document.querySelector('#notices').textContent.includes('Another tab')"
    )
    first.press("n")
    second.press("y").sent()
    server.kill()
    _, found = session_ids(data)
    answers = [e.data.answer for e in found if isinstance(e.data, ev.TryAnswered)]
    assert answers == ["no", "yes"]


def test_a_full_device_keeps_what_it_is_told_until_there_is_room(data, served_process):
    server = served_process(data)
    full = "document.querySelector('#notices').textContent.includes('cannot save now. Free')"
    with RawBrowser(CHROMIUM, *ARGS) as browser:  # only a browser's own profile has a quota to set
        empty = browser.tab("about:blank")
        small = {"origin": server.url, "quotaSize": QUOTA}
        browser.send("Storage.overrideQuotaForOrigin", empty.session, **small)
        tab = begin(browser, server.url)
        tab.wait("document.body.dataset.screen === 'slot'")
        tab.press("y", "KeyY", "y")
        tab.wait(f"({UNSENT})()", of="0")
        server.kill()
        tab.evaluate(f"({FILL})()")
        tab.press("n", "KeyN", "n")
        tab.wait(full)
        assert tab.evaluate("document.querySelectorAll('#bar .mark').length") == 2, "it goes on"
        tab.evaluate(f"({EMPTY})()")
        tab.press("c", "KeyC", "c")
        tab.wait(f"!{full}", 600.0)  # Chromium counts what is freed in its own time
        server.start()
        tab.wait(f"({UNSENT})()", of="0")
        kept = set(tab.evaluate(f"({KEPT})()"))
    server.kill()
    ids, found = session_ids(data)
    assert sorted(ids) == sorted(kept)
    answers = [e.data.answer for e in found if isinstance(e.data, ev.TryAnswered)]
    assert answers == ["yes", "no", "cannot_tell"]


def test_offline_from_the_first_slot_to_the_end(data, served_process, open_page):
    server = served_process(data)
    page = open_page()
    page.clock.install()
    stand = Stand(page, server.url).open().begin()
    page.evaluate("() => navigator.serviceWorker.ready")
    stand.sent()
    server.kill()
    stand.press("y").forward(541).sees("intention").forward(16).sees("slot", "Slow bows").press("n")
    stand.forward(466).sees("intention").forward(16).sees("slot", "Bars 1 to 3").forward(406)
    stand.sees("end")
    assert "1 yes" in page.inner_text("#end-counts")
    server.start()
    stand.sent()
    kept = stand.kept_ids()
    server.kill()
    ids, found = session_ids(data)
    assert sorted(ids) == sorted(kept)
    assert sum(isinstance(e.data, ev.SessionEnded) for e in found) == 1
    assert sum(isinstance(e.data, ev.SlotEnded) for e in found) == 3

"""How late a session's bells ring while eight clients look at pages.

    OMP_NUM_THREADS=1 python bench/load/run.py --bells 3

A real server over the example's data, a real Chromium in a session of one-minute slots, and the
clients of `clients.py`; all of it on 127.0.0.1, for as many minutes as there are bells. The page
puts its bells on the audio clock; what is measured is when that clock came to the bell, in the time
of day, against the slot's end as the log has it.
"""

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import threading
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

from coldtake.bootstrap import fill_with_demo, open_services
from coldtake.domain import events as ev
from coldtake.domain.criterion_words import question
from coldtake.domain.ids import named_id
from coldtake.domain.plan import Period, Plan, PlanRequest, PlanRules, Slot, SlotKind

HERE = Path(__file__).parent
SRC = HERE.parents[1] / "src"

LATE_MS = 250.0
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or "chromium"
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--autoplay-policy=no-user-gesture-required",
]
# Every tone of the bell's pitch: on which audio clock, for when; and what that clock says.
WATCH = """
window.bells = [];
const { start, stop } = OscillatorNode.prototype;
OscillatorNode.prototype.start = function (when) {
  if (Math.abs(this.frequency.value - 659.3) < 0.5) window.bells.push({ when, node: this });
  return start.call(this, when);
};
OscillatorNode.prototype.stop = function (when) {  // without an instant: it was taken away
  if (when === undefined) window.bells = window.bells.filter((bell) => bell.node !== this);
  return stop.call(this, when);
};
window.rung = () => window.bells.map(({ when, node }) => {
  const { contextTime, performanceTime } = node.context.getOutputTimestamp();
  const ms = performance.timeOrigin + performanceTime + (when - contextTime) * 1000;
  return { ms, past: contextTime >= when };
});
"""


def prepared(folder: Path, slots: int) -> list[str]:
    """The example's data with a plan for now; returns the addresses that the clients look at."""
    services = open_services(folder)
    fill_with_demo(services)
    state = services.state()
    steps = [s for t in state.topics.values() for s in state.topic_steps(t.id)][:slots]
    now = datetime.now()
    plan = Plan(
        id=named_id("plan", "load"),
        request=PlanRequest(
            day=services.today(), starts_at=time(now.hour, now.minute), minutes=max(slots, 5)
        ),
        rules=PlanRules(),
        periods=(Period(slots=tuple(_slot(s) for s in steps)),),
    )
    services.append(ev.PlanKept(plan=plan))
    takes = [f"/takes/{i}" for i in list(state.takes)[-5:]]
    pages = ["/", "/tomorrow", "/progress", "/outlook", "/settings", "/api/session"]
    pages += [f"/steps/{s.id}" for s in steps] + [f"/topics/{t}" for t in state.topics]
    services.close()
    return pages + takes


def _slot(step: Any) -> Slot:
    return Slot(
        id=named_id("slot", step.id),
        step_id=step.id,
        topic_id=step.topic_id,
        kind=SlotKind.WORK,
        minutes=1,
        question=question(step.criterion),
        goal="",
        reason="",
    )


def served(folder: Path) -> tuple["subprocess.Popen[str]", str]:
    command = [sys.executable, "-m", "coldtake", "serve", "--data", str(folder), "--port", "0"]
    server = subprocess.Popen(
        [*command, "--no-browser", "--json"],
        env={**os.environ, "PYTHONPATH": str(SRC)},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert server.stdout is not None
    text = ""
    while not text.rstrip().endswith("}"):
        text += server.stdout.readline()
    return server, json.loads(text)["address"].rstrip("/")


def begun(page: Page, url: str) -> None:
    """From the start to the first slot: no intention, no quiet moment."""
    page.goto(f"{url}/session")
    page.wait_for_function("() => document.body.dataset.ready === 'yes'")
    for screen, key in (("start", "Space"), ("intention", "Enter"), ("quiet", "PageDown")):
        page.wait_for_function(f"() => document.body.dataset.screen === '{screen}'")
        page.keyboard.press(key)
        page.wait_for_timeout(200)
    page.wait_for_function("() => document.body.dataset.screen === 'slot'")


def played(url: str, pages: list[str], bells: int) -> tuple[list[float], dict[str, Any]]:
    """Times at which bells sounded [epoch ms], and what the clients saw."""
    with sync_playwright() as kit:
        browser = kit.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page()
        page.add_init_script(WATCH)
        begun(page, url)
        seconds = bells * 60.0 + 20.0
        told: list[dict[str, Any]] = []
        load = threading.Thread(target=lambda: told.append(_looked(url, seconds, pages)))
        load.start()
        found = []
        for number in range(bells):
            page.wait_for_function(
                f"() => window.rung().filter((b) => b.past).length > {number}", timeout=180_000
            )
            found.append(page.evaluate("() => window.rung().filter((b) => b.past).at(-1).ms"))
            _next_slot(page)
        load.join()
        browser.close()
    return found, told[0]


def _next_slot(page: Page) -> None:
    """Answer with the pedal and go on, through whatever is asked between two slots."""
    before = page.inner_text("#slot-title")
    for _ in range(10):
        page.keyboard.press("PageDown")
        page.wait_for_timeout(700)  # a pedal pressed sooner after a page has turned does nothing
        on = page.evaluate("() => document.body.dataset.screen === 'slot'")
        if on and page.inner_text("#slot-title") != before:
            return


def _looked(url: str, seconds: float, pages: list[str]) -> dict[str, Any]:
    command = [sys.executable, str(HERE / "clients.py"), url, str(seconds), *pages]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def due(folder: Path) -> list[float]:
    """Ends of the slots as the log has them [epoch ms]."""
    services = open_services(folder)
    started = [e for _, e in services.store.events() if isinstance(e.data, ev.SlotStarted)]
    ends = [e.at + timedelta(seconds=e.data.planned_s) for e in started]
    services.close()
    return [end.timestamp() * 1000 for end in ends]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bells", type=int, default=3)
    bells = parser.parse_args().bells
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        pages = prepared(folder, bells + 1)
        server, url = served(folder)
        try:
            rung, seen = played(url, pages, bells)
        finally:
            server.terminate()
            server.wait(30)
        lateness = [min((r - d for d in due(folder)), key=abs) for r in rung]
    times = seen["s"]
    at = {q: round(1000 * times[int(q * (len(times) - 1) / 100)]) for q in (50, 95, 100)}
    print(f"machine: {platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    print(f"{seen['requests']} requests by 8 clients, {seen['failed']} failed; ms: {at}")
    print("bells late by ms:", ", ".join(f"{ms:.0f}" for ms in lateness))
    print("held" if max(lateness) < LATE_MS else "NOT held", f"(limit {LATE_MS:.0f} ms)")


if __name__ == "__main__":
    main()

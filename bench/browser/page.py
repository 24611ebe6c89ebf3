"""Weight of the session page, its first paint, and how long a verdict takes after a take's end.

PYTHONPATH=src python bench/browser/page.py
"""

import json
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path
from statistics import median

from playwright.sync_api import sync_playwright

from coldtake.bootstrap import open_services

sys.path[:0] = [str(Path(__file__).parents[2] / "tests" / "browser")]
from stand import AIR, BPM, Stand, laid_out, microphone_file, plan_today, slot  # noqa: E402

from conftest import launch, microphone, serve  # noqa: E402

AT_S = (12.0, 32.0, 52.0)
COUNT_IN_S = 0.25 + 4 * 60 / BPM
LATE_S = 0.4
WATCH = """() => {
  window.__phases = [];
  new MutationObserver(() => {
    const phase = document.body.dataset.take; // set again and again, also when it stays the same
    if (window.__phases.at(-1)?.[0] !== phase) window.__phases.push([phase, performance.now()]);
  }).observe(document.body, { attributes: true, attributeFilter: ["data-take"] });
}"""
LOADED = """() => {
  const all = [performance.getEntriesByType("navigation")[0],
    ...performance.getEntriesByType("resource")];
  const [paint] = performance.getEntriesByName("first-contentful-paint");
  return {
    requests: all.length,
    kB: Math.round(all.reduce((sum, e) => sum + e.encodedBodySize, 0) / 1000),
    first_paint_ms: Math.round(paint.startTime),
  };
}"""


def run() -> dict[str, object]:
    """Open the page once, and play three takes to it."""
    with tempfile.TemporaryDirectory() as name, sync_playwright() as driver:
        folder = Path(name)
        services = open_services(folder / "data")
        for setting in ("quiet_seconds", "takes_alone"):
            services.settings.choose(setting, "0")
        steps = laid_out(services, times=9)
        plan_today(services, [slot(steps["row"], 9)])
        wav = microphone_file(folder, [(at, AIR) for at in AT_S], AT_S[-1] + 20)
        with serve(services) as server:
            browser = launch(driver, *microphone(wav))
            page = browser.new_page(viewport={"width": 1180, "height": 820})
            stand = Stand(page, server.url)
            page.set_default_timeout(60_000)
            began = time.monotonic()
            stand.open()
            ready_ms = round(1000 * (time.monotonic() - began))
            loaded = page.evaluate(LOADED)
            stand.press("Space").sees("intention")
            page.wait_for_function(
                "() => document.querySelector('#mic-words').textContent.includes('ready')"
            )
            opened = time.monotonic()
            stand.press("Enter").sees("slot")
            page.evaluate(WATCH)
            told = []
            for at in AT_S:
                time.sleep(max(0.0, opened + at - COUNT_IN_S - LATE_S - time.monotonic()))
                page.keyboard.press("PageDown")
                page.wait_for_function("() => document.body.dataset.take === 'playing'")
                told.append(stand.waits_for("Yes", "No", "Cannot tell"))
            phases = page.evaluate("window.__phases")
            browser.close()
        services.close()
    # "keeping" may pass between two looks
    ends = [
        at
        for (before, _), (phase, at) in pairwise(phases)
        if before == "playing" and phase in ("keeping", "judging")
    ]
    shown = [at for phase, at in phases if phase in ("verdict", "ask")]
    waits = [round(b - a) for a, b in zip(ends, shown, strict=True)]
    return loaded | {
        "ready_ms": ready_ms,
        "told": told,
        "verdict_ms": waits,
        "median": median(waits),
    }


if __name__ == "__main__":
    print(json.dumps(run()))

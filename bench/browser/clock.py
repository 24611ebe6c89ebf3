"""Clicks, bells and slot ends of the real session page over ten minutes, in four conditions.

The page is the product's own in a real Chromium without a driver in between (a hidden tab is really
hidden). What goes to the loudspeaker is also led into the page's own recording worklet, so frames
are those of the rendered audio. The main thread is blocked from outside for 500 ms at random.

    PYTHONPATH=src python bench/browser/clock.py [minutes]
"""

import json
import random
import statistics
import sys
import tempfile
import time
from pathlib import Path

import msgspec

from coldtake.bootstrap import open_services
from coldtake.domain.topic import Exercise

sys.path[:0] = [str(Path(__file__).parents[2] / "tests" / "browser")]
from raw_browser import RawBrowser, RawTab  # noqa: E402
from rendered import BLOCK, EVENTS, begin, click_errors, hide  # noqa: E402
from stand import laid_out, plan_today, slot  # noqa: E402

from conftest import ARGS, CHROMIUM, serve  # noqa: E402

BPM = 132
GAP_S = 8.0  # mean time between two blocks
CONDITIONS = ("seen", "seen, blocked", "hidden", "hidden, blocked")


def served(folder: Path, minutes: int, slots: int):
    """Services with a session of so many slots; nothing in them can be heard, the click is on."""
    services = open_services(folder)
    services.settings.choose("quiet_seconds", "0")
    steps = laid_out(services)
    own = msgspec.structs.replace(steps["own"], exercise=Exercise(tempo_bpm=BPM))
    services.pile.keep_step(own)
    row = [slot(own, minutes)] * slots
    each = [msgspec.structs.replace(one, id=f"{i:08x}{one.id[8:]}") for i, one in enumerate(row)]
    plan_today(services, each)
    return services


def turns_of(tab: RawTab) -> dict[str, float]:
    """How late a slot's end was written, seen and heard, against its deadline [ms]."""
    tap, turns, events = tab.evaluate("__tap"), tab.evaluate("__turns"), tab.evaluate(EVENTS)
    starts = sorted(at for kind, at in events if kind == "slot_started")
    ends = sorted(at for kind, at in events if kind == "slot_ended")
    seen = sorted(at for _, at in turns)[1:]
    shown = [min(abs(s - end) for s in seen) for end in ends[: len(starts) - 1]]
    rung = [min((abs(bell - end) for bell in tap["walls"]), default=1e9) for end in ends]
    written = [abs(end - start - 60_000) for start, end in zip(starts, ends, strict=False)]
    return {
        "slots": len(ends),
        "written_worst_ms": max(written),
        "seen_median_ms": statistics.median(shown),
        "seen_worst_ms": max(shown),
        "bell_median_ms": round(statistics.median(rung)),
        "bell_worst_ms": round(max(rung)),
        "bells_lost": sum(r > 1000 for r in rung),
    }


def run(minutes: float) -> dict[str, dict[str, float]]:
    """Run all conditions side by side for so many minutes."""
    chance = random.Random(6)
    found: dict[str, dict[str, float]] = {}
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        opened = []
        for number, name in enumerate(CONDITIONS):
            for kind in ("clicks", "turns"):
                data = Path(folder) / f"{number}{kind}"
                shape = (int(minutes) + 3, 1) if kind == "clicks" else (1, int(minutes) + 2)
                services = served(data, *shape)
                server = serve(services)
                browser = RawBrowser(CHROMIUM, *ARGS)
                tab = begin(browser, server.__enter__().url)
                tab.wait("document.body.dataset.screen === 'slot'")
                if kind == "clicks":
                    tab.press("PageDown")
                    tab.wait("document.body.dataset.take === 'playing'")
                if name.startswith("hidden"):
                    hide(browser, tab)
                opened.append((name, kind, tab, browser, server, services))
        blocked = [tab for name, _, tab, *_ in opened if name.endswith("blocked")]
        end = time.monotonic() + 60 * minutes
        while time.monotonic() < end:
            time.sleep(chance.expovariate(len(blocked) / GAP_S))
            chance.choice(blocked).evaluate(BLOCK)
        for name, kind, tab, *_ in opened:
            found[f"{kind}: {name}"] = click_errors(tab) if kind == "clicks" else turns_of(tab)
        for *_, browser, server, services in opened:
            browser.__exit__()
            server.__exit__(None, None, None)
            services.close()
    return found


if __name__ == "__main__":
    print(json.dumps(run(float(sys.argv[1]) if len(sys.argv) > 1 else 10.0), indent=1))

"""A session while its server is killed (SIGKILL) at random moments: events lost, events doubled.

PYTHONPATH=src python bench/browser/kills.py [kills]
"""

import json
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from playwright.sync_api import sync_playwright

from coldtake.bootstrap import open_services

sys.path[:0] = [str(Path(__file__).parents[2] / "tests" / "browser")]
from stand import Stand, laid_out, plan_today, slot  # noqa: E402

import conftest  # noqa: E402
from conftest import ServerProcess, launch  # noqa: E402

conftest.PATIENCE_S = 120.0  # a server that was just killed starts slowly on a busy machine
KEYS = ("y", "n", "c", "Backspace", "p", "Space", "k")


def planned(data: Path) -> None:
    """Keep a plan of six slots."""
    services = open_services(data)
    services.settings.choose("quiet_seconds", "0")
    steps = laid_out(services)
    names = ("row", "own", "air", "spare")
    plan_today(services, [slot(steps[name], 6) for name in names])
    services.close()


def run(kills: int) -> dict[str, float]:
    """Press keys all the time, kill the server at random moments, count at the end."""
    chance = random.Random(20)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        data = Path(folder) / "data"
        planned(data)
        server = ServerProcess(data)
        server.start()
        browser = launch(driver)
        page = browser.new_page()
        stand = Stand(page, server.url)
        page.set_default_timeout(60_000)
        stand.open().sees("start").press("Space").sees("intention").press("Enter").sees("slot")
        pressed = 0
        for _ in range(kills):
            end = time.monotonic() + chance.uniform(0.0, 0.6)
            while time.monotonic() < end:
                page.keyboard.press(chance.choice(KEYS))
                pressed += 1
            server.kill()
            for _ in range(chance.randrange(4)):
                page.keyboard.press(chance.choice(KEYS))
                pressed += 1
            server.start()
        end = time.monotonic() + 90
        while stand.unsent() and time.monotonic() < end:
            time.sleep(0.2)
        kept = stand.kept_ids()
        browser.close()
        server.kill()
        services = open_services(data)
        ids = [event.id for _, event in services.store.events()]
        services.close()
    doubled = sum(n - 1 for n in Counter(ids).values())
    lost = len(kept - set(ids))
    return {"kills": kills, "keys": pressed, "events": len(kept), "lost": lost, "doubled": doubled}


if __name__ == "__main__":
    print(json.dumps(run(int(sys.argv[1]) if len(sys.argv) > 1 else 20)))

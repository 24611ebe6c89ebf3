"""Makes docs/session.png: the session page in the middle of a slot of the example.

    PYTHONPATH=src python experiments/session_picture.py

The example is told into a folder of its own, served on a free port, and looked at by Chromium.
"""

import os
import socket
import tempfile
import threading
import time
from pathlib import Path

import uvicorn
from playwright.sync_api import Page, sync_playwright

from coldtake.bootstrap import fill_with_demo, make_app, open_services

PICTURE = Path(__file__).parents[1] / "docs" / "session.png"
CHROMIUM = os.environ.get("COLDTAKE_CHROMIUM", "/usr/bin/chromium")
ARGUMENTS = ["--no-sandbox", "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]
SIZE = {"width": 1180, "height": 820}


def serve(folder: Path) -> tuple[uvicorn.Server, str]:
    services = open_services(folder)
    fill_with_demo(services)
    listener = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(make_app(services), log_level="warning"))
    threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True).start()
    while not server.started:
        time.sleep(0.05)
    return server, f"http://127.0.0.1:{listener.getsockname()[1]}"


def play_to_notation(page: Page) -> None:
    """Go on, without intentions, until a slot with notation runs."""
    onward = page.locator("#start-go, #intention-set, [data-do=on]:not(#take), #move-on")
    for _ in range(40):
        page.wait_for_timeout(700)
        if (
            page.locator("[data-scene=slot] [data-page] img:visible").count()
            and page.locator("#take:visible").count()
        ):
            return
        onward.locator("visible=true").first.click()
    raise SystemExit("No slot of the example's day shows notation.")


def main() -> None:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        server, address = serve(Path(folder))
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(viewport=SIZE)
        page.goto(f"{address}/session")
        play_to_notation(page)
        page.wait_for_timeout(20_000)  # so that the clock has something to show
        page.screenshot(path=PICTURE)
        browser.close()
        server.should_exit = True


if __name__ == "__main__":
    main()

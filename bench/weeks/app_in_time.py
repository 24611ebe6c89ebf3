"""The app as somebody uses it for a week: real server, real browser, and a clock that is moved.

    with AppInTime(folder, date(2027, 3, 1)) as app:
        app.go_to(day=0, at=time(20))
        app.page.goto(app.url)           # any page, with Playwright
        app.practise(("yes", "no", "no"))  # the session page by its keys, its clock wound on
        app.read("monday")                 # every page that can be reached, as it reads

The server's clock and the page's clock show the same time. What a reader sees is kept as text, a
file for each page, and with it everything that went wrong: answers of 400 and more, faults of
scripts, lines of the console. Nothing is asserted here: it is written to be read.
"""

import contextlib
import json
import re
import threading
import time as time_now
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import Any
from urllib.parse import urldefrag, urljoin, urlsplit

import uvicorn
from playwright.sync_api import BrowserContext, Page, Playwright, sync_playwright

from coldtake.bootstrap import SystemClock, local_zone, make_app, open_services

CHROMIUM = "/usr/bin/chromium"
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "laptop": (1440, 900)}
PAGES_MOST = 70
KEYS = {"yes": "y", "no": "n", "cannot_tell": "c"}
NOT_PAGES = re.compile(
    r"\.(wav|svg|pdf|ics|zip|json|crt|js|css)$|^/static/|^/api/|/sound$|^/takes/.*/sound"
)
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking"]


class MovedClock(SystemClock):
    """The machine's clock, shown as another time; it goes on as fast as the real one."""

    def __init__(self, zone: tzinfo | None) -> None:
        super().__init__(zone)
        self.ahead = timedelta()

    def now(self) -> datetime:
        return super().now() + self.ahead


class AppInTime:
    """Server, browser and clock of one player."""

    def __init__(self, folder: Path, first_day: date, microphone: Path | None = None) -> None:
        self.folder, self.first_day, self.microphone = folder, first_day, microphone
        self.clock = MovedClock(local_zone())
        self.faults: list[str] = []

    def __enter__(self) -> "AppInTime":
        self.folder.mkdir(parents=True, exist_ok=True)
        self.services = open_services(self.folder / "data", clock=self.clock)
        config = uvicorn.Config(
            make_app(self.services, data=self.folder / "data"),
            host="127.0.0.1",
            port=0,
            ws="none",
            lifespan="off",
            log_level="warning",
        )
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        while not self.server.started:
            time_now.sleep(0.05)
        port = self.server.servers[0].sockets[0].getsockname()[1]
        self.url = f"http://127.0.0.1:{port}"
        self.driver: Playwright = sync_playwright().start()
        self.context: BrowserContext | None = None
        self.go_to(0)
        return self

    def __exit__(self, *_: object) -> None:
        self._close_browser()
        self.driver.stop()
        self.server.should_exit = True
        self.thread.join(timeout=10)
        self.services.close()

    def go_to(self, day: int, at: time = time(17)) -> None:
        """Wind the clock to a time of a day, counted from the first, and open the browser anew."""
        wanted = datetime.combine(self.first_day + timedelta(days=day), at).astimezone()
        self.clock.ahead += wanted - self.clock.now()
        self._open_browser()

    def go_on(self, seconds: float) -> None:
        """Wind both clocks on; what the page has to do meanwhile is done."""
        self.clock.ahead += timedelta(seconds=seconds)
        self.page.clock.fast_forward(round(seconds * 1000))
        self.settle()

    def settle(self) -> None:
        self.page.evaluate("() => new Promise((done) => setTimeout(done, 150))")

    def _close_browser(self) -> None:
        if self.context is not None:
            with contextlib.suppress(Exception):
                self.context.close()

    def _open_browser(self) -> None:
        """Open the same profile again: what the page kept is still there."""
        self._close_browser()
        hearing = (
            [
                "--use-fake-device-for-media-stream",
                "--use-fake-ui-for-media-stream",
                f"--use-file-for-fake-audio-capture={self.microphone}%noloop",
                "--autoplay-policy=no-user-gesture-required",
            ]
            if self.microphone
            else []
        )
        width, height = SIZES["laptop"]
        self.context = self.driver.chromium.launch_persistent_context(
            str(self.folder / "profile"),
            executable_path=CHROMIUM,
            args=[*ARGS, *hearing],
            viewport={"width": width, "height": height},
            reduced_motion="reduce",
        )
        self.context.clock.install(time=self.clock.now())
        self.page: Page = self.context.pages[0]
        self.page.set_default_timeout(20_000)
        self.page.on("pageerror", lambda e: self.faults.append(f"{self.page.url}: script: {e}"))
        self.page.on("console", self._console)
        self.page.on("response", self._answered)

    def _console(self, message: Any) -> None:
        if message.type in ("error", "warning"):
            self.faults.append(f"{self.page.url}: console: {message.text}")

    def _answered(self, response: Any) -> None:
        if response.status >= 400:
            self.faults.append(f"{response.request.method} {response.url}: {response.status}")

    # What a player does

    def post(self, path: str, form: dict[str, Any]) -> str:
        """Send a form as the page would; return the page that answers. `file` fields are paths."""
        fields = {k: str(v) for k, v in form.items() if not isinstance(v, Path)}
        files = {
            k: {"name": v.name, "mimeType": "application/octet-stream", "buffer": v.read_bytes()}
            for k, v in form.items()
            if isinstance(v, Path)
        }
        sent = {"multipart": {**fields, **files}} if files else {"form": fields}
        headers = {"Origin": self.url, "Sec-Fetch-Site": "same-origin"}
        answer = self.page.request.post(
            f"{self.url}{path}", headers=headers, timeout=120_000, **sent
        )
        if answer.status >= 400:
            self.faults.append(f"POST {path}: {answer.status}: {plain(answer.text())[:300]}")
        return answer.url

    def screen(self) -> str:
        return str(self.page.evaluate("() => document.body?.dataset.screen ?? ''"))

    def practise(self, answers: Sequence[str], tries: int = 3) -> list[str]:
        """Play today's plan by keys: `tries` answers a slot, in turn from `answers`.

        Returns what each scene said, in order.
        """
        said, given = [], 0
        self.page.goto(f"{self.url}/session")
        self.page.wait_for_function("() => document.body?.dataset.ready === 'yes'")
        for _ in range(200):
            screen = self.screen()
            said.append(f"[{screen}] {plain_text(self.page)}")
            if screen in ("start", "intention", "quiet", "between"):
                self.page.keyboard.press("Enter" if screen == "intention" else "PageDown")
                self.settle()
            elif screen == "break":
                self.go_on(200)
                self.page.keyboard.press("PageDown")
                self.settle()
            elif screen == "slot":
                cold = self.page.is_visible("#slot-cold")
                for _ in range(1 if cold else tries):
                    self.go_on(60)
                    if self.screen() != "slot":
                        break
                    self.page.keyboard.press(KEYS[answers[given % len(answers)]])
                    given += 1
                    self.settle()
                    said.append(f"[told] {plain_text(self.page)}")
                if self.screen() == "slot" and not cold:
                    self.page.keyboard.press("m")
                    self.settle()
            elif screen == "end":
                break
            else:
                self.settle()
        return said

    # What a reader sees

    def read(self, name: str, *, start: Sequence[str] = ("/",), shots: Sequence[str] = ()) -> Path:
        """Follow every link from `start`, keep each page's words; `shots` are pages to draw too."""
        out = self.folder / "read" / name
        out.mkdir(parents=True, exist_ok=True)
        todo, seen = list(start), set(start)
        for _ in range(PAGES_MOST):  # pages that were read: links found are many more
            for link in self._read_one(todo.pop(0), out) if todo else ():
                if link not in seen:
                    seen.add(link)
                    todo.append(link)
            todo.sort(key=lambda path: path.startswith("/steps/"))  # many and alike: last
        for path in shots:
            self.draw(path, out)
        (out / "faults.json").write_text(json.dumps(self.faults, indent=1, ensure_ascii=False))
        return out

    def _read_one(self, path: str, out: Path) -> Iterator[str]:
        with contextlib.suppress(Exception):
            self.page.goto(f"{self.url}{path}", wait_until="load")
            self.page.wait_for_load_state("networkidle", timeout=15_000)
        self._wait_for_numbers()
        file = out / (re.sub(r"[^\w.=&?-]+", "_", path).strip("_")[:150] or "home")
        file.with_name(file.name + ".txt").write_text(f"{path}\n\n{plain_text(self.page)}\n")
        hrefs = self.page.eval_on_selector_all("a[href]", "(all) => all.map((a) => a.href)")
        for href in hrefs:
            parts = urlsplit(urldefrag(urljoin(self.page.url, href)).url)
            if f"{parts.scheme}://{parts.netloc}" == self.url and not NOT_PAGES.search(parts.path):
                yield parts.path + (f"?{parts.query}" if parts.query else "")

    def _wait_for_numbers(self) -> None:
        """Parts that come later: wait until nothing asks any more, half a minute at most."""
        for _ in range(60):
            waiting = self.page.locator("[hx-trigger*=load]").count()
            if not waiting:
                return
            time_now.sleep(0.5)
            with contextlib.suppress(Exception):
                self.page.clock.fast_forward(1000)

    def draw(self, path: str, out: Path) -> None:
        """Take a picture of a page at phone, tablet and laptop size."""
        stem = re.sub(r"\W+", "_", path).strip("_") or "home"
        for name, (width, height) in SIZES.items():
            self.page.set_viewport_size({"width": width, "height": height})
            if self.page.url != f"{self.url}{path}":
                self.page.goto(f"{self.url}{path}")
                self._wait_for_numbers()
            self.page.screenshot(path=str(out / f"{stem}-{name}.png"), full_page=path != "/session")
        width, height = SIZES["laptop"]
        self.page.set_viewport_size({"width": width, "height": height})


def plain_text(page: Page) -> str:
    """Read what a page shows, and what a screen reader hears in its pictures."""
    body = page.evaluate("() => document.body?.innerText ?? ''")
    names = page.eval_on_selector_all(
        "main [aria-label], main img[alt], main svg > title, main svg > desc",
        "(all) => all.map((e) => e.ariaLabel ?? e.alt ?? e.textContent)",
    )
    heard = sorted({" ".join(n.split()) for n in names if n})
    lines = [line.strip() for line in body.splitlines() if line.strip()]
    return "\n".join([*lines, *(f"(heard) {n}" for n in heard)])


def plain(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())

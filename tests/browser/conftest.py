"""Real Chromium against a real server on a free port with its own data folder.

chromium        the browser, one for the whole run (microphone tests launch their own by `launch`)
open_page       a page at a size, in light or dark: `open_page(width=390, dark=True)`
served          a server in this process over `services`, which tests fill directly
serving         the same over a given folder, as a `with` block (for a whole module)
served_process  a factory of servers in processes of their own, to be killed and started again
"""

import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect, sync_playwright

ROOT = Path(__file__).parents[2]
CHROMIUM = os.environ.get("COLDTAKE_CHROMIUM", "/usr/bin/chromium")
ARGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
# How long a page or a server may take on a busy machine. Waiting ends with what is waited for, so
# it costs nothing; how quick a page is, is looked at in bench/.
PATIENCE_S = 90.0
expect.set_options(timeout=1000 * PATIENCE_S)


def launch(playwright: Playwright, *more: str, **options: Any) -> Browser:
    """Start the system's Chromium with the arguments that work without a display."""
    return playwright.chromium.launch(executable_path=CHROMIUM, args=[*ARGS, *more], **options)


def microphone(wav: Path) -> tuple[str, ...]:
    """Arguments that play a WAV once as the microphone (pad it with silence)."""
    return (
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-audio-capture={wav}%noloop",
        "--autoplay-policy=no-user-gesture-required",
    )


@pytest.fixture(scope="session")
def playwright_driver() -> Iterator[Playwright]:
    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="session")
def chromium(playwright_driver: Playwright) -> Iterator[Browser]:
    browser = launch(playwright_driver)
    yield browser
    browser.close()


@pytest.fixture
def hearing(playwright_driver: Playwright) -> Iterator[Callable[[Path], Browser]]:
    """Start browsers whose microphone plays a WAV once: `hearing(wav)`."""
    started: list[Browser] = []

    def build(wav: Path) -> Browser:
        started.append(launch(playwright_driver, *microphone(wav)))
        return started[-1]

    yield build
    for browser in started:
        browser.close()


@pytest.fixture
def another_browser(playwright_driver: Playwright) -> Iterator[Callable[..., Browser]]:
    """Start browsers of their own: `another_browser("--switch")`."""
    started: list[Browser] = []

    def build(*more: str) -> Browser:
        started.append(launch(playwright_driver, *more))
        return started[-1]

    yield build
    for browser in started:
        browser.close()


@pytest.fixture
def open_page(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """Open pages that fail the test when a script throws or the policy refuses something."""
    contexts: list[BrowserContext] = []
    faults: list[str] = []

    def build(width: int = 1440, height: int = 900, *, dark: bool = False, **more: Any) -> Page:
        context = chromium.new_context(
            viewport={"width": width, "height": height},
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce",
            **more,
        )
        contexts.append(context)
        context.set_default_timeout(1000 * PATIENCE_S)
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(f"script: {error}"))
        page.on(
            "console",
            lambda m: faults.append(m.text) if "Content Security Policy" in m.text else None,
        )
        return page

    yield build
    for context in contexts:
        context.close()
    assert faults == []


def free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def wait_until_answers(url: str) -> None:
    end = time.monotonic() + PATIENCE_S
    while True:
        try:
            with urllib.request.urlopen(url, timeout=2):
                return
        except (urllib.error.URLError, ConnectionError, TimeoutError):
            if time.monotonic() > end:
                raise
            time.sleep(0.05)


@dataclass
class Served:
    """A server in this process."""

    url: str
    services: Any
    sharing: Any = None


@pytest.fixture
def services(tmp_path: Path) -> Iterator[Any]:
    """Services over an empty data folder."""
    from coldtake.bootstrap import open_services

    opened = open_services(tmp_path / "data")
    yield opened
    opened.close()


@contextmanager
def serve(services: Any, data: Path | None = None) -> Iterator[Served]:
    """Serve opened services on a free port until the block ends; with `data` it can be shared."""
    from coldtake.bootstrap import make_app

    port = free_port()
    app = make_app(services, data=data)
    config = uvicorn.Config(
        app, host="127.0.0.1", port=port, ws="none", lifespan="off", log_level="error"
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    url = f"http://127.0.0.1:{port}"
    wait_until_answers(f"{url}/settings")
    yield Served(url, services, app.state.sharing)
    if app.state.sharing:
        app.state.sharing.stop()
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture
def shareable(services: Any, tmp_path: Path) -> Iterator[Served]:
    """A server that can be shared with a tablet."""
    with serve(services, tmp_path / "data") as one:
        yield one


@pytest.fixture
def served(services: Any) -> Iterator[Served]:
    with serve(services) as one:
        yield one


@pytest.fixture(scope="session")
def serving() -> Callable[[Path], AbstractContextManager[Served]]:
    """A server over a data folder, for as long as a test or a whole module needs it."""

    @contextmanager
    def over(data: Path) -> Iterator[Served]:
        from coldtake.bootstrap import open_services

        services = open_services(data)
        with serve(services) as one:
            yield one
        services.close()

    return over


SERVE = """
import sys, uvicorn
from pathlib import Path
from coldtake.bootstrap import make_app, open_services
app = make_app(open_services(Path(sys.argv[1])))
uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[2]), ws="none", log_level="error")
"""


@dataclass
class ServerProcess:
    """A server that can be killed at any moment and started again on the same port and data."""

    data: Path
    port: int = field(default_factory=free_port)
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        command = [sys.executable, "-c", SERVE, str(self.data), str(self.port)]
        env = os.environ | {"PYTHONPATH": str(ROOT / "src")}
        self.process = subprocess.Popen(command, env=env)
        wait_until_answers(f"{self.url}/settings")

    def kill(self) -> None:
        """End it with SIGKILL, as a dead battery would."""
        assert self.process is not None
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        self.process = None


@pytest.fixture
def served_process() -> Iterator[Callable[[Path], ServerProcess]]:
    started: list[ServerProcess] = []

    def build(data: Path) -> ServerProcess:
        server = ServerProcess(data)
        started.append(server)
        server.start()
        return server

    yield build
    for server in started:
        if server.process is not None:
            server.kill()


@pytest.fixture(scope="session")
def axe_source() -> str:
    """The accessibility checker, installed by npm at the root (`npm ci`)."""
    path = ROOT / "node_modules" / "axe-core" / "axe.min.js"
    assert path.exists(), f"axe-core is not installed: run `npm ci` in {ROOT.name} first"
    return path.read_text(encoding="utf-8")


@pytest.fixture
def axe(axe_source: str) -> Callable[..., list[str]]:
    """Run axe on a page, return its faults as `rule: selector` (every level).

    With rules named only those are checked.
    """

    def run(page: Page, *rules: str) -> list[str]:
        # the policy forbids inserted scripts, so it comes in through the debugger
        page.evaluate(axe_source)
        options = {"runOnly": {"type": "rule", "values": list(rules)}} if rules else {}
        found = page.evaluate("async (o) => (await axe.run(document, o)).violations", options)
        return [
            f"{fault['id']} ({fault['impact']}): {node['target']} {node.get('failureSummary', '')}"
            for fault in found
            for node in fault["nodes"]
        ]

    return run

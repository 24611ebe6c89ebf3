"""Chromium by its own protocol, over a pipe, with nothing in between.

Playwright keeps every page visible and its timers awake; a tab that is really hidden needs two tabs
of one window and nobody who emulates the focus.
"""

import fcntl
import json
import os
import subprocess
import tempfile
import time
from itertools import count
from typing import Any, Self

ALWAYS = ("--headless", "--remote-debugging-pipe", "--mute-audio", "about:blank")


def _high(fd: int) -> int:
    """Move a descriptor out of the way of 3 and 4, where the browser expects its own."""
    moved = fcntl.fcntl(fd, fcntl.F_DUPFD_CLOEXEC, 10)
    os.close(fd)
    return moved


class RawBrowser:
    """A browser of its own; `with RawBrowser(...) as browser`."""

    def __init__(self, chromium: str, *arguments: str) -> None:
        self._folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        there_read, self._write = (_high(fd) for fd in os.pipe())
        self._read, there_write = (_high(fd) for fd in os.pipe())
        command = [chromium, *arguments, f"--user-data-dir={self._folder.name}", *ALWAYS]
        self._process = subprocess.Popen(
            ["bash", "-c", f'exec "$@" 3<&{there_read} 4>&{there_write}', "bash", *command],
            pass_fds=(there_read, there_write),
            stderr=subprocess.DEVNULL,
        )
        os.close(there_read)
        os.close(there_write)
        self._ids = count(1)
        self._rest = b""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.wait(timeout=20)
        os.close(self._write)
        os.close(self._read)
        self._folder.cleanup()

    def send(self, method: str, session: str = "", **parameters: Any) -> dict[str, Any]:
        """Send one command and wait for its answer."""
        number = next(self._ids)
        message: dict[str, Any] = {"id": number, "method": method, "params": parameters}
        if session:
            message["sessionId"] = session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']['message']}")
                result: dict[str, Any] = answer["result"]
                return result

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            more = os.read(self._read, 1 << 16)
            if not more:
                raise RuntimeError("the browser has gone")
            self._rest += more
        line, self._rest = self._rest.split(b"\0", 1)
        answer: dict[str, Any] = json.loads(line)
        return answer

    def tab(self, url: str) -> "RawTab":
        """Open another tab of the same window."""
        target = self.send("Target.createTarget", url=url)["targetId"]
        session = self.send("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        return RawTab(self, target, session)


class RawTab:
    """One tab; the one that was shown last hides the others."""

    def __init__(self, browser: RawBrowser, target: str, session: str) -> None:
        self.browser = browser
        self.target = target
        self.session = session

    def show(self) -> None:
        """Bring it to the front of its window."""
        self.browser.send("Target.activateTarget", targetId=self.target)

    def evaluate(self, expression: str) -> Any:
        """Run a script in the page and return its value, waiting for a promise."""
        answer = self.browser.send(
            "Runtime.evaluate",
            self.session,
            expression=expression,
            awaitPromise=True,
            returnByValue=True,
        )
        if "exceptionDetails" in answer:
            raise RuntimeError(str(answer["exceptionDetails"]))
        return answer["result"].get("value")

    def wait(self, condition: str, seconds: float = 90.0, of: str = "true") -> None:
        """Wait until a script gives `of`; a page that is not there yet is waited for."""
        end = time.monotonic() + seconds
        asked = f"(async () => document.body !== null && (await ({condition})) == {of})()"
        while not self.evaluate(asked):
            if time.monotonic() > end:
                raise TimeoutError(condition)
            time.sleep(0.1)

    def press(self, key: str, code: str = "", text: str = "") -> None:
        """Press a key as a person would: the page may sound after it."""
        for kind in ("keyDown", "keyUp"):
            more = {"text": text} if text and kind == "keyDown" else {}
            self.browser.send(
                "Input.dispatchKeyEvent", self.session, type=kind, key=key, code=code or key, **more
            )

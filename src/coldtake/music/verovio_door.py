"""The one door to verovio: notation text to MEI, MEI to SVG pages.

verovio works in a process of its own (`verovio_worker`), started at first use and kept; one that
crashes or hangs on broken notation is replaced, and the job is answered as not readable.
"""

import atexit
import json
import re
import struct
import subprocess
import sys
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_SEED = 20_817  # any fixed number: ids that verovio makes are the same at every reading
_READERS = {"musicxml": "xml", "mei": "mei"}
_LONGEST_S = 30.0
# Signs of the music font inside text (SMuFL, "Standard Music Font Layout" 1.4, metronome marks):
# written as ordinary characters, so that no font must be sent along.
_SMUFL = {
    "\ueca2": "whole note",
    "\ueca3": "half note",
    "\ueca5": "♩",
    "\ueca7": "♪",
    "\ueca9": "16th note",
    "\uecb7": ".",
}
_FONT_TEXT = re.compile(r'(<rend\b[^>]*?) glyph\.auth="smufl"([^>]*>)([^<]*)(</rend>)')


@dataclass(frozen=True, slots=True)
class Answer:
    """pages: MEI (one) or SVG texts; () when not readable; log: verovio's own lines."""

    pages: tuple[str, ...]
    log: tuple[str, ...] = ()


def to_mei(text: str, form: str) -> Answer:
    """The same notation as MEI."""
    answer = _WORKER.ask(text, _READERS[form], "mei", {})
    return Answer(tuple(_without_font(page) for page in answer.pages), answer.log)


def to_svg(mei: str, options: Mapping[str, Any]) -> Answer:
    """Every page as SVG."""
    return _WORKER.ask(mei, "mei", "svg", options)


def _without_font(mei: str) -> str:
    def plain(found: re.Match[str]) -> str:
        words = "".join(_SMUFL.get(c, "" if "\ue000" <= c <= "\uf8ff" else c) for c in found[3])
        return f"{found[1]}{found[2]}{words}{found[4]}"

    return _FONT_TEXT.sub(plain, mei)


class _Worker:
    """The process and the turn-taking at it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        atexit.register(self.stop)

    def ask(self, text: str, reader: str, want: str, options: Mapping[str, Any]) -> Answer:
        """One job; a process that dies over it is cleared away."""
        job = {"text": text, "reader": reader, "want": want}
        job["options"] = {"xmlIdSeed": _SEED, **options}  # type: ignore[assignment]
        with self._lock:
            process = self._running()
            timer = threading.Timer(_LONGEST_S, process.kill)
            timer.start()
            try:
                found = _exchange(process, json.dumps(job).encode("utf-8", "replace"))
            except (OSError, EOFError):
                self._clear()
                return Answer((), ("the engraver gave up on it",))
            except BaseException:  # half an answer would be taken for the next one
                self._clear()
                raise
            finally:
                timer.cancel()
        return Answer(tuple(found.get("pages", ())), tuple(found["log"].splitlines()))

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self._clear()
            self._process = subprocess.Popen(
                [sys.executable, "-P", str(Path(__file__).with_name("verovio_worker.py"))],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                start_new_session=True,
            )
        return self._process

    def _clear(self) -> None:
        """End what is left of the process."""
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                try:
                    pipe.close()
                except OSError:  # words that were still waiting for the dead process
                    continue
        process.wait()

    def stop(self) -> None:
        """End the process at the end of the program."""
        with self._lock:
            self._clear()


def _exchange(process: subprocess.Popen[bytes], job: bytes) -> dict[str, Any]:
    if process.stdin is None or process.stdout is None:
        raise EOFError
    process.stdin.write(struct.pack(">I", len(job)) + job)
    process.stdin.flush()
    head = process.stdout.read(4)
    if len(head) < 4:
        raise EOFError
    size = struct.unpack(">I", head)[0]
    text = process.stdout.read(size)
    if len(text) < size:
        raise EOFError
    found: dict[str, Any] = json.loads(text)
    return found


_WORKER = _Worker()

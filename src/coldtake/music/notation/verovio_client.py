"""The one door to verovio: notation text to MEI, MEI to SVG pages.

verovio works in a bounded process (`verovio_worker`); one that crashes or hangs on broken notation
is replaced, and the job is answered as not readable.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from coldtake.subprocesses import Limits, WorkerClient, WorkerFailed, runtime

_SEED = 20_817  # any fixed number: ids that verovio makes are the same at every reading
_READERS = {"musicxml": "xml", "mei": "mei"}
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
class VerovioAnswer:
    """pages: MEI (one) or SVG texts; () when not readable; log: verovio's own lines."""

    pages: tuple[str, ...]
    log: tuple[str, ...] = ()


def to_mei(text: str, form: str, *, seed: int = 0, drawn: bool = True) -> VerovioAnswer:
    """The same notation as MEI; with another seed verovio makes other ids.

    drawn : what cannot be drawn is refused; for a long work half the time goes into that
    """
    options = {"xmlIdSeed": _SEED + seed} | ({} if drawn else {"breaks": "none"})
    answer = _ask(text, _READERS[form], "mei" if drawn else "mei only", options)
    return VerovioAnswer(tuple(_without_font(page) for page in answer.pages), answer.log)


def to_svg(mei: str, options: Mapping[str, Any]) -> VerovioAnswer:
    """Every page as SVG."""
    return _ask(mei, "mei", "svg", options)


def _without_font(mei: str) -> str:
    def plain(found: re.Match[str]) -> str:
        words = "".join(_SMUFL.get(c, "" if "\ue000" <= c <= "\uf8ff" else c) for c in found[3])
        return f"{found[1]}{found[2]}{words}{found[4]}"

    return _FONT_TEXT.sub(plain, mei)


def _ask(text: str, reader: str, want: str, options: Mapping[str, Any]) -> VerovioAnswer:
    job = {"text": text, "reader": reader, "want": want}
    job["options"] = {"xmlIdSeed": _SEED, **options}  # type: ignore[assignment]
    if runtime.active():
        found = engrave(job)
    else:
        try:
            found, _, _ = WORKER.ask(job)
        except WorkerFailed:
            return VerovioAnswer((), ("the engraver gave up on it",))
    return VerovioAnswer(tuple(found["pages"]), tuple(found["log"].splitlines()))


def engrave(job: dict[str, Any]) -> dict[str, Any]:
    """Have verovio read notation and give MEI or SVG pages; none when it could not read it."""
    import verovio

    runtime.words()
    verovio.enableLog(verovio.LOG_WARNING)
    kit = verovio.toolkit()
    kit.setOptions(job["options"])
    kit.setInputFrom(job["reader"])
    if not kit.loadData(job["text"]):
        return {"pages": [], "log": runtime.words()}
    if job["want"] in ("mei", "mei only"):
        if job["want"] == "mei":
            kit.renderToSVG(1)  # what cannot be drawn must be known at once
        pages = [str(kit.getMEI({}))]
    else:
        pages = [str(kit.renderToSVG(n + 1)) for n in range(kit.getPageCount())]
    return {"pages": pages, "log": runtime.words()}


WORKER = WorkerClient("coldtake.music.notation.verovio_worker", Limits(cpu_s=10.0))

"""The one door to verovio: notation text to MEI, MEI to SVG pages."""

import re
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

_LOCK = threading.Lock()
_SEED = 20_817  # any fixed number: ids that verovio makes are the same at every reading
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
_READERS = {"musicxml": "xml", "mei": "mei", "abc": "abc"}


def to_mei(text: str, form: str) -> str | None:
    """The same notation as MEI, or None when verovio cannot read it."""
    with _LOCK:
        kit = _toolkit({})
        kit.setInputFrom(_READERS[form])
        return _without_font(str(kit.getMEI({}))) if kit.loadData(text) else None


def _without_font(mei: str) -> str:
    def plain(found: re.Match[str]) -> str:
        words = "".join(_SMUFL.get(c, "" if "\ue000" <= c <= "\uf8ff" else c) for c in found[3])
        return f"{found[1]}{found[2]}{words}{found[4]}"

    return _FONT_TEXT.sub(plain, mei)


def to_svg(mei: str, options: Mapping[str, Any]) -> tuple[str, ...]:
    """Every page as SVG; () when verovio cannot read the text."""
    with _LOCK:
        kit = _toolkit(options)
        kit.setInputFrom("mei")
        if not kit.loadData(mei):
            return ()
        return tuple(str(kit.renderToSVG(page + 1)) for page in range(kit.getPageCount()))


def _toolkit(options: Mapping[str, Any]) -> Any:
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    # verovio keeps the path of its fonts per thread; only the importing thread has it by itself
    verovio.setDefaultResourcePath(str(Path(verovio.__file__).parent / "data"))
    kit = verovio.toolkit()
    kit.setOptions({"xmlIdSeed": _SEED, **options})
    return kit

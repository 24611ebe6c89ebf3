"""`coldtake read`: a printed page to notation. Needs no data folder."""

from argparse import Namespace
from pathlib import Path
from typing import Any

from coldtake.cli.opened import file_bytes, print_json
from coldtake.errors import InputError, StoreError
from coldtake.music.print.records import FILE_MOST_BYTES, PrintedBar, PrintedPage, PrintedStaff

CLEFS = {"G": "treble", "G8": "treble-8", "F": "bass", "C3": "alto", "C4": "tenor"}
_METRES = {"C": "4/4", "cut": "2/2", "": None}
_REASONS = {
    "length": "the lengths do not add up",
    "uncertain": "some symbols are not clear",
    "chord": "more than one note at once cannot be read yet",
    "tie": "a tie does not lead to the same note",
    "metre": "the time signature is not sure",
    "clef": "no clef was found",
    "rests": "this rest may stand for several bars",
    "signature": "the clef or key differs from the staff before",
}


def run(arguments: Namespace) -> int:
    """Read the page, write what was asked for, say what must be looked at."""
    source = Path(arguments.file)
    target = Path(arguments.musicxml) if arguments.musicxml else None
    if target is not None and target.exists() and not arguments.replace:
        raise InputError(
            "A file of that name exists already.",
            where=str(target),
            remedy="Choose another name, or use --replace.",
        )
    data = file_bytes(source, FILE_MOST_BYTES, lambda size: _too_large(source, size))
    from coldtake.music.print.worker_client import read_page

    page = read_page(data, arguments.page, source.name)
    if target is not None:
        _write(target, page)
    if arguments.json:
        print_json(as_json(page))
    else:
        print("\n".join(lines_of(page)))
    return 0


def as_json(page: PrintedPage) -> dict[str, Any]:
    """Return the page in the form that is promised to other programmes."""
    staves = [_staff(staff) for staff in page.staves]
    return {"page": page.page, "pages": page.pages, "staves": staves}


def _staff(staff: PrintedStaff) -> dict[str, Any]:
    return {
        "system": staff.system,
        "staff": staff.number,
        "clef": CLEFS[staff.clef],
        "key_fifths": staff.key_fifths,
        "time": _METRES.get(staff.time, staff.time),
        "top": round(staff.top, 4),
        "bottom": round(staff.bottom, 4),
        "bars": [_bar(bar) for bar in staff.bars],
    }


def _bar(bar: PrintedBar) -> dict[str, Any]:
    return {
        "confidence": round(bar.confidence, 4),
        "doubtful": bar.doubtful,
        "doubts": list(bar.doubts),
        "clef": CLEFS[bar.clef],
        "key_fifths": bar.key_fifths,
        "time": _METRES.get(bar.time, bar.time),
        "left": round(bar.left, 4),
        "right": round(bar.right, 4),
        "barline": bar.barline,
        "ending": bar.ending or None,
        "starts_repeat": bar.starts_repeat,
        "notes": [
            {"pitch": n.pitch, "beats": round(n.beats, 6), "tie": n.tie, "grace": n.grace}
            for n in bar.notes
        ],
    }


def lines_of(page: PrintedPage) -> list[str]:
    """Write for reading: each staff, and each bar that must be looked at with the reasons."""
    out = [f"Page {page.page} of {page.pages}"]
    bar_number = 0
    for staff in page.staves:
        key = _key(staff.key_fifths)
        time = _METRES.get(staff.time, staff.time) or "no time signature"
        out.append(f"System {staff.system}, staff {staff.number}: {CLEFS[staff.clef]} clef, {key}, "
                   f"{time}, bars: {len(staff.bars)}")  # fmt: skip
        for bar in staff.bars:
            bar_number += 1
            if bar.doubtful:
                reasons = "; ".join(_REASONS[code] for code in bar.doubts)
                out.append(f"  Check bar {bar_number}: {reasons}.")
    return out


def _key(fifths: int) -> str:
    """Say a key signature as it is printed."""
    if not fifths:
        return "no sharps or flats"
    sign = "sharp" if fifths > 0 else "flat"
    return f"{abs(fifths)} {sign}" if abs(fifths) == 1 else f"{abs(fifths)} {sign}s"


def _write(target: Path, page: PrintedPage) -> None:
    from coldtake.music.print.musicxml import as_musicxml

    try:
        target.write_text(as_musicxml(page), encoding="utf-8")
    except OSError as fault:
        reason = (fault.strerror or "unknown").lower()
        raise StoreError(
            f"the file cannot be written: {reason}.", where=str(target), remedy="Choose another."
        ) from fault


def _too_large(path: Path, size: int) -> InputError:
    return InputError(
        f"this file has {size // 2**20} MB; up to {FILE_MOST_BYTES // 2**20} can be read.",
        where=path.name,
        remedy="Use only the pages that you need.",
    )

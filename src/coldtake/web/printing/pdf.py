"""A sheet to PDF, by typst: its template reads the sheet as data, so that no text can be markup."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

from coldtake.errors import ColdtakeError
from coldtake.web.printing.sheets import LEAST_TEXT_PT, MARGIN_MM, PAPERS, Sheet

TEMPLATE = Path(__file__).with_name("sheet.typ")


def as_pdf(sheet: Sheet, paper: str) -> bytes:
    """Set a sheet on a paper of PAPERS. Raises ColdtakeError when typst cannot."""
    import typst

    with tempfile.TemporaryDirectory(prefix="coldtake-print-") as name:
        folder = Path(name)
        data = _with_files(sheet, folder)
        data["page"] = {
            "width": PAPERS[paper][0],
            "height": PAPERS[paper][1],
            "margin": MARGIN_MM,
            "least": LEAST_TEXT_PT,
        }
        (folder / "sheet.json").write_text(json.dumps(data), encoding="utf-8")
        (folder / "sheet.typ").write_bytes(TEMPLATE.read_bytes())
        try:
            return bytes(typst.compile(folder / "sheet.typ", root=folder, format="pdf") or b"")
        except typst.TypstError as fault:
            raise ColdtakeError(
                f"The PDF could not be made: {str(fault).splitlines()[0]}",
                remedy="Print fewer exercises at once to find the one with the problem.",
            ) from fault


def _with_files(sheet: Sheet, folder: Path) -> dict[str, Any]:
    """Write every line of music into a file; in the data stands its name."""
    data = sheet.plain()
    for place, part in enumerate(data["parts"]):
        names = []
        for number, svg in enumerate(part["lines"]):
            name = f"music-{place}-{number}.svg"
            (folder / name).write_text(svg, encoding="utf-8")
            names.append(name)
        part["lines"] = names
    return data

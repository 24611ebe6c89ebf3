"""Several ABC tunes in one text: a tunebook (ABC 2.1, sections 2.2 and 2.3).

A tune begins with an "X:" line and ends with an empty line. What stands before the first tune is
the file's header; the fields of it that bear on notes hold for every tune that does not say its
own. Free text between tunes is left out.
"""

import re
from dataclasses import dataclass

_FIELD = re.compile(r"^([A-Za-z]):")
_HEADER_FIELDS = "MLI"  # of those allowed in a file header, the ones that bear on notes
MOST_TUNES = 20_000


@dataclass(frozen=True, slots=True)
class BookTune:
    """One tune: its reference number and title as written, where it begins (line from 1)."""

    number: str
    title: str
    text: str
    line: int


def tunes_in(text: str) -> tuple[BookTune, ...]:
    """The tunes of a text in their order; a text without "X:" lines is one tune."""
    lines = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    starts = [i for i, line in enumerate(lines) if line.startswith("X:")]
    if len(starts) < 2:
        return (BookTune("", _title(lines), text, 1),)
    common = _file_header(lines[: starts[0]])
    edges = [*starts[1:], len(lines)]
    found = (_tune(lines[a:b], common, a + 1) for a, b in zip(starts, edges, strict=True))
    return tuple(found)[:MOST_TUNES]


def _file_header(lines: list[str]) -> list[str]:
    return [line for line in lines if line[:2] in {f"{f}:" for f in _HEADER_FIELDS}]


def _tune(lines: list[str], common: list[str], start: int) -> BookTune:
    lines = _without_free_text(lines)
    header = lines[: next((i for i, x in enumerate(lines) if x.startswith("K:")), len(lines))]
    own = {line[:2] for line in header}
    carried = [line for line in common if line[:2] not in own]
    text = "\n".join([lines[0], *carried, *lines[1:]]).rstrip("\n") + "\n"
    return BookTune(lines[0][2:].strip(), _title(header), text, start)


def _title(lines: list[str]) -> str:
    return next((line[2:].strip() for line in lines if line.startswith("T:")), "")


def _without_free_text(lines: list[str]) -> list[str]:
    """Cut after the empty line that ends a tune, unless what follows looks like more music."""
    key = next((i for i, line in enumerate(lines) if line.startswith("K:")), 0)
    end = next((i for i in range(key + 1, len(lines)) if not lines[i].strip()), len(lines))
    rest = lines[end:]
    if any("|" in line and not _FIELD.match(line) and line[:1] != "%" for line in rest):
        return lines
    return lines[:end]

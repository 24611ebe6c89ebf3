"""Decorations of ABC 2.1 (section 4.14) and what they are in MEI."""

import re

# One-letter forms (4.14) and the names that they stand for.
SIGNS = {
    ".": "staccato",
    "~": "roll",
    "H": "fermata",
    "L": "accent",
    "M": "lowermordent",
    "O": "coda",
    "P": "uppermordent",
    "S": "segno",
    "T": "trill",
    "u": "upbow",
    "v": "downbow",
}
ARTICULATIONS = {
    "staccato": "stacc",
    ".": "stacc",
    "accent": "acc",
    ">": "acc",
    "emphasis": "acc",
    "tenuto": "ten",
    "marcato": "marc",
    "^": "marc",
    "wedge": "spicc",
    "upbow": "upbow",
    "downbow": "dnbow",
    "open": "open",
    "snap": "snap",
}
DYNAMICS = ("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff", "sfz")
_JUMPS = {
    "segno": "segno",
    "coda": "coda",
    "D.S.": "dalsegno",
    "D.C.": "dacapo",
    "dacapo": "dacapo",
    "dacoda": "tocoda",
    "fine": "fine",
    "S": "segno",
    "O": "coda",
}
_WORDS = (
    (re.compile(r"d\.? ?c\.?( .*)?|da capo( .*)?", re.IGNORECASE), "dacapo"),
    (re.compile(r"d\.? ?s\.?( .*)?|dal segno( .*)?", re.IGNORECASE), "dalsegno"),
    (re.compile(r"fine\.?", re.IGNORECASE), "fine"),
    (re.compile(r"segno", re.IGNORECASE), "segno"),
    (re.compile(r"coda", re.IGNORECASE), "coda"),
    (re.compile(r"(to|al) coda", re.IGNORECASE), "tocoda"),
)


def jump_of(text: str, *, quoted: bool) -> str:
    """The jump that a decoration or a text ("^D.C. al Fine") means, or ""."""
    if not quoted:
        if text.startswith(("D.C.", "D.S.")):
            return _JUMPS[text[:4]]
        return _JUMPS.get(text, "")
    words = text.lstrip("^_<>@").strip()
    return next((jump for pattern, jump in _WORDS if pattern.fullmatch(words)), "")

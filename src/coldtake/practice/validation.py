"""What comes from outside is checked whole before it becomes an event."""

import re
import unicodedata
from typing import TypeVar

import msgspec

from coldtake.errors import RuleError

TITLE_MOST = 200
Record = TypeVar("Record", bound=msgspec.Struct)
_PLACE_IN_RECORD = re.compile(r" - at `\$\.?(?P<where>[^`]*)`$")
# What msgspec says about a limit, and the same for the player.
_LIMITS = (
    (re.compile(r"of length >= \d+$"), "must not be empty"),
    (re.compile(r"of length <= (\S+)$"), "must have at most {} characters"),
    (re.compile(r">= (\S+)$"), "must be at least {}"),
    (re.compile(r"<= (\S+)$"), "must be at most {}"),
    (re.compile(r"> (\S+)$"), "must be above {}"),
)


def whole(record: Record, where: str = "") -> Record:
    """Return the record if every field keeps its limits. Raises RuleError naming the field."""
    try:
        return msgspec.convert(msgspec.to_builtins(record), type(record))
    except msgspec.ValidationError as fault:
        raise RuleError(
            _in_words(str(fault)), where=where, remedy="Correct it and try again."
        ) from fault


def _in_words(said: str) -> str:
    found = _PLACE_IN_RECORD.search(said)
    field = found["where"].replace("_", " ") if found else ""
    what = said[: found.start()] if found else said
    for pattern, words in _LIMITS:
        limit = pattern.search(what)
        if limit:
            shown = words.format(*limit.groups()).replace("0.0", "0")
            return f"The {field or 'value'} {shown}."
    return f"The {field or 'value'} cannot be used: {what[:1].lower()}{what[1:]}."


def title_of(text: str, what: str = "title") -> str:
    """Return a title on one line, trimmed. Raises RuleError when it is empty or too long."""
    shown = "".join(" " if unicodedata.category(sign) == "Cc" else sign for sign in text)
    title = " ".join(unicodedata.normalize("NFC", shown).split())
    if not title:
        raise RuleError(f"The {what} is empty.", remedy="Enter a name of a few words.")
    if len(title) > TITLE_MOST:
        raise RuleError(
            f"The {what} has {len(title)} characters; at most {TITLE_MOST} are allowed.",
            where=f"{title[:40]}…",
            remedy="Shorten it. Put the rest into the notes.",
        )
    return title

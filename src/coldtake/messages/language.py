"""The languages that Coldtake has, and the one that is spoken now."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Language:
    """A language by its code (BCP 47) and its own name.

    complete : everything that is shown has its message; before that it is offered to nobody
    """

    code: str
    name: str
    complete: bool


# The log keeps a language's place in this list: a new one is added at the end.
LANGUAGES = (
    Language("en", "English", complete=True),
    Language("de", "Deutsch", complete=False),
)

_spoken: ContextVar[str] = ContextVar("language", default=LANGUAGES[0].code)


def offered() -> tuple[Language, ...]:
    """Return the languages that can be chosen, in the order of the list."""
    return tuple(one for one in LANGUAGES if one.complete)


def spoken() -> str:
    """Return the code of the language that is spoken now."""
    return _spoken.get()


@contextmanager
def speaking(code: str) -> Iterator[None]:
    """Speak a language, within this thread or task."""
    token = _spoken.set(code)
    try:
        yield
    finally:
        _spoken.reset(token)


def first_understood(header: str, among: tuple[Language, ...]) -> str:
    """Choose by what a browser asks for: `Accept-Language`, RFC 9110 (2022), section 12.5.4.

    The first language of the list, English, if none fits or the header is none.
    """
    wishes = sorted((_wish(part) for part in header.split(",")), key=lambda wish: -wish[1])
    codes = {one.code for one in among}
    understood = (tag for tag, weight in wishes if weight > 0 and tag in codes)
    return next(understood, LANGUAGES[0].code)


def _wish(part: str) -> tuple[str, float]:
    """Read one wish, such as `de-AT;q=0.8`: the language without its region, and its weight."""
    tag, _, weight = part.partition(";")
    try:
        share = float(weight.strip().removeprefix("q=") or 1)
    except ValueError:
        share = 0.0
    return tag.strip().partition("-")[0].lower(), share

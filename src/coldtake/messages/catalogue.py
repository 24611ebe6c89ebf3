"""Messages in the language that is spoken now, after GNU gettext.

The English text is the key. Places for values are named, `%(count)s`, so that another language can
put them in its own order. A message that a catalogue lacks is shown in English.
"""

import io
from functools import cache
from gettext import GNUTranslations, NullTranslations
from pathlib import Path

from coldtake.messages.language import LANGUAGES, spoken

HERE = Path(__file__).parent


def catalogue_of(code: str) -> Path:
    """Return the file of a language's messages."""
    return HERE / f"{code}.po"


@cache
def _messages(code: str) -> NullTranslations:
    """Read a language's catalogue, once: its text itself, so that there is nothing to build."""
    if code == LANGUAGES[0].code:
        return NullTranslations()
    from babel.messages.mofile import write_mo  # only another language than English needs them
    from babel.messages.pofile import read_po

    with catalogue_of(code).open("rb") as text:
        found = read_po(text, locale=code)
    binary = io.BytesIO()
    write_mo(binary, found)
    binary.seek(0)
    return GNUTranslations(binary)


def gettext(message: str) -> str:
    """Return a message in the language that is spoken now."""
    return _messages(spoken()).gettext(message)


def ngettext(one: str, many: str, number: int) -> str:
    """Return the form of a message that goes with a whole number."""
    return _messages(spoken()).ngettext(one, many, number)


def pgettext(context: str, message: str) -> str:
    """Return a message whose English has several meanings; `context` says which is meant."""
    return _messages(spoken()).pgettext(context, message)


def npgettext(context: str, one: str, many: str, number: int) -> str:
    """Return the form that goes with a whole number, of a message with several meanings."""
    return _messages(spoken()).npgettext(context, one, many, number)


def marked(message: str) -> str:
    """Mark a message for the catalogues that is given out only where it is shown."""
    return message

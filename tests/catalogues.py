"""What is to be translated: the messages of the code and the templates, as Babel finds them.

`python tests/catalogues.py` brings `src/coldtake/messages/*.po` up to date: new messages are added
without a translation, which a test then asks for, and what nothing shows any more is taken out.
"""

import io
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from coldtake.messages.catalogue import catalogue_of
from coldtake.messages.language import LANGUAGES

SRC = Path(__file__).parents[1] / "src" / "coldtake"
KEYWORDS = {
    "_": None,
    "gettext": None,
    "translate": None,
    "marked": None,
    "ngettext": (1, 2),
    "pgettext": ((1, "c"), 2),
    "npgettext": ((1, "c"), 2, 3),
}
WHERE = [("**.py", "python"), ("**/templates/**.html", "jinja2.ext:babel_extract")]
OPTIONS = {"**/templates/**.html": {"newstyle_gettext": "true", "trimmed": "false"}}


def extracted() -> Catalog:
    """Collect every message with the files that show it."""
    found = Catalog(project="Coldtake", charset="utf-8")
    for name, _, message, comments, context in extract_from_dir(
        SRC, WHERE, OPTIONS, keywords=KEYWORDS
    ):
        if message:
            found.add(message, locations=[(name, None)], auto_comments=comments, context=context)
    return found


def translated(code: str) -> Catalog:
    """Read a language's catalogue."""
    with catalogue_of(code).open("rb") as text:
        return read_po(text, locale=code)


def catalogue_texts(text: object) -> list[str]:
    """Return the forms of a message or of its translation."""
    return list(text) if isinstance(text, (tuple, list)) else [str(text or "")]


def update(code: str) -> None:
    """Write a language's catalogue again, with all that is shown now and nothing else."""
    catalogue = translated(code)
    catalogue.update(extracted(), no_fuzzy_matching=True)
    catalogue.obsolete.clear()
    text = io.BytesIO()
    write_po(text, catalogue, width=100, omit_header=True, sort_by_file=True)
    header = catalogue_of(code).read_text(encoding="utf-8").split("\n\n", 1)[0].rstrip()
    catalogue_of(code).write_text(f"{header}\n\n{text.getvalue().decode()}", encoding="utf-8")


if __name__ == "__main__":
    for language in LANGUAGES[1:]:
        update(language.code)

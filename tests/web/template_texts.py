"""Finds what a template shows without a message: text nodes, shown attributes, strings in between.

A reading of the source, not of a rendered page, so that every branch is seen.
"""

import re
from pathlib import Path

SHOWN = "aria-label|placeholder|title|alt|label|data-says|data-busy|data-label"
_SPOKEN = re.compile(r"\{%-?\s*trans\b.*?endtrans\s*[-+]?%\}|\{#.*?#\}", re.DOTALL)
_CODE = re.compile(r"\{%.*?%\}|\{\{.*?\}\}", re.DOTALL)
_MACRO = re.compile(r"\{% macro (mark|where|plan_link)\(.*?endmacro %\}", re.DOTALL)
_CLASS = re.compile(r"\{% block body_class %\}.*?\{% endblock %\}")
_ATTRIBUTE = re.compile(rf'(?<![\w-])(?:{SHOWN})="([^"]*)"')
_TAG = re.compile(r"<[a-zA-Z/!](?:\"[^\"]*\"|'[^']*'|[^>\"'])*>", re.DOTALL)
_LETTERS = re.compile(r"[^\W\d_]+(?:’\w+)?")
_STRING = re.compile(r'"([^"]*)"(?!\s*:)')
_WORDY = re.compile(r"[A-Z][a-z][^/%]*|[^/%]*[a-z,] [a-z][^/%]*")
# Names, units and examples of what is typed in: the same in every language.
ALLOWED = {"Coldtake", "min", "s", "ms", "MB", "♩", "A"}
TYPED = {"C F Bb", "E3", "D6", "C", "F, Cm", "C G Bb", "192.168.1.20"}


def bare_texts(path: Path) -> list[str]:
    """Return what a template shows in one language only."""
    source = path.read_text(encoding="utf-8")
    for hidden in (_SPOKEN, _MACRO, _CLASS):
        source = hidden.sub("", source)
    found = [t for code in _CODE.findall(source) for t in _strings(code)]
    plain = _CODE.sub("\0", source)
    for attribute in _ATTRIBUTE.findall(plain):
        found += _words(attribute)
    for text in _TAG.split(plain):
        found += _words(text)
    return found


def _words(text: str) -> list[str]:
    parts = [re.sub(r"&\w+;", " ", part).strip() for part in text.split("\0")]
    return [p for p in parts if _is_shown(p)]


def _is_shown(part: str) -> bool:
    typed = part in TYPED or part.startswith(("|: ", "X:1"))
    return not typed and not set(_LETTERS.findall(part)) <= ALLOWED


def _strings(code: str) -> list[str]:
    """Return the strings of an expression that look like words and are not said by a message."""
    if re.match(r"\{%-?\s*(extends|import|include|macro|from|set (within|here))", code):
        return []
    spoken = re.sub(r"\b(?:_|n?gettext)\((?:\s*\"[^\"]*\",?)+", "(", code)
    compared = re.sub(r"(==|!=)\s*\"[^\"]*\"", "", spoken)
    return [text for text in _STRING.findall(compared) if _WORDY.fullmatch(text)]

"""Reading age of every sentence that the app shows: templates, messages, the page's scripts.

Formula: Flesch-Kincaid grade level, 0.39 words per sentence + 11.8 syllables per word - 15.59
(Kincaid, Fishburne, Rogers and Chissom, Derivation of New Readability Formulas for Navy Enlisted
Personnel, Research Branch Report 8-75, US Navy, 1975). It is meant for texts of a hundred words and
more; of one sentence it says little, so look at the median and at what stands out. Syllables are
counted by groups of vowels. A name or number that is filled in counts as one word of one syllable.
Sentences of fewer than four words are left out.

    python bench/words/reading_age.py [FOLDER] [--worst 20]
"""

import argparse
import ast
import re
import statistics
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

LEAST_WORDS = 4
_FILLED = "eight"  # what stands for a name or a number
_JINJA = re.compile(r"\{#.*?#\}|\{%.*?%\}", re.DOTALL)
_TAGS = re.compile(
    r"<(script|style|svg)\b.*?</\1>|</?(?:p|li|h\d|td|th|div|label|button|option)\b[^>]*>",
    re.DOTALL,
)
_ENDS = re.compile(r"(?<=[.?!])\s+|\n+")


class Sentence(NamedTuple):
    """One sentence and where it stands."""

    grade: float
    words: int
    place: str
    text: str


def syllables(word: str) -> int:
    """Count syllables by groups of vowels; a silent e at the end is none."""
    bare = re.sub(r"[^a-z]", "", word.lower())
    groups = len(re.findall(r"[aeiouy]+", bare))
    if bare.endswith("e") and not bare.endswith(("le", "ee")) and groups > 1:
        groups -= 1
    return max(groups, 1)


def grade(text: str) -> float:
    """Return the Flesch-Kincaid grade of one sentence."""
    words = re.findall(r"[A-Za-z’'-]*[A-Za-z][A-Za-z’'-]*|\d+", text)
    return 0.39 * len(words) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def of_template(text: str) -> Iterator[str]:
    """Yield the sentences of a template, without its logic and tags."""
    shown = _TAGS.sub("\n", _JINJA.sub(" ", text))
    shown = re.sub(r"\{\{.*?\}\}", _FILLED, shown, flags=re.DOTALL)
    yield from _ENDS.split(re.sub(r"<[^>]*>", " ", shown))


def of_python(text: str) -> Iterator[str]:
    """Yield the sentences in the strings of a module, without docstrings."""
    tree = ast.parse(text)
    ours = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            ours |= {id(part) for part in node.values}
            parts = [p.value if isinstance(p, ast.Constant) else _FILLED for p in node.values]
            yield from _ENDS.split("".join(map(str, parts)))
        elif (
            isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in ours
        ):
            yield from _ENDS.split(node.value)


def of_script(text: str) -> Iterator[str]:
    """Yield the sentences in the strings of a script, without comments."""
    bare = re.sub(r"/\*.*?\*/|^\s*//.*$", "", text, flags=re.DOTALL | re.MULTILINE)
    for found in re.finditer(r'"((?:[^"\\\n]|\\.)*)"|`((?:[^`\\]|\\.)*)`', bare):
        words = re.sub(r"\$\{[^}]*\}", _FILLED, found[1] or found[2] or "")
        yield from _ENDS.split(words)


def is_sentence(text: str) -> bool:
    """Say whether a string is one that people read: words, and neither code nor an address."""
    plain = len(re.findall(r"\b[a-z’]{2,}\b", text)) >= LEAST_WORDS
    ends = text.endswith((".", "?", "!")) and text[:1].isupper()
    return plain and ends and not re.search(r"[{}<>=|\\]|https?:|/[a-z]+/", text)


def all_sentences(folder: Path) -> list[Sentence]:
    """Collect every sentence once, the hardest first."""
    readers = {".html": of_template, ".py": of_python, ".js": of_script}
    found: dict[str, Sentence] = {}
    for path in sorted(folder.rglob("*")):
        reader = readers.get(path.suffix)
        if reader is None or {"vendor", "demo"} & set(path.parts):
            continue
        for raw in reader(path.read_text(encoding="utf-8")):
            text = " ".join(raw.split())
            if is_sentence(text) and text not in found:
                words = len(text.split())
                found[text] = Sentence(
                    grade(text), words, path.relative_to(folder).as_posix(), text
                )
    return sorted(found.values(), reverse=True)


def main() -> None:
    """Print count, median, share above grade 8, and the hardest sentences."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", nargs="?", type=Path, default=Path("src/coldtake"))
    parser.add_argument("--worst", type=int, default=20)
    chosen = parser.parse_args()
    every = all_sentences(chosen.folder)
    grades = [s.grade for s in every]
    hard = sum(g > 8.0 for g in grades)
    long = sum(s.words > 20 for s in every)
    print(
        f"{len(every)} sentences; grade: median {statistics.median(grades):.1f}, "
        f"ninth decile {statistics.quantiles(grades, n=10)[-1]:.1f}, worst {grades[0]:.1f}; "
        f"above 8: {hard}; longer than 20 words: {long}"
    )
    for one in every[: chosen.worst]:
        print(f"{one.grade:5.1f}  {one.words:2d}  {one.place}: {one.text}")


if __name__ == "__main__":
    main()

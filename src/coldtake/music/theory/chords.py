"""Chord symbols: reading them, their tones, the scales that go with them.

`kind` is a kind-value of MusicXML 4.0 (W3C Music Notation Community Group, 2021); the tones of each
kind follow that schema's definitions, extended chords in thirds over the seventh; of the four
functional sixths the schema has the names only: they stand here above their lowest tone. Spellings
of symbols are those of lead sheets (common practice, no source). Omitted and added tones are read;
a slash names the bass, or the chord below a poly chord.
"""

import re
from dataclasses import dataclass

from coldtake.errors import PassageError
from coldtake.music.theory.tones import Tone, ToneInterval, degree, degrees, simplest, split_tone

# Kinds of MusicXML 4.0 that are chords over a root, as degrees of the major scale on the root.
KINDS: dict[str, str] = {
    "major": "1 3 5",
    "minor": "1 b3 5",
    "augmented": "1 3 #5",
    "diminished": "1 b3 b5",
    "dominant": "1 3 5 b7",
    "major-seventh": "1 3 5 7",
    "minor-seventh": "1 b3 5 b7",
    "diminished-seventh": "1 b3 b5 bb7",
    "augmented-seventh": "1 3 #5 b7",
    "half-diminished": "1 b3 b5 b7",
    "major-minor": "1 b3 5 7",
    "major-sixth": "1 3 5 6",
    "minor-sixth": "1 b3 5 6",
    "dominant-ninth": "1 3 5 b7 9",
    "major-ninth": "1 3 5 7 9",
    "minor-ninth": "1 b3 5 b7 9",
    "dominant-11th": "1 3 5 b7 9 11",
    "major-11th": "1 3 5 7 9 11",
    "minor-11th": "1 b3 5 b7 9 11",
    "dominant-13th": "1 3 5 b7 9 11 13",
    "major-13th": "1 3 5 7 9 11 13",
    "minor-13th": "1 b3 5 b7 9 11 13",
    "suspended-second": "1 2 5",
    "suspended-fourth": "1 4 5",
    "Neapolitan": "1 3 5",
    "Italian": "1 3 #6",
    "French": "1 3 #4 #6",
    "German": "1 3 5 #6",
    "pedal": "1",
    "power": "1 5",
    "Tristan": "1 #4 #6 #9",
    "other": "",
    "none": "",
}
_THIRDS_ABOVE = {"7": "", "9": "9", "11": "9 11", "13": "9 11 13"}
_MAJOR = ("maj", "Maj", "ma", "M", "△", "Δ", "j")
_MINOR = ("m", "min", "mi", "-")
_AUGMENTED, _DIMINISHED, _HALF = ("+", "aug"), ("°", "o", "dim"), ("ø", "Ø")
# Words for seventh chords, and the kinds of the schema for 7, 9, 11 and 13; a number without a kind
# is the seventh chord with thirds put on top.
_SEVENTHS: tuple[tuple[tuple[str, ...], tuple[str, ...], str], ...] = (
    (("", "dom"), ("dominant", "dominant-ninth", "dominant-11th", "dominant-13th"), ""),
    (_MAJOR, ("major-seventh", "major-ninth", "major-11th", "major-13th"), ""),
    (_MINOR, ("minor-seventh", "minor-ninth", "minor-11th", "minor-13th"), ""),
    (tuple(m + n for m in _MINOR for n in (*_MAJOR, "#")), ("major-minor",), ""),
    (_AUGMENTED, ("augmented-seventh",), ""),
    (tuple(a + n for a in _AUGMENTED for n in _MAJOR), ("augmented",), "7"),
    (_HALF, ("half-diminished",), ""),
    (_DIMINISHED, ("diminished-seventh",), ""),
)
_PLAIN_WORDS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("", "maj", "Maj", "M", "major"), "major"),
    ((*_MINOR, "minor"), "minor"),
    (_AUGMENTED, "augmented"),
    (_DIMINISHED, "diminished"),
    (("△", "Δ"), "major-seventh"),
    (tuple(m + n for m in _MINOR for n in ("△", "Δ", "(maj7)")), "major-minor"),
    (_HALF, "half-diminished"),
    (("6", "maj6", "M6"), "major-sixth"),
    (tuple(f"{m}6" for m in _MINOR), "minor-sixth"),
    (("sus2",), "suspended-second"),
    (("sus4", "sus"), "suspended-fourth"),
    (("7+",), "augmented-seventh"),
    (("5", "power"), "power"),
    (("ped", "pedal"), "pedal"),
    *(((name,), name) for name in ("Neapolitan", "Italian", "French", "German", "Tristan")),
)


def _spellings() -> dict[str, tuple[str, str]]:
    """What may stand after the root: the kind, and degrees on top of it."""
    found = {word: (kind, "") for words, kind in _PLAIN_WORDS for word in words}
    for words, kinds, always in _SEVENTHS:
        for place, (number, above) in enumerate(_THIRDS_ABOVE.items()):
            kind, more = (kinds[place], "") if place < len(kinds) else (kinds[0], above)
            extra = f"{always} {more}".strip()
            found |= {word + number: (kind, extra) for word in words}
    return found


_SPELLED = _spellings()
# Spellings that stand for a kind with alterations.
_LONGHAND = (
    ("7alt", "7b5#5b9#9"),
    ("alt", "7b5#5b9#9"),
    ("6/9", "6add9"),
    ("69", "6add9"),
    ("7sus4", "sus4add7"),
    ("7sus", "sus4add7"),
    ("9sus4", "sus4add7add9"),
    ("9sus", "sus4add7add9"),
    ("13sus4", "sus4add7add9add13"),
    ("13sus", "sus4add7add9add13"),
    ("add2", "add9"),
)
_BY_LENGTH = sorted(_SPELLED, key=len, reverse=True)
_CHANGE = re.compile(r"(add|omit|no|sus)?([#♯b♭+\-]*)(\d+)")
_NO_CHORD = re.compile(r"n\.?\s*c\.?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord symbol as read.

    root : None for "no chord"; kind : a name of KINDS
    ways : the chord tones as intervals above the root, lowest first; changed : the degrees that the
    symbol alters, adds or leaves out, as written
    bass : the tone under a slash; below : the lower chord of a poly chord
    """

    symbol: str
    root: Tone | None
    kind: str
    ways: tuple[ToneInterval, ...] = ()
    changed: tuple[str, ...] = ()
    bass: Tone | None = None
    below: "Chord | None" = None

    @property
    def tones(self) -> tuple[Tone, ...]:
        """The chord tones from the root up, spelled; without the bass."""
        root = self.root
        return () if root is None else tuple(root.above(way) for way in self.ways)

    @property
    def pitch_classes(self) -> frozenset[int]:
        """Everything that sounds: upper chord, lower chord and bass."""
        own = {tone.pitch_class for tone in self.tones}
        own |= {self.bass.pitch_class} if self.bass else set()
        return frozenset(own | (self.below.pitch_classes if self.below else frozenset()))

    @property
    def suffix(self) -> str:
        """What stands after the root, without bass or lower chord."""
        return split_tone(_halves(self.symbol)[0])[1]

    def moved(self, interval: ToneInterval) -> "Chord":
        """The chord at an interval, with a root of at most one sharp or flat."""
        if self.root is None:
            return self
        root = simplest(self.root.above(interval))
        bass = simplest(self.bass.above(interval)) if self.bass else None
        below = self.below.moved(interval) if self.below else None
        symbol = _plain(root) + self.suffix + (f"/{_plain(bass)}" if bass else "")
        if below:
            symbol = f"{symbol}|{below.symbol}"
        return Chord(symbol, root, self.kind, self.ways, self.changed, bass, below)


def read_chord(symbol: str) -> Chord:
    """Read a symbol: "Cm7", "C-7", "Cø", "C7b9", "C/E", "N.C.", "D|C7". Raises PassageError."""
    text = "".join(symbol.split())
    if _NO_CHORD.fullmatch(text):
        return Chord("N.C.", None, "none")
    upper, lower = _halves(text)
    root, rest = split_tone(upper)
    kind, ways, changed = _read_kind(rest, symbol)
    if not lower:
        return Chord(text, root, kind, ways, changed)
    tone, after = split_tone(lower)
    if after or "|" in text:
        return Chord(text, root, kind, ways, changed, below=read_chord(lower))
    return Chord(text, root, kind, ways, changed, bass=tone)


def _halves(text: str) -> tuple[str, str]:
    """What stands before and after the slash or bar of a chord over something else."""
    for sign in ("|", "/"):
        before, found, after = text.rpartition(sign)
        if found and after[:1] in "ABCDEFG" and after:
            return before, after
    return text, ""


def _read_kind(text: str, symbol: str) -> tuple[str, tuple[ToneInterval, ...], tuple[str, ...]]:
    """Kind, tones and the degrees that were changed."""
    for short, long in _LONGHAND:
        if text.endswith(short):
            text = text.removesuffix(short) + long
            break
    start = next((w for w in _BY_LENGTH if text.startswith(w) and _fits(text, w)), None)
    if start is None:
        raise _unknown(symbol)
    rest = re.sub(r"[(),]+", " ", text[len(start) :]).strip()
    kind, more = _SPELLED[start]
    ways = {way.steps: way for way in degrees(f"{KINDS[kind]} {more}")}
    extra: list[ToneInterval] = []
    changed: list[str] = []
    while rest:
        found = _CHANGE.match(rest)
        if found is None or not 1 <= int(found[3]) <= 13:
            raise _unknown(symbol)
        _change(ways, extra, found, kind)
        changed.append(found[0])
        rest = rest[found.end() :].lstrip()
    every = {(way.steps, way.semitones): way for way in [*ways.values(), *extra]}
    return kind, tuple(every[key] for key in sorted(every)), tuple(changed)


def _fits(text: str, word: str) -> bool:
    """Say whether what follows the word can be alterations: "C-9" is minor, "C7-9" is not."""
    rest = text[len(word) :]
    if rest.startswith("maj") or rest[:1].isdigit():
        return False
    if word == "o" and rest.startswith("mit"):
        return False
    return word != "m" or not rest.startswith(("aj", "in"))


def _change(
    ways: dict[int, ToneInterval], extra: list[ToneInterval], found: re.Match[str], kind: str
) -> None:
    """Apply one alteration: add9, no3, b5, #11, sus4."""
    word, signs, number = found[1] or "", found[2], int(found[3])
    signs = signs.replace("+", "#").replace("-", "b")
    if word in ("omit", "no"):
        ways.pop(number - 1, None)
        return
    if word == "sus":
        ways.pop(2, None)
    if word == "add" and number == 7 and not signs:
        signs = "b"
    way = degree(f"{signs}{number}")
    if signs and word != "add" and number > 7 and 6 not in ways:
        ways[6] = degree("bb7" if kind == "diminished" else "b7")
    before = ways.get(way.steps)
    if before is None or word == "add" or before == degree(str(number)):
        ways[way.steps] = way
    else:
        extra.append(way)


def _unknown(symbol: str) -> PassageError:
    return PassageError(
        f"“{symbol}” is not a chord symbol that can be read.",
        remedy="Write it as on a lead sheet, such as Cm7, F#7b9, Bb/D or N.C.",
    )


def _plain(tone: Tone) -> str:
    return tone.letter + ("#" if tone.alter > 0 else "b") * abs(tone.alter)

"""The values of ABC information fields: K:, M:, L:, Q:, P:, V: and clefs."""

import re
from fractions import Fraction

from coldtake.music.abc.tune import AbcKey, AbcTempo, Clef, Metre, SourcePosition
from coldtake.music.theory.spelling import SHARP_ORDER

_TONICS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
# Fifths that a mode lies from the major key of the same tonic (ABC 2.1, section 3.1.14).
_MODES = {"maj": 0, "ion": 0, "mix": -1, "dor": -2, "min": -3, "aeo": -3, "m": -3}
_MODES |= {"phr": -4, "loc": -5, "lyd": 1}
_KEY = re.compile(r"([A-G])([#b♯♭]?)\s*([A-Za-z]*)")
_CLEFS = {"treble": ("G", 2), "bass": ("F", 4), "alto": ("C", 3), "tenor": ("C", 4)}
_CLEFS |= {"soprano": ("C", 1), "mezzo": ("C", 2), "baritone": ("F", 3), "G": ("G", 2)}
_CLEFS |= {"F": ("F", 4), "C": ("C", 3)}
_CLEF = re.compile(r"(?:clef=)?\"?(treble|bass|alto|tenor|soprano|mezzo|baritone|perc|none)(\d?)")
_SIGNS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
_WORDS_SHOWN = re.compile(r'"([^"]*)"')


def key(text: str, place: SourcePosition, before: AbcKey) -> AbcKey:
    """K: tonic, mode and extra accidentals; a field that names only a clef leaves the key."""
    text = text.strip()
    if text in ("", "none"):
        return AbcKey()
    if text.startswith(("HP", "Hp")):
        return _signature(2) if text.startswith("Hp") else AbcKey()
    found = _KEY.match(text)
    extra = dict[str, int]()
    if found is None or _is_clef_word(text):
        base, rest = before, text
    else:
        base, rest = _tonic_key(found, place)
    for sign, letter in re.findall(r"(\^\^|\^|__|_|=)([A-Ga-g])(?![A-Za-z])", rest):
        extra[letter.lower()] = _SIGNS[sign]
    if re.search(r"\bexp\b", rest):
        base = AbcKey()
    if not extra:
        if base is before and not _OTHER.search(text):
            raise place.error(
                f"“{text}” is not a key.", "Write a tonic and a mode, such as “K:Bb” or “K:Ddor”."
            )
        return base
    alters = {**dict(base.alters), **extra}
    return AbcKey(None, tuple((s, a) for s, a in alters.items() if a))


_OTHER = re.compile(r"clef|treble|bass|alto|tenor|perc|transpose|octave|middle|stafflines|exp")


def _is_clef_word(text: str) -> bool:
    return bool(re.match(r"(clef|treble|bass|alto|tenor|perc|transpose|octave|middle|exp)\b", text))


def _tonic_key(found: re.Match[str], place: SourcePosition) -> tuple[AbcKey, str]:
    mode, rest = found[3], found.string[found.end() :]
    if _is_clef_word(mode) or mode.startswith(("clef", "treble", "bass", "alto", "tenor")):
        mode, rest = "", found[3] + rest
    name = "m" if mode.lower() == "m" else mode[:3].lower()
    if name and name not in _MODES:
        raise place.error(
            f"“{mode}” is not a mode.",
            "Use maj, min (or m), dor, phr, lyd, mix, aeo, ion or loc.",
        )
    sign = {"#": 7, "♯": 7, "b": -7, "♭": -7}.get(found[2], 0)
    fifths = _TONICS[found[1]] + sign + _MODES.get(name, 0)
    if abs(fifths) > 7:
        raise place.error(
            f"“{found[0].strip()}” would need {abs(fifths)} sharps or flats.",
            "Write it in the key of the same sound with at most seven.",
        )
    return _signature(fifths), rest


def _signature(fifths: int) -> AbcKey:
    letters = SHARP_ORDER[:fifths] if fifths > 0 else SHARP_ORDER[::-1][: -fifths or 0]
    return AbcKey(fifths, tuple((s, 1 if fifths > 0 else -1) for s in letters))


def metre(text: str, place: SourcePosition) -> Metre:
    """M: such as 3/4, C, C|, (2+3)/8, none."""
    text = text.strip()
    if text in ("", "none"):
        return Metre((), 0)
    if text in ("C", "C|"):
        return Metre((4,), 4, "common") if text == "C" else Metre((2,), 2, "cut")
    found = re.fullmatch(r"\(?(\d+(?:\s*\+\s*\d+)*)\)?\s*/\s*(\d+)", text)
    beats = tuple(int(n) for n in found[1].replace(" ", "").split("+")) if found else ()
    unit = int(found[2]) if found else 0
    if not beats or not 0 < sum(beats) <= 256 or unit not in (1, 2, 4, 8, 16, 32, 64):
        raise place.error(f"“{text}” is not a metre.", "Write it as “M:3/4”, “M:C” or “M:none”.")
    return Metre(beats, unit)


def default_length(m: Metre) -> Fraction:
    """L when there is none: 1/16 for a metre below 3/4, otherwise 1/8 (ABC 2.1, 3.1.7)."""
    return Fraction(1, 16) if 0 < m.length < Fraction(3, 4) else Fraction(1, 8)


def unit_length(text: str, place: SourcePosition) -> Fraction:
    """L: such as 1/8."""
    found = re.fullmatch(r"(\d+)\s*(?:/\s*(\d+))?", text.strip())
    value = Fraction(int(found[1]), int(found[2] or 1)) if found and found[2] != "0" else None
    if value is None or value.denominator & (value.denominator - 1) or not 0 < value <= 4:
        raise place.error(f"“{text}” is not a note length.", "Write it as “L:1/8”.")
    return value


def tempo(text: str, place: SourcePosition, unit: Fraction) -> AbcTempo | None:
    """Q: in every form of the standard; None when empty.

    `1/4=120`, `"Allegro" 1/4=120`, `3/8=50 "Slowly"`, `1/4 3/8 1/4 3/8=40`, words only, and the old
    forms `120` (unit lengths a minute), `C=120` and `C3=40` (multiples of the unit length).
    """
    words = " ".join(_WORDS_SHOWN.findall(text)).strip()
    rest = _WORDS_SHOWN.sub(" ", text).strip()
    if not rest:
        return AbcTempo(words, Fraction(1, 4), None) if words else None
    beat, equals, number = rest.rpartition("=")
    rate = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:bpm)?\s*", number)
    parts = _beat_parts(beat, unit) if equals else (unit,)
    if rate is None or not parts or not 0 < Fraction(rate[1]) <= 2000:
        raise place.error(f"“{text.strip()}” is not a tempo.", "Write it as “Q:1/4=120”.")
    return AbcTempo(words, sum(parts, Fraction(0)), Fraction(rate[1]), parts)


def _beat_parts(text: str, unit: Fraction) -> tuple[Fraction, ...]:
    found = re.fullmatch(r"\s*C(\d*)\s*", text)
    if found:
        return (unit * int(found[1] or 1),)
    if not re.fullmatch(r"\s*\d+/[1-9]\d*(?:\s+\d+/[1-9]\d*)*\s*", text):
        return ()
    parts = tuple(Fraction(part) for part in text.split())
    return parts if all(0 < p <= 4 for p in parts) else ()


def clef(text: str) -> Clef | None:
    """Clef named in a K: or V: field, or None."""
    found = _CLEF.search(text)
    plain = re.search(r"clef=([GFC])(\d?)", text)
    if plain:
        shape, line = _CLEFS[plain[1]]
        found = plain
    elif found and found[1] in _CLEFS:
        shape, line = _CLEFS[found[1]]
    else:
        return None
    after = text[found.end() :]
    octave = 1 if after.startswith("+8") else -1 if after.startswith("-8") else 0
    return Clef(shape, int(found[2]) if found[2] in ("1", "2", "3", "4", "5") else line, octave)


def is_percussion(text: str) -> bool:
    """True when a K: or V: field asks for percussion."""
    return re.search(r"clef=\"?perc|\bperc\b", text) is not None


def shift(text: str, name: str) -> int | None:
    """Value of `transpose=` or `octave=`, or None."""
    found = re.search(rf"\b{name}=([+-]?\d{{1,2}})\b", text)
    return int(found[1]) if found else None


def label(text: str) -> str:
    """Name of a voice (`name=` or `nm=`), or ""."""
    found = re.search(r'\b(?:name|nm)=(?:"([^"]*)"|(\S+))', text)
    return (found[1] or found[2] or "") if found else ""

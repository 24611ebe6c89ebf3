"""An ABC tune line by line: header, body, which line belongs to which voice."""

import re
from fractions import Fraction

from coldtake.errors import PassageError
from coldtake.music.abc import fields
from coldtake.music.abc.tune import AbcTempo, AbcVoice, SourcePosition, Tune
from coldtake.music.abc.voice import VoiceReader

_FIELD = re.compile(r"^([A-Za-z+]):(.*)$")
_VOICE_AT_START = re.compile(r"\[V:([^\]]*)\]")
MOST_VOICES = 16


def read_tune(text: str) -> Tune:
    """The one tune in a text; raises PassageError with line and column."""
    return TuneReader().read(text)


class TuneReader:
    """State of one reading."""

    def __init__(self) -> None:
        self.title = ""
        self.order = ""
        self.metre = fields.metre("4/4", SourcePosition(1, 1))
        self.metre_given = False
        self.unit: Fraction | None = None
        self.tempo: tuple[str, SourcePosition] | None = None
        self.key_place: SourcePosition | None = None
        self.propagate = "pitch"
        self.voices: dict[str, VoiceReader] = {}
        self.voice_fields: dict[str, str] = {}
        self.current: VoiceReader | None = None
        self._ended = False
        self._key_text = ""

    def read(self, text: str) -> Tune:
        """Take every line in turn."""
        lines = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
        if not any(_is_key_line(line) for line in lines):
            self._start_without_header(lines)
        for number, line in enumerate(lines, start=1):
            self._line(line, number)
        return self._finished()

    def _start_without_header(self, lines: list[str]) -> None:
        """Bare notes, as typed in a hurry, are in C; a header without K: is a mistake."""
        for number, line in enumerate(lines, start=1):
            if _FIELD.match(line):
                raise SourcePosition(number, 1).error(
                    "the header has no key.", "End it with a line such as “K:C”."
                )
        self._begin(SourcePosition(1, 1), "C")

    def _line(self, line: str, number: int) -> None:
        if line.startswith("%"):
            self._directive(line)
            return
        if not line.strip():
            self._ended = self.current is not None and self._has_music()
            return
        found = _FIELD.match(line)
        if found and not line.startswith("|:"):
            self._field(found[1], _without_comment(found[2]), SourcePosition(number, 3))
        elif self.current is None:
            raise SourcePosition(number, 1).error(
                "notes stand before the key.", "Put the “K:” line before the first notes."
            )
        else:
            self._refuse_second(number)
            voice = _VOICE_AT_START.match(line)
            if voice:
                self._choose_voice(voice[1], SourcePosition(number, 1))
                line = " " * voice.end() + line[voice.end() :]
            self.current.music(line, number)

    def _has_music(self) -> bool:
        return any(v.started for v in self.voices.values())

    def _refuse_second(self, number: int) -> None:
        if self._ended:
            raise SourcePosition(number, 1).error(
                "there are notes after the empty line that ends the tune.",
                "Remove the empty line, or use one tune at a time.",
            )

    def _directive(self, line: str) -> None:
        found = re.match(r"%%\s*propagate-accidentals\s+(not|octave|pitch)", line)
        if found:
            self.propagate = found[1]

    def _field(self, name: str, value: str, place: SourcePosition) -> None:
        if name == "X" and self._has_music():
            raise place.error("a second tune begins here.", "Use one tune at a time.")
        if name == "m":
            raise place.error("macros (m:) cannot be read.", "Write the notes out.")
        if self.current is None:
            self._header(name, value, place)
        elif name == "V":
            self._choose_voice(value, place)
        elif name in "KMLQP":
            self._refuse_second(place.line)
            self.current.field(name, value, place)
        elif name == "I":
            self._directive("%%" + value.strip())

    def _header(self, name: str, value: str, place: SourcePosition) -> None:
        if name == "T":
            self.title = self.title or value.strip()
        elif name == "M":
            self.metre, self.metre_given = fields.metre(value, place), True
        elif name == "L":
            self.unit = fields.unit_length(value, place)
        elif name == "Q":
            self.tempo = (value, place)
        elif name == "P":
            self.order = value.strip()
        elif name == "V":
            self._note_voice(value)
        elif name == "I":
            self._directive("%%" + value.strip())
        elif name == "K":
            self._begin(place, value)

    def _begin(self, place: SourcePosition, key: str) -> None:
        """The key ends the header: the first voice begins."""
        self._key_text, self.key_place = key, place
        if fields.is_percussion(key):
            raise _percussion(place)
        for name in self.voice_fields:
            self._voice(name, place)
        first = next(iter(self.voices), "1")
        self.current = self._voice(first, place)

    def _voice(self, name: str, place: SourcePosition) -> VoiceReader:
        if name in self.voices:
            return self.voices[name]
        if len(self.voices) >= MOST_VOICES:
            raise place.error(f"there are more than {MOST_VOICES} voices.", "Use fewer parts.")
        unit = self.unit or fields.default_length(self.metre)
        text = self.voice_fields.get(name, "")
        if fields.is_percussion(text):
            raise _percussion(place)
        reader = VoiceReader(AbcVoice(name, fields.label(text)), self.metre, unit, self.propagate)
        reader.key_field(self._key_text, self.key_place or place, opening=True)
        reader.voice_field(text)
        self.voices[name] = reader
        return reader

    def _note_voice(self, value: str) -> str:
        name, _, rest = value.strip().partition(" ")
        name = name or "1"
        if rest.strip():
            self.voice_fields[name] = f"{self.voice_fields.get(name, '')} {rest}"
        self.voice_fields.setdefault(name, "")
        return name

    def _choose_voice(self, value: str, place: SourcePosition) -> None:
        """V: in the body: the lines that follow belong to that voice."""
        only = len(self.voices) == 1 and not self.voice_fields and not self._has_music()
        name = self._note_voice(value)
        if only:
            self.voices.clear()
        known = name in self.voices
        self.current = self._voice(name, place)
        if known:
            self.current.voice_field(self.voice_fields[name])

    def _finished(self) -> Tune:
        voices = [reader.finished() for reader in self.voices.values() if reader.started]
        if not voices:
            raise PassageError(
                "there are no notes in it.", remedy="Write some after the “K:” line."
            )
        tempo = self._tempo()
        if tempo is not None:
            voices[0].bars[0].tempi.insert(0, (0, tempo))
        return Tune(self.title, self.metre, voices, self.order)

    def _tempo(self) -> AbcTempo | None:
        if self.tempo is None:
            return None
        return fields.tempo(*self.tempo, self.unit or fields.default_length(self.metre))


def _is_key_line(line: str) -> bool:
    return line.startswith("K:")


def _without_comment(text: str) -> str:
    found = re.search(r"(?<!\\)%", text)
    return text[: found.start()] if found else text


def _percussion(place: SourcePosition) -> PassageError:
    return place.error(
        "this part has no pitches (percussion).",
        "Coldtake listens for pitches: use a part with pitched notes.",
    )

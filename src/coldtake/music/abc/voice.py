"""The music code of one voice: notes, rests, chords, bars and everything between them.

Beams join notes that are written without a space (4.7).
"""

import itertools
import re
from fractions import Fraction

from coldtake.music.abc import fields
from coldtake.music.abc.bars import BarKeeper
from coldtake.music.abc.signs import SIGNS, jump_of
from coldtake.music.abc.tune import Clef, Head, SourcePosition, VoiceEvent

_NOTE = re.compile(r"(\^\^|\^|__|_|=)?([A-Ga-g])([',]*)")
_LENGTH = re.compile(r"(\d*)(/+)?(\d*)")
_BAR = re.compile(r"\.?(?:\[\||\||:(?=[|:]))[|:]*\]?[|:]*")
_ENDING = re.compile(r"\s*\[?(\d[\d,\-]*)")
_OPEN_ENDING = re.compile(r"\[(\d[\d,\-]*)")
_FIELD = re.compile(r"\[([A-Za-z]):([^\]]*)\]")
_TUPLET = re.compile(r"\((\d)(?::(\d*))?(?::(\d*))?")
# Letters that a tune may give a meaning of its own (4.16); without one they are passed over.
_USER_SYMBOL = re.compile(r"[H-Wh-w](?=[\^_=A-Ga-gzx\[({~.\"!HLMOPSTUk-nuv])")
_REMEDY = 'Remove it, or put words into quotes: "^text".'
_REMEDIES = (
    ("♭", "Write a flat as “_” before the note: “_B”."),
    ("♯#", "Write a sharp as “^” before the note: “^F”."),
    (":", "Write repeat signs as “|:” and “:|”."),
    ("0123456789/,'", "Write lengths and octave marks directly after the note, without a space."),
    ("]", "Remove it, or open the chord with “[”."),
)
_ACCIDENTAL = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}


class VoiceReader(BarKeeper):
    """Reads lines of one voice into its bars."""

    # Fields

    def voice_field(self, text: str) -> None:
        """Properties of a V: field."""
        self._properties(text, opening=not self.started)

    def key_field(self, text: str, place: SourcePosition, *, opening: bool = False) -> None:
        """K:, which may name a clef and a transposition too."""
        new = fields.key(text, place, self.accidentals.key)
        self._properties(text, opening=opening)
        if opening:
            self.voice.key = new
        elif new != self.accidentals.key:
            self._change(new)
        self.accidentals.key = new
        self.accidentals.clear()

    def _properties(self, text: str, *, opening: bool) -> None:
        clef = fields.clef(text)
        if clef is not None and opening:
            self.voice.clef = clef
        elif clef is not None and clef != self._clef():
            self._change(clef)
        octave, transpose = fields.shift(text, "octave"), fields.shift(text, "transpose")
        self.octave = self.octave if octave is None else octave
        self.voice.transpose = self.voice.transpose if transpose is None else transpose
        self.voice.label = fields.label(text) or self.voice.label

    def _clef(self) -> Clef:
        bars = itertools.chain((self.bar,), reversed(self.voice.bars))
        changes = (c.value for bar in bars for c in reversed(bar.changes))
        return next((value for value in changes if isinstance(value, Clef)), self.voice.clef)

    def field(self, name: str, text: str, place: SourcePosition) -> None:
        """A field in the body, on its own line or inline."""
        if name == "K":
            self.key_field(text, place)
        elif name == "M":
            self.metre = fields.metre(text, place)
            if self.bar.is_empty:
                self._change(self.metre)
                self.bar.metre = self.metre
            else:
                self._metre_due = True
        elif name == "L":
            self.unit = fields.unit_length(text, place)
        elif name == "Q":
            tempo = fields.tempo(text, place, self.unit)
            if tempo is not None:
                self.bar.tempi.append((len(self.bar.layers[0]), tempo))
        elif name == "P":
            self._end_bar("single")
            self.bar.part = text.strip()[:1]

    # Lines

    def music(self, line: str, number: int) -> None:
        """One line of music code."""
        self._line, self._at, self._number = line, 0, number
        while self._at < len(self._line):
            if self._line[self._at] == "%":
                break
            self._token()
        if not line.rstrip().endswith("\\"):
            self._space = True
        self._require_closed_grace()

    def _place(self) -> SourcePosition:
        return SourcePosition(self._number, self._at + 1)

    def _match(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        found = pattern.match(self._line, self._at)
        if found is not None:
            self._at = found.end()
        return found

    def _token(self) -> None:
        char = self._line[self._at]
        if char in " \t\\`$":
            self._space = self._space or char in " \t"
            self._at += 1
        elif char.lower() in "abcdefg^_=":
            self._note()
        elif char in "zxZX":
            self._rest(char)
        elif char == "[" or (char in "|:." and _BAR.match(self._line, self._at)):
            self._bracket()
        else:
            self._other(char)

    def _other(self, char: str) -> None:
        if char == "(":
            self._open()
        elif char == ")":
            self._close_slur()
        elif char in "{}":
            self._grace_sign(char)
        elif char in "<>":
            self._break(char)
        elif char == "-":
            self._tie()
        elif char in '"!+':
            self._quoted(char)
        elif char == "&":
            self._overlay()
        else:
            self._letter(char)

    def _letter(self, char: str) -> None:
        if char in SIGNS:
            self._signs.append(SIGNS[char])
            self._at += 1
        elif char in "y*":
            self._at += 1
            self._match(_LENGTH)
        elif _USER_SYMBOL.match(self._line, self._at):
            self._at += 1
        else:
            remedy = next((r for signs, r in _REMEDIES if char in signs), _REMEDY)
            raise self._place().error(f"“{char}” means nothing here.", remedy)

    def _bracket(self) -> None:
        """A bar line, an ending, an inline field or a chord."""
        place = self._place()
        ending = _OPEN_ENDING.match(self._line, self._at)
        inline = _FIELD.match(self._line, self._at)
        if ending is not None:
            self._at = ending.end()
            self._end_bar("single")
            self.bar.ending = ending[1]
        elif inline is not None:
            self._at = inline.end()
            if inline[1] in "KMLQP":
                self.field(inline[1], inline[2], place)
            elif inline[1] == "V":
                raise place.error(
                    "a voice change inside a line.", "Write each voice on its own lines."
                )
        elif _BAR.match(self._line, self._at):
            self._bar_line()
        else:
            self._chord()

    # Notes

    def _note(self) -> None:
        place = self._place()
        head = self._head()
        self._add(VoiceEvent(self._length(place), place, [head]))

    def _head(self) -> Head:
        place = self._place()
        found = self._match(_NOTE)
        if found is None:
            raise place.error(
                "an accidental stands before no note.", "Write it directly before a note: “^F”."
            )
        step = found[2].lower()
        octave = (5 if found[2].islower() else 4) + found[3].count("'") - found[3].count(",")
        octave += self.octave + self._clef().octave
        if not 0 <= octave <= 9:
            raise place.error("this note is out of range.", "Check its octave marks (' and ,).")
        own = _ACCIDENTAL[found[1]] if found[1] else None
        before = None if self._grace else self._last
        return self.accidentals.head(step, octave, own, before, place)

    def _length(self, place: SourcePosition) -> Fraction:
        return self._factor(place) * self.unit

    def _factor(self, place: SourcePosition) -> Fraction:
        found = self._match(_LENGTH)
        if found is None or not found[0]:
            return Fraction(1)
        top = int(found[1][:6]) if found[1] else 1
        bottom = 1
        if found[2]:
            bottom = int(found[3][:6]) if found[3] else 2 ** min(len(found[2]), 9)
        elif found[3]:
            top = int((found[1] + found[3])[:6])
        if top == 0 or bottom == 0:
            raise place.error("this note has no length.", "Write a length above 0, or none.")
        return Fraction(top, bottom)

    def _chord(self) -> None:
        place = self._place()
        self._at += 1
        heads: list[Head] = []
        while self._at < len(self._line) and self._line[self._at] != "]":
            heads += self._chord_part()
        if self._at >= len(self._line):
            raise place.error("this chord is not closed.", "End it with “]” on the same line.")
        self._at += 1
        if not heads:
            raise place.error("this chord is empty.", "Put notes between “[” and “]”.")
        length = heads[0].factor * self._factor(place) * self.unit
        self._add(VoiceEvent(length, place, heads))

    def _chord_part(self) -> list[Head]:
        char = self._line[self._at]
        if char.lower() in "abcdefg^_=":
            head = self._head()
            head.factor = self._factor(head.place)
            if self._line[self._at : self._at + 1] == "-":
                head.tied = True
                self._at += 1
            return [head]
        if char in " \t":
            self._at += 1
        elif char in '"!+':
            self._quoted(char)
        elif char in SIGNS:
            self._signs.append(SIGNS[char])
            self._at += 1
        else:
            raise self._place().error(
                f"“{char}” cannot stand inside a chord.", "Put only notes there."
            )
        return []

    def _rest(self, char: str) -> None:
        place = self._place()
        self._at += 1
        if char in "zx":
            self._add(VoiceEvent(self._length(place), place, hidden=char == "x"))
            return
        found = re.compile(r"\d{0,3}").match(self._line, self._at)
        count = int(found[0]) if found and found[0] else 1
        self._at += len(found[0]) if found else 0
        if not self.metre.unit or not 0 < count <= 200:
            raise place.error(
                "a rest of whole bars needs a metre and 1 to 200 bars.", "Write “z” with a length."
            )
        for index in range(count):
            if index:
                self._end_bar("single")
            self._add(VoiceEvent(self.metre.length, place, hidden=char == "X", whole_bar=True))

    # Between notes

    def _open(self) -> None:
        place = self._place()
        found = self._match(_TUPLET)
        if found is None:
            self._at += 1
            self._slur_starts += 1
            self._slurs.append(place)
            return
        if self._tuplet[1]:
            raise place.error("a tuplet inside a tuplet.", "Finish the first one before this.")
        p = int(found[1])
        q = int(found[2]) if found[2] else self._usual_time(p)
        r = int(found[3]) if found[3] else p
        if p < 2 or q < 1 or not 0 < r <= 64:
            raise place.error(f"“{found[0]}” is not a tuplet.", "Write “(3” for a triplet.")
        self._tuplets += 1
        self.bar.tuplets[self._tuplets] = (p, q)
        self._tuplet, self._tuplet_place = (self._tuplets, r), place

    def _usual_time(self, p: int) -> int:
        """(2 in 3, (3 in 2, (4 in 3, (6 in 2, (8 in 3, others in n (ABC 2.1, section 4.13)."""
        count = sum(self.metre.beats)
        compound = (self.metre.unit == 8 and count % 3 == 0 and count > 3) or (
            self.metre.unit == 16 and (count % 3 == 0 and count > 3)
        )
        return {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}.get(p, 3 if compound else 2)

    def _close_slur(self) -> None:
        place = self._place()
        if not self._slurs or self._last is None:
            raise place.error("this slur was never begun.", "Remove “)” or add “(” before it.")
        self._slurs.pop()
        self._at += 1
        if self._slur_starts:
            self._slur_starts -= 1
        else:
            (self.bar.layers[-1] or [self._last])[-1].slur_ends += 1

    def _grace_sign(self, char: str) -> None:
        place = self._place()
        self._at += 1
        if (char == "{") == bool(self._grace):
            what = "opens twice" if char == "{" else "was never opened"
            raise place.error(f"a grace-note brace {what}.", "Write grace notes as “{gab}”.")
        if char == "}":
            self._grace = ""
        elif self._line[self._at : self._at + 1] == "/":
            self._at += 1
            self._grace = "unacc"
        else:
            self._grace = "acc"

    def _require_closed_grace(self) -> None:
        if self._grace:
            raise SourcePosition(self._number, max(len(self._line), 1)).error(
                "grace notes are not closed.", "Write them as “{gab}” on one line."
            )

    def _break(self, char: str) -> None:
        place = self._place()
        count = 0
        while self._line[self._at : self._at + 1] == char:
            count += 1
            self._at += 1
        if self._last is None or self._closed_bar or self._broken is not None or count > 3:
            raise place.error(
                f"“{char * count}” must stand between two notes of one bar.",
                "Write “a>b” or “a<b”.",
            )
        short = Fraction(1, 2**count)
        first, second = (2 - short, short) if char == ">" else (short, 2 - short)
        self._last.length *= first
        self._broken = (second, place)

    def _tie(self) -> None:
        place = self._place()
        self._at += 1
        if self._last is None or not self._last.heads or self._closed_bar:
            raise place.error(
                "a tie stands after no note.", "Write it directly after a note: “c-c”."
            )
        for head in self._last.heads:
            head.tied = True

    def _quoted(self, char: str) -> None:
        place = self._place()
        end = self._line.find(char, self._at + 1)
        if end < 0:
            what = "quotation mark" if char == '"' else "decoration"
            raise place.error(
                f"this {what} is not closed.", f"Close it with “{char}” on this line."
            )
        text = self._line[self._at + 1 : end]
        self._at = end + 1
        jump = jump_of(text, quoted=char == '"')
        if jump:
            self.bar.jumps.append(jump)
        elif char == '"':
            self._symbols.append(text)
        else:
            self._signs.append(text)

    def _overlay(self) -> None:
        """& starts another voice in the same bar."""
        self._finish_bar_checks()
        self._at += 1
        self.bar.layers.append([])
        self._last = None
        self.accidentals.clear()

    # Bars

    def _bar_line(self) -> None:
        found = self._match(_BAR)
        text = (found[0] if found else "|").lstrip(".")
        ending = _ENDING.match(self._line, self._at) if "|" in text or "::" in text else None
        if ending is not None and (
            self._line[self._at : self._at + 1] not in " \t[" or "[" in ending[0]
        ):
            self._at = ending.end()
        else:
            ending = None
        self._end_bar(_right_of(text), closes=text.startswith(":"))
        self.bar.opens = self.bar.opens or text.endswith(":")
        if ending is not None:
            self.bar.ending = ending[1]


def _right_of(text: str) -> str:
    """How a bar line looks."""
    plain = text.strip(":[")
    if text in ("[|]", "[|"):
        return "invis" if text == "[|]" else "dbl"
    if "]" in text:
        return "end"
    return "dbl" if plain == "||" else "single"

"""A MIDI file as notation: one part, quantised, written as ABC, with a note of each change.

The bytes of the file go along in a comment of the page, so that another grid, part, key or metre
can be chosen at any time (`kept_midi`).
"""

import base64
import re
import textwrap
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from coldtake.errors import PassageError
from coldtake.music.abc.notating import Page, Written, bars_text
from coldtake.music.midi.choice import ImportChoice
from coldtake.music.midi.quantising import Quantised, QuantisedChord, QuantisingOptions, quantised
from coldtake.music.midi.reader import MOST_BYTES, Played, PlayedPart, read_midi
from coldtake.music.theory.key_finding import likely_key, spelled
from coldtake.music.theory.keys import MODES, Key, read_key
from coldtake.music.theory.tones import Pitch, pitch_near, tone_at_fifths

MOST_KEPT = 400_000  # bytes of a file that goes along
MOST_BARS = 5_000
_SIGN = "%%coldtake-midi "
_BASS_BELOW = 57  # MIDI number; a part whose middle lies lower is written in the bass clef


@dataclass(frozen=True, slots=True)
class MidiPage:
    """The page as ABC, and the sentences that say how it came about."""

    abc: str
    said: tuple[str, ...]
    quantised: Quantised


def midi_page(data: bytes, filename: str = "", choice: ImportChoice | None = None) -> MidiPage:
    """Write a file's part. Raises PassageError; where several parts have notes, one is needed."""
    choice = choice or ImportChoice()
    played = read_midi(data, filename)
    part = _part(played, choice.part, filename)
    played, part = _at_tempo(played, part, choice.bpm)
    result = quantised(part.notes, played.bpm, QuantisingOptions(choice.finest, choice.threes))
    key = _key(played, part, choice.key)
    metres = ((Fraction(0), choice.metre),) if choice.metre else played.metres
    page = _Writer(
        _title(played, part, filename), result, key, metres, played, Fraction(choice.pick_up)
    )
    text = page.text()
    if len(data) <= MOST_KEPT:
        text += _packed(data)
    return MidiPage(text, _said(played, part, result, key, choice), result)


def kept_midi(abc: str) -> bytes | None:
    """The MIDI file that a page was written from, or None."""
    lines = [x.removeprefix(_SIGN) for x in abc.splitlines() if x.startswith(_SIGN)]
    if not lines:
        return None
    try:
        box = zlib.decompressobj()
        data = box.decompress(base64.b64decode("".join(lines), validate=True), MOST_BYTES)
    except (ValueError, zlib.error):
        return None
    return data or None


def _packed(data: bytes) -> str:
    text = base64.b64encode(zlib.compress(data, 9)).decode("ascii")
    return "".join(f"{_SIGN}{line}\n" for line in textwrap.wrap(text, 100))


def _part(played: Played, number: int | None, filename: str) -> PlayedPart:
    count = len(played.parts)
    if number is None and count == 1:
        return played.parts[0]
    names = ", ".join(f"{i} {p.name}" for i, p in enumerate(played.parts, start=1))
    if number is None:
        raise PassageError(
            f"this MIDI file has {count} parts: {names}.",
            where=filename,
            remedy="Choose one of them.",
        )
    if not 1 <= number <= count:
        raise PassageError(
            f"there is no part {number}: {names}.", where=filename, remedy="Choose one of these."
        )
    return played.parts[number - 1]


def _at_tempo(played: Played, part: PlayedPart, bpm: float | None) -> tuple[Played, PlayedPart]:
    """The same with another beat: all times are stretched."""
    if bpm is None:
        return played, part
    share = Fraction(bpm / played.bpm).limit_denominator(10_000)
    notes = tuple(replace(n, onset=n.onset * share, end=n.end * share) for n in part.notes)
    played = replace(played, tempi=((Fraction(0), bpm),), metres=played.metres[:1])
    return played, PlayedPart(part.name, notes)


def _key(played: Played, part: PlayedPart, asked: str) -> Key:
    if asked.strip():
        return read_key(asked)
    if played.keys:
        _, fifths, minor = played.keys[0]
        mode = "minor" if minor else "major"
        return Key(tone_at_fifths(fifths - MODES[mode]), mode)
    return likely_key((n.pitch, float(n.end - n.onset)) for n in part.notes)


def _title(played: Played, part: PlayedPart, filename: str) -> str:
    stem = re.sub(r"\.\w+$", "", filename.replace("\\", "/").rpartition("/")[2])
    name = played.title or stem or part.name
    return f"{name}, {part.name}" if len(played.parts) > 1 and part.name != name else name


class _Writer:
    """Bars of one quantised part."""

    def __init__(
        self,
        title: str,
        result: Quantised,
        key: Key,
        metres: tuple[tuple[Fraction, tuple[int, int]], ...],
        played: Played,
        pick_up: Fraction,
    ) -> None:
        first = next((m for beat, m in metres if beat == 0), (4, 4))
        pitches = sorted(p for c in result.chords for p in c.pitches)
        low = pitches[len(pitches) // 2] < _BASS_BELOW
        unit = Fraction(4, first[1])
        tempo = played.bpm if played.tempi else None
        self.page = Page(title, key, first, tempo, max(unit, Fraction(1)), (_clef(low=low),))
        self.result, self.key, self.pick_up = result, key, pick_up
        self.past = 0  # chords that lie before the bar that is written
        self.changes = {beat: m for beat, m in metres if beat > 0}

    def text(self) -> str:
        """The whole page."""
        return bars_text(self.page, self._bars())

    def _bars(self) -> list[tuple[tuple[int, int], list[Written]]]:
        """Each bar's metre and what stands in it; notes over a bar line are cut and tied."""
        end = max(c.onset + c.length for c in self.result.chords)
        at, metre = Fraction(0), self.page.metre
        found: list[tuple[tuple[int, int], list[Written]]] = []
        length = self.pick_up or _full(metre)
        while at < end:
            if len(found) >= MOST_BARS:
                raise PassageError(
                    f"this is longer than {MOST_BARS} bars.", remedy="Export fewer bars."
                )
            metre = next((m for beat, m in self.changes.items() if beat == at), metre)
            length = length if not found else _full(metre)
            found.append((metre, self._bar(at, at + length)))
            at += length
        return found

    def _bar(self, start: Fraction, end: Fraction) -> list[Written]:
        """Notes, rests and triplets of one bar."""
        pieces: list[_Piece] = []
        at = start
        for chord in self._within(start, end):
            low, high = max(chord.onset, start), min(chord.onset + chord.length, end)
            if low >= high:
                continue
            if low > at:
                pieces.append(_Piece(at, low, None))
            pieces.append(_Piece(low, high, chord))
            at = high
        if at < end:
            pieces.append(_Piece(at, end, None))
        return self._written([p for piece in pieces for p in self._at_beats(piece, start)])

    def _within(self, start: Fraction, end: Fraction) -> Iterator[QuantisedChord]:
        """Chords of one bar; bars are asked for in their order, so each is looked at once or so."""
        chords = self.result.chords
        while self.past < len(chords) and _end(chords[self.past]) <= start:
            self.past += 1
        for number in range(self.past, len(chords)):
            if chords[number].onset >= end:
                return
            yield chords[number]

    def _at_beats(self, piece: "_Piece", bar: Fraction) -> list["_Piece"]:
        """Cut at the edges of quarters divided in three; rests also at every quarter."""
        edges = []
        for beat in range(int(piece.start // 1), int(-(-piece.end // 1))):
            edge = Fraction(beat + 1)
            threes = any(self.result.divisions.get(b, 1) % 3 == 0 for b in (beat, beat + 1))
            rest = piece.chord is None and (edge - bar) % 1 == 0 and piece.end - piece.start > 1
            if piece.start < edge < piece.end and (threes or rest):
                edges.append(edge)
        points = [piece.start, *edges, piece.end]
        return [_Piece(a, b, piece.chord) for a, b in pairwise(points)]

    def _written(self, pieces: list["_Piece"]) -> list[Written]:
        groups: list[list[_Piece]] = []
        for piece in pieces:
            threes = self._in_threes(piece)
            same = threes and groups and self._in_threes(groups[-1][-1])
            if same and groups[-1][-1].start // 1 == piece.start // 1:
                groups[-1].append(piece)
            else:
                groups.append([piece])
        return [self._one(piece, group) for group in groups for piece in group]

    def _in_threes(self, piece: "_Piece") -> bool:
        divided = self.result.divisions.get(int(piece.start // 1), 1) % 3 == 0
        inside = piece.end <= piece.start // 1 + 1
        return divided and inside and (piece.end - piece.start) != 1

    def _one(self, piece: "_Piece", group: list["_Piece"]) -> Written:
        threes = self._in_threes(piece)
        length = (piece.end - piece.start) * (Fraction(3, 2) if threes else 1)
        chord = piece.chord
        tuplet, many = (3, len(group)) if threes else (0, 0)
        if chord is None:
            return Written(None, length, tuplet, group=many)
        first, *others = (self._pitch(p) for p in chord.pitches)
        tie = "-" if piece.end < chord.onset + chord.length else ""
        return Written(first, length, tuplet, "", tie, group=many, others=tuple(others))

    def _pitch(self, pitch: int) -> Pitch:
        return pitch_near(spelled(pitch, self.key), pitch)


@dataclass(frozen=True, slots=True)
class _Piece:
    """What of a chord, or of a rest, is one notehead."""

    start: Fraction
    end: Fraction
    chord: QuantisedChord | None


def _end(chord: QuantisedChord) -> Fraction:
    return chord.onset + chord.length


def _clef(*, low: bool) -> str:
    return "bass" if low else "treble"


def _full(metre: tuple[int, int]) -> Fraction:
    return Fraction(4 * metre[0], metre[1])


def _said(
    played: Played, part: PlayedPart, result: Quantised, key: Key, choice: ImportChoice
) -> tuple[str, ...]:
    """How the page came about."""
    used = set(result.divisions.values())
    threes = "with triplets" if any(d % 3 == 0 for d in used) else "without triplets"
    finest = {1: "quarters", 2: "eighths", 4: "sixteenths", 8: "thirty-seconds"}
    straight = max((d for d in used if d % 3), default=1)
    said = [
        f"{part.name}: {len(result.chords)} onsets, written in {finest[straight]} {threes}.",
        _moved(result),
    ]
    if result.cut:
        said.append(f"{result.cut:.0%} of the notes were shortened because the next one began.")
    if not choice.key.strip():
        origin = "the file says so" if played.keys else "guessed from the notes"
        said.append(f"Key: {key} ({origin}).")
    if choice.metre is None:
        origin = "the file says so" if played.metres else "assumed: the file does not say"
        first = next((m for beat, m in played.metres if beat == 0), (4, 4))
        said.append(f"Metre: {first[0]}/{first[1]} ({origin}).")
    if len(played.tempi) > 1:
        said.append(f"The tempo changes {len(played.tempi) - 1} times; the first one is written.")
    if not played.tempi:
        said.append("The file gives no tempo: 120 quarters a minute were assumed for the grid.")
    return tuple(said)


def _moved(result: Quantised) -> str:
    if not result.moved:
        return "Every onset lay on the grid."
    return (
        f"{result.moved:.0%} of the onsets were moved onto the grid, by {result.mean_ms:.0f} ms on "
        f"average and {result.worst_ms:.0f} ms at most."
    )

"""A Standard MIDI File as notes in quarter-note beats, with what the file says about the music.

After the Standard MIDI File 1.0 specification: ticks per quarter, a tempo in microseconds per
quarter (120 a minute where none is given), note-on with velocity 0 ends a note. Channel 10 is
percussion (General MIDI) and is left out. The bytes are read by mido.
"""

import io
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from coldtake.errors import PassageError
from coldtake.music.theory.keys import read_key

if TYPE_CHECKING:
    import mido  # type: ignore[import-untyped]

MOST_BYTES = 5_000_000
NOTES_MOST = 20_000  # of one part: some seven seconds of a processor
PARTS_MOST = 64  # of those with notes; a large orchestra has some forty
DEFAULT_BPM = 120.0  # Standard MIDI File 1.0: where no tempo is given
_PERCUSSION = 9  # channel 10, counted from 0
_TICKS_MOST = 32_767


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """One note. onset, end : quarter-note beats from the start of the file, exact."""

    onset: Fraction
    end: Fraction
    pitch: int


@dataclass(frozen=True, slots=True)
class PlayedPart:
    """The notes of one channel of one track, by onset, then pitch."""

    name: str
    notes: tuple[PlayedNote, ...]


@dataclass(frozen=True, slots=True)
class Played:
    """A whole file.

    tempi : (beat, quarters a minute); metres : (beat, (beats, unit)); keys : (beat, fifths, minor)
    """

    title: str
    parts: tuple[PlayedPart, ...]
    tempi: tuple[tuple[Fraction, float], ...] = ()
    metres: tuple[tuple[Fraction, tuple[int, int]], ...] = ()
    keys: tuple[tuple[Fraction, int, bool], ...] = ()

    @property
    def bpm(self) -> float:
        """First tempo of the file, quarters a minute."""
        return self.tempi[0][1] if self.tempi else DEFAULT_BPM


def is_midi(data: bytes) -> bool:
    """Whether the bytes begin as a Standard MIDI File does, alone or in a RIFF box."""
    return data.startswith(b"MThd") or (data.startswith(b"RIFF") and data[8:12] == b"RMID")


@lru_cache(maxsize=1)  # whoever takes a file part by part asks for the same one each time
def read_midi(data: bytes, filename: str = "") -> Played:
    """Read a file. Raises PassageError."""
    if len(data) > MOST_BYTES:
        raise PassageError(
            f"the file is larger than {MOST_BYTES // 1_000_000} MB.",
            where=filename,
            remedy="Export only the part that you play.",
        )
    file = _opened(data[data.find(b"MThd") :], filename)
    if file.type == 2:
        raise _refused("its tracks are separate songs (type 2)", filename)
    if not 1 <= file.ticks_per_beat <= _TICKS_MOST:
        raise _refused("its time is counted in film frames, not in beats", filename)
    played = _Reader(file).played(filename)
    if len(played.parts) > PARTS_MOST:
        raise PassageError(
            f"this MIDI file has {len(played.parts):,} parts; up to {PARTS_MOST} can be read.",
            where=filename,
            remedy="Export only the parts that you play.",
        )
    for part in played.parts:
        if len(part.notes) > NOTES_MOST:
            raise PassageError(
                f"{part.name} has {len(part.notes):,} notes; up to {NOTES_MOST:,} can be read.",
                where=filename,
                remedy="Export only the bars that you play.",
            )
    return played


def _opened(data: bytes, filename: str) -> "mido.MidiFile":
    import mido
    from mido.midifiles.meta import KeySignatureError  # type: ignore[import-untyped]

    broken = (OSError, EOFError, ValueError, IndexError, KeyError, TypeError, KeySignatureError)
    try:
        return mido.MidiFile(file=io.BytesIO(data), clip=True)
    except broken as fault:
        raise _refused("it is damaged or breaks off", filename) from fault


def _refused(reason: str, filename: str) -> PassageError:
    return PassageError(
        f"this MIDI file cannot be read: {reason}.",
        where=filename,
        remedy="Export it again as an ordinary MIDI file, or as MusicXML.",
    )


class _Reader:
    """Takes one file's tracks apart."""

    def __init__(self, file: "mido.MidiFile") -> None:
        self._file = file
        self._tempi: dict[Fraction, float] = {}
        self._metres: dict[Fraction, tuple[int, int]] = {}
        self._keys: dict[Fraction, tuple[int, bool]] = {}
        self._names: list[str] = []

    def played(self, filename: str) -> Played:
        """Everything in it."""
        parts = [part for track in self._file.tracks for part in self._parts(track)]
        if not parts:
            raise PassageError(
                "there are no notes in this MIDI file.",
                where=filename,
                remedy="Percussion (channel 10) is left out: use a part with pitches.",
            )
        first = self._file.tracks[0]
        alone = any(m.type == "note_on" for m in first)  # then its name is that of a part
        title = self._names[0] if self._names and not alone else ""
        return Played(
            title,
            tuple(parts),
            tuple(sorted(self._tempi.items())),
            tuple(sorted(self._metres.items())),
            tuple((beat, *key) for beat, key in sorted(self._keys.items())),
        )

    def _parts(self, track: "mido.MidiTrack") -> list[PlayedPart]:
        at, name = 0, ""
        sounding: dict[tuple[int, int], int] = {}
        found: dict[int, list[PlayedNote]] = {}
        for message in track:
            at += message.time
            if message.type == "track_name":
                name = name or " ".join(message.name.split())
                self._names.append(name)
            elif message.is_meta:
                self._meta(message, self._beat(at))
            elif message.type in ("note_on", "note_off"):
                self._note(message, at, sounding, found)
        for (channel, pitch), start in sounding.items():  # notes that nobody ended
            self._end(found, channel, pitch, start, at)
        return [
            PlayedPart(
                name or f"Channel {channel + 1}",
                tuple(sorted(notes, key=lambda n: (n.onset, n.pitch))),
            )
            for channel, notes in sorted(found.items())
        ]

    def _beat(self, ticks: int) -> Fraction:
        return Fraction(ticks, self._file.ticks_per_beat)

    def _note(
        self,
        message: "mido.Message",
        at: int,
        sounding: dict[tuple[int, int], int],
        found: dict[int, list[PlayedNote]],
    ) -> None:
        if message.channel == _PERCUSSION:
            return
        key = (message.channel, message.note)
        start = sounding.pop(key, None)
        if start is not None:
            self._end(found, *key, start, at)
        if message.type == "note_on" and message.velocity > 0:
            sounding[key] = at

    def _end(
        self, found: dict[int, list[PlayedNote]], channel: int, pitch: int, start: int, end: int
    ) -> None:
        if end > start:
            note = PlayedNote(self._beat(start), self._beat(end), pitch)
            found.setdefault(channel, []).append(note)

    def _meta(self, message: "mido.MetaMessage", beat: Fraction) -> None:
        if message.type == "set_tempo" and message.tempo > 0:
            self._tempi[beat] = 60_000_000 / message.tempo
        elif message.type == "time_signature":
            self._metres[beat] = (max(message.numerator, 1), max(message.denominator, 1))
        elif message.type == "key_signature":
            self._keys[beat] = (_fifths(message.key), message.key.endswith("m"))


def _fifths(name: str) -> int:
    """Sharps of a key as mido names it: "Bb", "F#m"."""
    return read_key(name).fifths

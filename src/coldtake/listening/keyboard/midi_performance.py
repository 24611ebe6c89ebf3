"""What a keyboard says of a performance: keys pressed and let go, from a Standard MIDI File.

Standard MIDI Files 1.0 (MIDI Manufacturers Association, 1988), read by mido. A note-on of velocity
0 lets a key go; a key pressed again before it is let go ends the first press. The pedal is not
read: what is judged is when and which keys were pressed.
"""

import io
from dataclasses import dataclass

from coldtake.errors import SoundError

MOST_KEYS = 20_000
LONGEST_S = 1800.0
MAGIC = b"MThd"
DRUMS = 9  # channel of General MIDI's percussion, counted from 0; its keys are no pitches


@dataclass(frozen=True, slots=True)
class MidiNote:
    """One key, pressed at onset_s, let go at offset_s [s]; MIDI pitch; velocity 1..127."""

    onset_s: float
    offset_s: float
    pitch: int
    velocity: int


@dataclass(frozen=True)
class MidiPerformance:
    """A performance: presses by onset, then pitch; duration_s : length of the file [s]."""

    presses: tuple[MidiNote, ...]
    duration_s: float


def is_keys(data: bytes) -> bool:
    """Whether these bytes are a Standard MIDI File."""
    return data[:4] == MAGIC


def read_keys(data: bytes, where: str = "the MIDI file", *, drums: bool = False) -> MidiPerformance:
    """Read a performance. Raises SoundError for a damaged, empty or too long file.

    drums : pads of General MIDI's percussion count too, where only the rhythm is asked
    """
    import mido  # type: ignore[import-untyped]

    try:
        file = mido.MidiFile(file=io.BytesIO(data))
        if file.type == 2:
            raise ValueError("its tracks do not belong together")
        return _collected(file, where, drums=drums)
    except (OSError, EOFError, ValueError, KeyError, IndexError, TypeError) as error:
        raise SoundError(
            f"the MIDI file cannot be read ({_short(error)}).",
            where=where,
            remedy="Record it again, or export it as a Standard MIDI File.",
        ) from error


def _short(error: Exception) -> str:
    words = str(error).strip().rstrip(".")
    return words[:80] if words else "it ends too early"


def _collected(file: "mido.MidiFile", where: str, *, drums: bool) -> MidiPerformance:  # type: ignore[name-defined] # noqa: F821
    down: dict[tuple[int, int], tuple[float, int]] = {}
    presses: list[MidiNote] = []
    now = 0.0
    for message in file:
        now += message.time
        if now > LONGEST_S:
            raise _too_much(f"longer than {LONGEST_S / 60:.0f} minutes", where)
        if message.type not in ("note_on", "note_off") or (message.channel == DRUMS and not drums):
            continue
        key = (message.channel, message.note)
        if key in down:
            onset, velocity = down.pop(key)
            presses.append(MidiNote(onset, now, message.note, velocity))
        if message.type == "note_on" and message.velocity > 0:
            down[key] = (now, message.velocity)
        if len(presses) > MOST_KEYS:
            raise _too_much(f"more than {MOST_KEYS} notes", where)
    presses += [MidiNote(t, now, note, velocity) for (_, note), (t, velocity) in down.items()]
    if not presses:
        raise SoundError("no key was pressed.", where=where, remedy="Record the take again.")
    return MidiPerformance(tuple(sorted(presses, key=lambda p: (p.onset_s, p.pitch))), now)


def _too_much(what: str, where: str) -> SoundError:
    return SoundError(f"the MIDI file is {what}.", where=where, remedy="Use one take.")

"""Takes as a player would send them: notes on a General MIDI bank, with faults where wished."""

import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2] / "tests" / "browser")]
BANK = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
PROGRAMS = {"viola": 41, "guitar": 26, "piano": 0, "voice": 53, "violin": 40, "flute": 73}
TICKS = 480


Notes = Sequence[tuple[int | Sequence[int], float]]


def midi(parts: Sequence[Notes], bpm: float, program: int) -> bytes:
    """Write a MIDI file, format 0. Notes are (pitch or pitches, beats); pitch 0 is a rest."""
    events = sorted(event for notes in parts for event in _events(notes))
    track = b"\x00\xff\x51\x03" + round(60e6 / bpm).to_bytes(3, "big") + bytes((0, 0xC0, program))
    now = 0
    for tick, status, pitch in events:
        track += _length(tick - now) + bytes((status, pitch, 88))
        now = tick
    track += b"\x00\xff\x2f\x00"
    head = b"MThd" + (6).to_bytes(4, "big") + bytes((0, 0, 0, 1)) + TICKS.to_bytes(2, "big")
    return head + b"MTrk" + len(track).to_bytes(4, "big") + track


def _events(notes: Notes) -> Iterator[tuple[int, int, int]]:
    """Give (tick, status, pitch): offs sort before ons."""
    beat = 0.0
    for pitch, beats in notes:
        for p in [pitch] if isinstance(pitch, int) else pitch:
            if p:
                yield round(beat * TICKS), 0x90, p
                yield round((beat + 0.92 * beats) * TICKS), 0x80, p
        beat += beats


def _length(ticks: int) -> bytes:
    out = [ticks & 0x7F]
    while ticks := ticks >> 7:
        out.insert(0, (ticks & 0x7F) | 0x80)
    return bytes(out)


def take(path: Path, notes: Notes, bpm: float, on: str) -> Path:
    """Render notes to a WAV at `path`; with the name *.mid only the MIDI is written."""
    return together(path, [notes], bpm, on)


def together(path: Path, parts: Sequence[Notes], bpm: float, on: str) -> Path:
    """As `take`, of parts that sound together."""
    data = midi(parts, bpm, PROGRAMS[on])
    if path.suffix == ".mid":
        path.write_bytes(data)
        return path
    source = path.with_suffix(".tmp.mid")
    source.write_bytes(data)
    command = ["fluidsynth", "-ni", "-R", "0", "-C", "0", "-g", "0.8", "-r", "44100", "-F"]
    subprocess.run([*command, str(path), str(BANK), str(source)], check=True, capture_output=True)
    return path

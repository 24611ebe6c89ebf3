"""A keyboard's performance as a take's file: FLAC that can be heard, with the MIDI file inside.

The sound is our own simple piano; the performance itself, byte for byte, stands in an APPLICATION
block of the FLAC file (RFC 9639, section 8.4), so that one file and one checksum hold both and a
take stays one file wherever takes go.
"""

import struct

from coldtake.listening.keyboard.midi_performance import read_keys
from coldtake.listening.sources.sound import Sound, to_flac
from coldtake.music.playback.sounding import SoundedNote

BLOCK_ID = b"SMF1"
_APPLICATION, _LAST = 2, 0x80
_MOST = (1 << 24) - 1 - len(BLOCK_ID)
RATE = 44_100
SHORTEST_S = 0.06


def keys_to_flac(midi: bytes, where: str = "") -> tuple[bytes, float, int]:
    """The take's file, its length [s] and rate [Hz]. Raises SoundError."""
    keys = read_keys(midi, where or "the MIDI file", drums=True)
    from coldtake.music.playback.synth import render

    notes = [
        SoundedNote(str(k), p.onset_s, max(p.offset_s - p.onset_s, SHORTEST_S), p.pitch)
        for k, p in enumerate(keys.presses)
    ]
    samples = render(notes, rate=RATE, voice="piano")
    return with_keys(to_flac(Sound(samples, RATE)), midi), len(samples) / RATE, RATE


def with_keys(flac: bytes, midi: bytes) -> bytes:
    """A FLAC file with a MIDI file added as its second metadata block."""
    if flac[:4] != b"fLaC" or len(midi) > _MOST:
        raise ValueError("a FLAC file and a MIDI file below 16 MB are needed")
    size = struct.unpack(">I", b"\0" + flac[5:8])[0]
    end = 8 + size  # of the first block, which is always STREAMINFO
    was_last = flac[4] & _LAST
    head = bytes((flac[4] & ~_LAST,))
    block = bytes((_APPLICATION | was_last,)) + struct.pack(">I", len(midi) + 4)[1:]
    return flac[:4] + head + flac[5:end] + block + BLOCK_ID + midi + flac[end:]


def keys_of(flac: bytes) -> bytes | None:
    """The MIDI file inside a FLAC file, None where there is none."""
    at = 4
    while flac[:4] == b"fLaC" and at + 4 <= len(flac):
        kind, size = flac[at] & 0x7F, struct.unpack(">I", b"\0" + flac[at + 1 : at + 4])[0]
        body = flac[at + 4 : at + 4 + size]
        if kind == _APPLICATION and body[:4] == BLOCK_ID:
            return body[4:]
        if flac[at] & _LAST:
            return None
        at += 4 + size
    return None

"""What the network hears: for every frame and key, how likely a note begins and sounds there.

A small convolutional network of our own (180,000 weights), trained on sound that we rendered
ourselves (`bench/listening/chords/training`): the spectrum's harmonics are laid over one another so
that a key's partials stand in one place, then the network looks around in time, to neighbouring
keys and to those that share partials. It is asked twice: without the page, and once the page lies
along the recording, with what should begin and sound where. Told so, it also says of each expected
note whether it was played.

Onsets as triangles of three frames to either side are after Q. Kong and others, "High-resolution
piano transcription with pedals by regressing onset and offset times", IEEE/ACM TASLP 29, 2021.
"""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np

from coldtake.listening.chords.spectrum import KEYS, LOWEST_KEY, STEP_S, Singles
from coldtake.listening.features.audio_features import ProgressCallback

if TYPE_CHECKING:
    import onnxruntime

PIECE, AROUND = 192, 28  # frames given at once, and what the network sees to either side
REACH = 3  # frames from an onset to where its triangle ends


@dataclass(frozen=True, eq=False)
class NoteActivations:
    """By frame and key, shape (frames, KEYS).

    onset : 1 where a note begins, falling to 0 three frames away; sounding : 0..1
    played : log odds that a note expected here was played; means nothing elsewhere
    """

    onset: Singles
    sounding: Singles
    played: Singles

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return len(self.onset) * STEP_S


def no_page(frames: int) -> Singles:
    """What is told of the page where nothing is: shape (3, frames, KEYS)."""
    return np.zeros((3, frames, KEYS), np.float32)


def listen(
    spectrum: Singles, page: Singles, tell: ProgressCallback | None = None
) -> NoteActivations:
    """Ask the network, piece by piece.

    spectrum : shape (2, frames, BINS); page : shape (3, frames, KEYS), expected onsets (0..1),
    expected sounding (0 or 1), and 1 throughout where a page is told
    """
    frames = spectrum.shape[1]
    out = np.empty((3, frames, KEYS), np.float32)
    for start in range(0, frames, PIECE):
        low, high = max(start - AROUND, 0), min(start + PIECE + AROUND, frames)
        given = {"spectrum": spectrum[None, :, low:high], "score": page[None, :, low:high]}
        logits = _network().run(None, given)[0][0]
        stop = min(start + PIECE, frames)
        out[:, start:stop] = logits[:, start - low : stop - low]
        if tell is not None:
            tell(stop / frames)
    odds = np.exp(-np.clip(out[:2], -30, 30))
    return NoteActivations(1.0 / (1.0 + odds[0]), 1.0 / (1.0 + odds[1]), out[2])


@lru_cache(maxsize=1)
def _network() -> "onnxruntime.InferenceSession":
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.enable_cpu_mem_arena = False  # keeps the peak of memory low; no slower here
    data = files("coldtake.listening.chords").joinpath("chords.onnx").read_bytes()
    return onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])


@dataclass(frozen=True, slots=True)
class NoteOnset:
    """One key heard to begin: onset [s], MIDI pitch, strength 0..1."""

    onset_s: float
    pitch: int
    strength: float


def begun_in(onset: Singles, least: float) -> list[NoteOnset]:
    """Peaks of the onset evidence, in order of time."""
    padded = np.pad(onset, ((2, 2), (0, 0)))
    around = np.stack([padded[k : k + len(onset)] for k in (0, 1, 3, 4)]).max(axis=0)
    frame, key = np.nonzero((onset >= least) & (onset >= around))
    found = [
        NoteOnset(peak_s(onset[:, k], int(f)), int(k) + LOWEST_KEY, float(onset[f, k]))
        for f, k in zip(frame, key, strict=True)
    ]
    found.sort(key=lambda b: (b.onset_s, b.pitch))
    return _without_twins(found)


def _without_twins(found: list[NoteOnset]) -> list[NoteOnset]:
    """Without the second of two equal neighbouring peaks of one key."""
    last: dict[int, float] = {}
    out = []
    for one in found:
        if one.onset_s - last.get(one.pitch, -1.0) > 3.5 * STEP_S:
            out.append(one)
            last[one.pitch] = one.onset_s
    return out


def peak_s(curve: Singles, at: int) -> float:
    """The time between frames at which a triangle that is sampled by frame has its top [s]."""
    before = float(curve[at - 1]) if at else 0.0
    after = float(curve[at + 1]) if at + 1 < len(curve) else 0.0
    low, high = min(before, after), max(before, after)
    slope = float(curve[at]) - low
    shift = 0.5 * (high - low) / slope if slope > 1e-6 else 0.0
    return (at + (shift if after > before else -shift)) * STEP_S


def stops_s(heard: NoteActivations, onset_s: float, pitch: int, latest_s: float) -> float:
    """When a key that began sounds no longer [s]."""
    first = round(onset_s / STEP_S) + 2
    last = min(round(latest_s / STEP_S), len(heard.sounding))
    quiet = np.flatnonzero(heard.sounding[first:last, pitch - LOWEST_KEY] < 0.35)
    return float((first + quiet[0]) * STEP_S) if len(quiet) else max(latest_s, onset_s + 0.03)

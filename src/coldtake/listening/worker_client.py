"""Recordings decoded and judged in a worker process with limits, not in the one that serves.

The answers and refusals are those of `sound` and `judge`, and one more: that it took too much time
or memory. Nothing here imports what listening needs, so that a page is not kept waiting for it.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from coldtake.domain.take import Verdict
from coldtake.errors import SoundError
from coldtake.subprocesses import Limits, ProgressCallback, WorkerClient, WorkerFailed

if TYPE_CHECKING:
    from coldtake.listening.judging_request import JudgingRequest, ReferenceTake

# Half an hour at 48 kHz is 345 MB of samples; to judge it takes the most, about three times that.
WORKER = WorkerClient(
    "coldtake.listening.dispatch", Limits(seconds=60.0, memory_bytes=2_000_000_000)
)
_TOO_MUCH = {
    "time": "reading it took too long and was stopped.",
    "memory": "reading it took too much memory and was stopped.",
    "end": "the audio reader failed.",
    "fault": "Coldtake could not read it because of an internal error.",
}


@dataclass(frozen=True, slots=True)
class KeptSound:
    """A recording as FLAC, with its length [s] and rate [Hz]."""

    flac: bytes
    duration_s: float
    rate: int


@dataclass(frozen=True, slots=True)
class WaveformOverview:
    """Lowest and highest sample of each slice, in [-1, 1], and the length of the whole [s]."""

    lows: tuple[float, ...]
    highs: tuple[float, ...]
    duration_s: float


def warm_up() -> None:
    """Have a process ready, with everything imported, before the first take comes."""
    with suppress(WorkerFailed):  # the first take will say why
        WORKER.ask({"want": "ready"})


def to_flac(sound: bytes, filename: str = "") -> KeptSound:
    """Read a recording that came in and make FLAC of it. Raises SoundError."""
    try:
        facts, flac, _ = WORKER.ask({"want": "flac", "filename": filename}, sound)
    except WorkerFailed as lost:
        raise _given_up(lost, filename) from lost
    return KeptSound(flac, facts["duration_s"], facts["rate"])


def waveform_overview(path: Path, slices: int) -> WaveformOverview:
    """Draw a take small. Raises SoundError."""
    try:
        found, _, _ = WORKER.ask({"want": "outline", "path": str(path), "slices": slices})
    except WorkerFailed as lost:
        raise _given_up(lost, path.name) from lost
    return WaveformOverview(tuple(found["lows"]), tuple(found["highs"]), found["duration_s"])


def judge(
    path: Path,
    asked: JudgingRequest,
    *,
    duration_s: float,
    tell: ProgressCallback | None = None,
) -> Verdict:
    """As `dispatch.judge_take`, for a take on disk. Raises SoundError, WorkerCancelled.

    duration_s : of the take, whose judging may take so much longer
    tell : is told how far the listening has come (0..1); stops it by returning False
    """
    job = {"want": "judge", "path": str(path)}
    patience = WORKER.limits.seconds + duration_s
    try:
        _, verdict, _ = WORKER.ask(job, msgspec.json.encode(asked), seconds=patience, tell=tell)
    except WorkerFailed as lost:
        raise _given_up(lost, path.name) from lost
    return msgspec.json.decode(verdict, type=Verdict)


def unfit_reference(take: ReferenceTake, *, duration_s: float) -> tuple[str, str] | None:
    """Say why a take cannot serve as a reference, and what to do; None where it can.

    Raises SoundError.
    """
    patience = WORKER.limits.seconds + duration_s
    job = {"want": "reference"}
    try:
        why, _, _ = WORKER.ask(job, msgspec.json.encode(take), seconds=patience)
    except WorkerFailed as lost:
        raise _given_up(lost, "the reference take") from lost
    return (why[0], why[1]) if why else None


def _given_up(lost: WorkerFailed, where: str) -> SoundError:
    return SoundError(
        _TOO_MUCH[lost.why],
        where=where or "the recording",
        remedy="Use a shorter recording, or export it as WAV.",
    )

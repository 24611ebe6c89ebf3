"""What the worker process of listening does: decode, outline and judge recordings."""

from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import numpy.typing as npt

from coldtake.domain.criterion import Criterion
from coldtake.domain.take import ClickTrack
from coldtake.music.passage import Passage


class WorkerRequest(msgspec.Struct, frozen=True, kw_only=True):
    """What `judge` is given beside the sound: one field for each of its arguments."""

    passage: Passage
    criterion: Criterion
    click_bpm: float | None = None
    click: ClickTrack | None = None
    started_cold: bool = False
    tempo_bpm: float | None = None


def do(job: dict[str, Any], body: bytes, tell: Any) -> tuple[Any, bytes]:
    """Do one job for `worker_client`."""
    return {"flac": _flac, "outline": _outline, "judge": _judged, "ready": _ready}[job["want"]](
        job, body, tell
    )


def _ready(_job: dict[str, Any], _body: bytes, _tell: Any) -> tuple[None, bytes]:
    import coldtake.listening.dispatch  # noqa: F401 - this is what takes long

    return None, b""


def _flac(job: dict[str, Any], body: bytes, _tell: Any) -> tuple[dict[str, Any], bytes]:
    from coldtake.listening.dispatch import take_file

    flac, duration_s, rate = take_file(body, job["filename"])
    return {"duration_s": duration_s, "rate": rate}, flac


def _outline(job: dict[str, Any], _body: bytes, _tell: Any) -> tuple[dict[str, Any], bytes]:
    from coldtake.listening.sources.sound import read_sound

    sound = read_sound(Path(job["path"]))
    lows, highs = extremes(sound.samples, job["slices"])
    return {"duration_s": sound.duration_s, "lows": lows, "highs": highs}, b""


def _judged(job: dict[str, Any], body: bytes, tell: Any) -> tuple[None, bytes]:
    from coldtake.listening.dispatch import judge_take

    asked = msgspec.json.decode(body, type=WorkerRequest)
    verdict = judge_take(
        Path(job["path"]),
        asked.passage,
        asked.criterion,
        click_bpm=asked.click_bpm,
        click=asked.click,
        started_cold=asked.started_cold,
        tempo_bpm=asked.tempo_bpm,
        tell=tell,
    )
    return None, msgspec.json.encode(verdict)


def extremes(samples: npt.NDArray[np.float32], slices: int) -> tuple[list[float], list[float]]:
    """Lowest and highest sample of each slice, at most `slices` of them, in [-1, 1]."""
    cuts = np.array_split(samples, min(slices, max(len(samples), 1)))
    lows = [float(c.min(initial=0.0)) for c in cuts]
    return lows, [float(c.max(initial=0.0)) for c in cuts]

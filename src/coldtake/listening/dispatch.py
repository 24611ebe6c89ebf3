"""One door for takes of both kinds: a recording, or a keyboard's performance (MIDI).

The worker process of `worker_client` runs `do`; the command line calls `judge_take` itself.
"""

from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import numpy.typing as npt
from msgspec.structs import replace

from coldtake.domain.take import Verdict
from coldtake.errors import SoundError
from coldtake.listening.features.audio_features import ProgressCallback
from coldtake.listening.improvised.judging import judge_improvised, judge_improvised_keys
from coldtake.listening.judging_request import JudgingRequest, ReferenceTake
from coldtake.listening.keyboard.midi_judge import judge_keys
from coldtake.listening.keyboard.midi_performance import MidiPerformance, is_keys, read_keys
from coldtake.listening.keyboard.midi_take import keys_of, keys_to_flac
from coldtake.listening.melody.judge import judge
from coldtake.listening.reference.judging import judge_against, why_unfit
from coldtake.listening.rhythm.judging import judge_rhythm, judge_rhythm_keys
from coldtake.listening.sources.sound import Sound, read_sound, to_flac
from coldtake.listening.verdict.renditions import as_chosen
from coldtake.music.passage import Passage


def take_file(data: bytes, filename: str = "") -> tuple[bytes, float, int]:
    """What is kept of a take that came in: FLAC, its length [s] and rate [Hz]. Raises SoundError.

    A MIDI file becomes a sound that holds the MIDI file itself.
    """
    if is_keys(data):
        return keys_to_flac(data, filename)
    sound = read_sound(data, filename)
    return to_flac(sound), sound.duration_s, sound.rate


def judge_take(path: Path, asked: JudgingRequest, tell: ProgressCallback | None = None) -> Verdict:
    """Judge a recording, a MIDI file, or a kept take of either. Raises SoundError.

    tell : is told how far it has come, 0..1
    """
    played = _played(path, drums=asked.criterion.rhythm_only)
    if asked.reference is not None:
        return judge_against(played, _played(Path(asked.reference.path)), asked, tell)
    if isinstance(played, MidiPerformance):
        return _performance(played, asked)
    return _recording(played, asked, tell)


def _played(path: Path, *, drums: bool = False) -> Sound | MidiPerformance:
    midi = _midi_in(path)
    if midi is None:
        return read_sound(path)
    return read_keys(midi, path.name, drums=drums)


def _recording(sound: Sound, asked: JudgingRequest, tell: ProgressCallback | None) -> Verdict:
    if asked.criterion.changes is not None:
        return judge_improvised(sound, asked, tell)
    if asked.criterion.rhythm_only:
        return judge_rhythm(sound, asked)

    def judge_as(passage: Passage) -> Verdict:
        return judge(sound, replace(asked, passage=passage), tell)

    return as_chosen(judge_as(asked.passage), asked.passage, judge_as)


def _performance(keys: MidiPerformance, asked: JudgingRequest) -> Verdict:
    if asked.criterion.changes is not None:
        return judge_improvised_keys(keys, asked)
    if asked.criterion.rhythm_only:
        return judge_rhythm_keys(keys, asked)

    def judge_as(passage: Passage) -> Verdict:
        return judge_keys(keys, replace(asked, passage=passage))

    return as_chosen(judge_as(asked.passage), asked.passage, judge_as)


def _midi_in(path: Path) -> bytes | None:
    try:
        with path.open("rb") as file:
            head = file.read(4)
            if is_keys(head):
                return head + file.read()
            return keys_of(head + file.read()) if head == b"fLaC" else None
    except OSError as error:
        raise SoundError.of_file(error, path.name) from error


def do(job: dict[str, Any], body: bytes, tell: Any) -> tuple[Any, bytes]:
    """Do one job for `worker_client`."""
    match job["want"]:
        case "flac":
            flac, duration_s, rate = take_file(body, job["filename"])
            return {"duration_s": duration_s, "rate": rate}, flac
        case "outline":
            sound = read_sound(Path(job["path"]))
            lows, highs = extremes(sound.samples, job["slices"])
            return {"duration_s": sound.duration_s, "lows": lows, "highs": highs}, b""
        case "reference":
            take = msgspec.json.decode(body, type=ReferenceTake)
            return why_unfit(_played(Path(take.path)), take), b""
        case "judge":
            asked = msgspec.json.decode(body, type=JudgingRequest)
            return None, msgspec.json.encode(judge_take(Path(job["path"]), asked, tell))
    return None, b""  # only to be ready, with everything imported


def extremes(samples: npt.NDArray[np.float32], slices: int) -> tuple[list[float], list[float]]:
    """Lowest and highest sample of each slice, at most `slices` of them, in [-1, 1]."""
    cuts = np.array_split(samples, min(slices, max(len(samples), 1)))
    lows = [float(c.min(initial=0.0)) for c in cuts]
    return lows, [float(c.max(initial=0.0)) for c in cuts]

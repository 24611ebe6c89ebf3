"""One door for takes of both kinds: a recording, or a keyboard's performance (MIDI)."""

from pathlib import Path

from coldtake.domain.criterion import Criterion
from coldtake.domain.take import ClickTrack, Verdict
from coldtake.errors import SoundError
from coldtake.listening.features.audio_features import ProgressCallback
from coldtake.listening.improvised.judging import judge_improvised, judge_improvised_keys
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_judge import judge_keys
from coldtake.listening.keyboard.midi_performance import is_keys, read_keys
from coldtake.listening.keyboard.midi_take import keys_of, keys_to_flac
from coldtake.listening.melody.judge import judge
from coldtake.listening.rhythm.judging import judge_rhythm, judge_rhythm_keys
from coldtake.listening.sources.sound import read_sound, to_flac
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


def judge_take(
    path: Path,
    passage: Passage,
    criterion: Criterion,
    *,
    click_bpm: float | None = None,
    click: ClickTrack | None = None,
    started_cold: bool = False,
    tempo_bpm: float | None = None,
    tell: ProgressCallback | None = None,
) -> Verdict:
    """As `judge`, for a file: a recording, a MIDI file, or a kept take of either. SoundError.

    tempo_bpm : of the exercise, in quarters a minute; where nothing written tells the beat
    """
    midi = _midi_in(path)
    asked = JudgingRequest(passage, criterion, click, click_bpm, tempo_bpm)
    if criterion.changes is not None:
        return _over_changes(path, midi, asked, tell)
    if criterion.rhythm_only:
        return _rhythm_alone(path, midi, asked)
    if midi is not None:
        keys = read_keys(midi, path.name)

        def judge_one(passage: Passage) -> Verdict:
            return judge_keys(keys, passage, criterion, click_bpm=click_bpm, click=click)
    else:
        sound = read_sound(path)

        def judge_one(passage: Passage) -> Verdict:
            return judge(
                sound,
                passage,
                criterion,
                click_bpm=click_bpm,
                click=click,
                started_cold=started_cold,
                tell=tell,
            )

    return as_chosen(judge_one(passage), passage, judge_one)


def _over_changes(
    path: Path, midi: bytes | None, asked: JudgingRequest, tell: ProgressCallback | None
) -> Verdict:
    if midi is None:
        return judge_improvised(read_sound(path), asked, tell)
    return judge_improvised_keys(read_keys(midi, path.name), asked)


def _rhythm_alone(path: Path, midi: bytes | None, asked: JudgingRequest) -> Verdict:
    if midi is None:
        return judge_rhythm(read_sound(path), asked)
    return judge_rhythm_keys(read_keys(midi, path.name, drums=True), asked)


def _midi_in(path: Path) -> bytes | None:
    try:
        with path.open("rb") as file:
            head = file.read(4)
            if is_keys(head):
                return head + file.read()
            return keys_of(head + file.read()) if head == b"fLaC" else None
    except OSError as error:
        reason = (error.strerror or "cannot be opened").lower()
        raise SoundError(
            f"the file cannot be read: {reason}.",
            where=path.name,
            remedy="Check its name and place.",
        ) from error

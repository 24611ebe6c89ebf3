"""The door of this room: a recording, a passage and a criterion in, a verdict with evidence out.

The same recording, passage, criterion and engine give the same verdict, always. An accusation is
made only where the sound carries it; otherwise the answer is "cannot tell", with the reason and
what to do about it.
"""

from dataclasses import replace as replaced

import numpy as np
from msgspec.structs import replace

from coldtake.domain.criterion import AnyTest, Criterion, NoStopsTest, NotesTest, TempoTest
from coldtake.domain.take import Answer, ClickTrack, Figure, NoteStatus, Verdict
from coldtake.listening.click_effect import click_effect, without_click_notes
from coldtake.listening.engine import ENGINE
from coldtake.listening.evidence import Evidence, gather
from coldtake.listening.fitness import Obstacle, obstacle_in_hearing, obstacle_in_sound
from coldtake.listening.hearing import Tell, hear
from coldtake.listening.measures import measure_all
from coldtake.listening.reading import Reading, read_take
from coldtake.listening.sound import Sound
from coldtake.music.passage import Passage

MOST_NOTES = 3000
TEMPO_ROOM_PERCENT = 10.0  # about the width of two metronome marks, up or down
KNOWN_SHARE = 0.6  # of the written notes that must be found right before it is this passage
PART_NOTES, PART_SHARE = 5, 0.85  # an abandoned take: so many notes right, of those in between
PLAYER_MAY_ANSWER = "You can answer for this take yourself."


def default_criterion(tempo_bpm: float | None) -> Criterion:
    """Every note right and no stops; with a tempo, that tempo within 10 %."""
    tests: tuple[AnyTest, ...] = (NotesTest(), NoStopsTest())
    if tempo_bpm is not None:
        tests = (*tests, TempoTest(mark=tempo_bpm, within_percent=TEMPO_ROOM_PERCENT))
    return Criterion(tests=tests)


def judge(
    sound: Sound,
    passage: Passage,
    criterion: Criterion,
    *,
    click_bpm: float | None = None,
    click: ClickTrack | None = None,
    started_cold: bool = False,
    tell: Tell | None = None,
) -> Verdict:
    """Judge a take by the tests that can be heard.

    click_bpm : the click's tempo if one was heard while playing, in quarters per minute
    click : when its clicks were made, where that is known too
    started_cold : how the take came about; the sound is judged alike
    tell : is told how far it has come, 0..1
    """
    del started_cold
    obstacle = _obstacle_in_passage(passage) or obstacle_in_sound(sound)
    if obstacle is not None:
        return _cannot_tell(obstacle, criterion, sound)
    beside = click_effect(sound, click, click_bpm)
    sound = replaced(beside.sound, remarks=(*sound.remarks, *beside.remarks))
    lowest, highest = _range(passage)
    hearing = hear(sound, lowest, highest, tell)
    obstacle = obstacle_in_hearing(hearing)
    if obstacle is not None:
        return _cannot_tell(obstacle, criterion, sound)
    reading = without_click_notes(read_take(hearing, passage), beside.heard)
    evidence = gather(hearing, passage, reading, beside.grid(passage))
    evidence = replaced(evidence, timed_by=beside.timed_by)
    obstacle = _another_passage(passage, reading, evidence)
    if obstacle is not None:
        return _cannot_tell(obstacle, criterion, sound, evidence)
    return replace(_decided(criterion, evidence, sound), click=beside.told)


def _obstacle_in_passage(passage: Passage) -> Obstacle | None:
    if not passage.notes:
        return Obstacle("The passage holds no notes.", "Choose bars with notes.")
    if not passage.is_one_line:
        return Obstacle(
            "The passage has several notes at once; only one line can be judged by listening yet.",
            PLAYER_MAY_ANSWER,
        )
    if len(passage.notes) > MOST_NOTES:
        return Obstacle(
            f"The passage has {len(passage.notes)} notes; up to {MOST_NOTES} can be judged.",
            "Choose fewer bars.",
        )
    return None


def _range(passage: Passage) -> tuple[int, int]:
    pitches = [n.pitch for n in passage.notes]
    return min(pitches), max(pitches)


def _another_passage(passage: Passage, reading: Reading, evidence: Evidence) -> Obstacle | None:
    right = sum(1 for p in reading.kept.values() if p.right)
    share = right / (len(passage.notes) + len(evidence.extras))
    if share >= KNOWN_SHARE or _is_part(reading, right, len(evidence.extras)):
        return None
    return Obstacle(
        f"This seems to be another passage: {right} of {len(passage.notes)} notes were found.",
        "Check that the step has the passage that you played, or record the take again.",
    )


def _is_part(reading: Reading, right: int, extras: int) -> bool:
    """Whether a stretch of the passage was played well, though much of it was not played."""
    if right < PART_NOTES:
        return False
    stretch = max(reading.kept) - min(reading.kept) + 1
    return right / (stretch + extras) >= PART_SHARE


def _cannot_tell(
    obstacle: Obstacle, criterion: Criterion, sound: Sound, evidence: Evidence | None = None
) -> Verdict:
    return Verdict(
        answer=Answer.CANNOT_TELL,
        reason=" ".join([obstacle.reason, *sound.remarks]),
        remedy=obstacle.remedy,
        tempo_bpm=None,
        tests=_unmeasured(criterion),
        notes=(),
        engine=ENGINE,
        tuning_cents=None if evidence is None else evidence.tuning_cents,
    )


def _unmeasured(criterion: Criterion) -> tuple[Figure, ...]:
    empty = Evidence((), (), (), (), (), np.zeros(0), None, np.zeros(0), 0.0)
    figures = measure_all(criterion.heard, empty)
    return tuple(
        replace(f, value=None, uncertainty=None, passed=None, words="not measured") for f in figures
    )


def _decided(criterion: Criterion, evidence: Evidence, sound: Sound) -> Verdict:
    figures = measure_all(criterion.heard, evidence)
    answer = _answer(figures)
    fit = evidence.fit
    curve = () if fit is None else _curve(evidence)
    return Verdict(
        answer=answer,
        reason=" ".join([_reason(answer, figures, evidence), *sound.remarks]),
        remedy=_remedy(answer, evidence),
        tempo_bpm=None if fit is None else fit.bpm,
        tests=figures,
        notes=(*evidence.notes, *evidence.extras),
        engine=ENGINE,
        tuning_cents=evidence.tuning_cents,
        restarts=evidence.restarts,
        abstained=evidence.abstained,
        tempo_curve=curve,
    )


def _curve(evidence: Evidence) -> tuple[tuple[float, float], ...]:
    assert evidence.fit is not None
    beats = [evidence.notes[i].expected_beat or 0.0 for i in evidence.played]
    return tuple(zip(beats, map(float, evidence.fit.curve_bpm), strict=True))


def _answer(figures: tuple[Figure, ...]) -> Answer:
    if any(f.passed is False for f in figures):
        return Answer.NO
    if figures and all(f.passed for f in figures):
        return Answer.YES
    return Answer.CANNOT_TELL


def _reason(answer: Answer, figures: tuple[Figure, ...], evidence: Evidence) -> str:
    if answer == Answer.YES:
        return "Yes: " + "; ".join(f.words for f in figures) + "."
    if answer == Answer.NO:
        failed = [f.words for f in figures if f.passed is False]
        return "No: " + "; ".join([*failed, *_first_faults(evidence)]) + "."
    if not figures:
        return "Only you can answer this question."
    open_ones = [f"{f.name}: {f.words}" for f in figures if f.passed is None]
    return "It cannot be told from this recording: " + "; ".join(open_ones) + "."


def _first_faults(evidence: Evidence, most: int = 3) -> list[str]:
    faults = [n for n in evidence.notes if n.status != NoteStatus.RIGHT]
    words = [n.words for n in (*faults, *evidence.extras) if n.words and n.words != "not heard"]
    return words[:most]


def _remedy(answer: Answer, evidence: Evidence) -> str:
    if answer != Answer.CANNOT_TELL:
        return ""
    if evidence.abstained:
        return f"Move the microphone closer and play it once more. {PLAYER_MAY_ANSWER}"
    return f"Play it once more. {PLAYER_MAY_ANSWER}"

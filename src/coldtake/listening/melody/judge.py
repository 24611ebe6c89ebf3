"""The door of this room: a recording, a passage and a criterion in, a verdict with evidence out.

The same recording, passage, criterion and engine give the same verdict, always. An accusation is
made only where the sound carries it; otherwise the answer is "cannot tell", with the reason and
what to do about it.
"""

from dataclasses import replace as replaced

from msgspec.structs import replace

from coldtake.domain.take import Verdict
from coldtake.listening.alignment.performance_alignment import read_take
from coldtake.listening.alignment.performed_notes import PerformanceAlignment
from coldtake.listening.chords.judging import judge_chords
from coldtake.listening.features.audio_features import ProgressCallback, hear
from coldtake.listening.features.signal_quality import (
    Abstention,
    obstacle_in_hearing,
    obstacle_in_sound,
)
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.sources.sound import Sound
from coldtake.listening.verdict.click_effect import click_effect, without_click_notes
from coldtake.listening.verdict.evidence import Evidence, gather
from coldtake.listening.verdict.ornaments import with_ornaments
from coldtake.listening.verdict.verdicts import (
    cannot_tell,
    decided,
    obstacle_in_notes,
    seems_another,
)
from coldtake.music.passage import Passage


def judge(sound: Sound, asked: JudgingRequest, tell: ProgressCallback | None = None) -> Verdict:
    """Judge a take by the tests that can be heard.

    tell : is told how far it has come, 0..1
    """
    passage, criterion = asked.passage, asked.criterion
    obstacle = obstacle_in_notes(passage) or obstacle_in_sound(sound)
    if obstacle is not None:
        return cannot_tell(obstacle, criterion, sound.remarks)
    beside = click_effect(sound, asked.click, asked.click_bpm)
    sound = replaced(beside.sound, remarks=(*sound.remarks, *beside.remarks))
    if not passage.is_one_line:
        heard = judge_chords(sound, passage, criterion, beside, tell)
        return replace(heard, click=beside.told)
    lowest, highest = _range(passage)
    hearing = hear(sound, lowest, highest, tell)
    obstacle = obstacle_in_hearing(hearing)
    if obstacle is not None:
        return cannot_tell(obstacle, criterion, sound.remarks)
    reading = without_click_notes(read_take(hearing, passage), passage, beside.heard)
    evidence = gather(hearing, passage, reading, beside.grid(passage))
    evidence = replaced(evidence, timed_by=beside.timed_by)
    evidence = with_ornaments(evidence, passage)
    obstacle = _another_passage(passage, reading, evidence)
    if obstacle is not None:
        return cannot_tell(obstacle, criterion, sound.remarks, evidence)
    tuning = evidence.tuning_cents
    verdict = decided(criterion, evidence, sound.remarks, bars=passage.bars, tuning_cents=tuning)
    return replace(verdict, click=beside.told)


def _range(passage: Passage) -> tuple[int, int]:
    pitches = [n.pitch for n in passage.notes]
    return min(pitches), max(pitches)


def _another_passage(
    passage: Passage, reading: PerformanceAlignment, evidence: Evidence
) -> Abstention | None:
    right = sum(1 for p in reading.kept.values() if p.right)
    stretch = max(reading.kept) - min(reading.kept) + 1 if reading.kept else 0
    return seems_another(right, len(passage.notes), len(evidence.extras), stretch)

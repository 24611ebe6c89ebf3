"""The door for steps without notation: a take compared with one that the player called right.

Two opinions, and nobody is accused by one alone: the take is read against the notes of the
reference as if they were written, and where a note is then called wrong, missed or extra, both
sounds are compared at that place (`second_opinion`). Alike: the note counts as right. Different,
and the reference's own note is sure: the fault stands. Else it cannot be told.
"""

from collections.abc import Sequence
from dataclasses import replace as replaced

import numpy as np
from msgspec.structs import replace

from coldtake.domain.criterion import CriterionTest, TempoTest
from coldtake.domain.take import NoteStatus, Reference, Verdict
from coldtake.listening.alignment.performance_alignment import read_take
from coldtake.listening.features.audio_features import (
    AudioFeatures,
    ProgressCallback,
    hear,
)
from coldtake.listening.features.signal_quality import (
    Abstention,
    obstacle_in_hearing,
    obstacle_in_sound,
)
from coldtake.listening.improvised.notes import ImprovisedNote
from coldtake.listening.improvised.signal_quality import OWN_SHARE, are_several, own_share
from coldtake.listening.improvised.transcribing import transcribe
from coldtake.listening.judging_request import JudgingRequest, ReferenceTake
from coldtake.listening.keyboard.midi_alignment import match_keys
from coldtake.listening.keyboard.midi_evidence import evidence_of
from coldtake.listening.keyboard.midi_judge import ONSET_ERROR_S
from coldtake.listening.keyboard.midi_performance import MidiPerformance
from coldtake.listening.reference.doubts import doubted, without_unsure
from coldtake.listening.reference.reference_line import (
    ReferenceLine,
    line_of_keys,
    line_of_sound,
)
from coldtake.listening.sources.sound import Sound
from coldtake.listening.verdict.click_effect import click_effect, without_click_notes
from coldtake.listening.verdict.evidence import Evidence, gather
from coldtake.listening.verdict.measures import unmeasured
from coldtake.listening.verdict.verdicts import (
    PLAYER_MAY_ANSWER,
    cannot_tell,
    decided,
    seems_another,
)

REFERENCE_ERROR_S = 0.02  # half width (95 %) of an onset of the reference's own recording
AS_USUAL = 0.75  # of the reference's own share on the partials of its notes
FEWEST_UNTOLD, UNTOLD_SHARE = 3, 0.2  # notes from which a whole take cannot be told
NO_BEAT = "the reference take was played without a click, so its beat is not known"
RHYTHM_ONLY = Abstention(
    "Rhythm alone cannot be compared with a reference take.",
    f"Add notation to the step. {PLAYER_MAY_ANSWER}",
)
SEVERAL = Abstention(
    "There are several sounds at once. Only one line can be compared with a reference take.",
    f"Play one line only, or record a keyboard through MIDI. {PLAYER_MAY_ANSWER}",
)


def judge_against(
    played: Sound | MidiPerformance,
    reference: Sound | MidiPerformance,
    asked: JudgingRequest,
    tell: ProgressCallback | None = None,
) -> Verdict:
    """Judge a take against the reference that `asked` names.

    tell : is told how far it has come, 0..1
    """
    assert asked.reference is not None
    if asked.criterion.rhythm_only:
        return cannot_tell(RHYTHM_ONLY, asked.criterion)
    line = _line_of(reference, asked.reference)
    if isinstance(line, Abstention):
        return cannot_tell(line, asked.criterion)
    if isinstance(played, MidiPerformance):
        return _keys(played, line, asked)
    return _sound(played, line, asked, tell)


def why_unfit(played: Sound | MidiPerformance, take: ReferenceTake) -> tuple[str, str] | None:
    """Say why a take cannot serve as a reference, and what to do; None where it can."""
    line = _line_of(played, take)
    return (line.reason, line.remedy) if isinstance(line, Abstention) else None


def _line_of(played: Sound | MidiPerformance, take: ReferenceTake) -> ReferenceLine | Abstention:
    if isinstance(played, MidiPerformance):
        return line_of_keys(played, take)
    return line_of_sound(played, take)


def _sound(
    sound: Sound, line: ReferenceLine, asked: JudgingRequest, tell: ProgressCallback | None
) -> Verdict:
    obstacle = obstacle_in_sound(sound)
    if obstacle is not None:
        return cannot_tell(obstacle, asked.criterion, sound.remarks)
    beside = click_effect(sound, asked.click, asked.click_bpm)
    remarks = (*sound.remarks, *beside.remarks)
    passage = line.passage
    if not passage.is_one_line:
        return cannot_tell(SEVERAL, asked.criterion, remarks)
    pitches = [n.pitch for n in passage.notes]
    hearing = hear(beside.sound, min(pitches), max(pitches), tell)
    heard = transcribe(hearing).notes
    obstacle = obstacle_in_hearing(hearing)
    if obstacle is None and _several(hearing, heard, line):
        obstacle = SEVERAL
    if obstacle is not None:
        return cannot_tell(obstacle, asked.criterion, remarks)
    reading = without_click_notes(read_take(hearing, passage), passage, beside.heard)
    evidence = gather(hearing, passage, reading)
    if line.hearing is None:
        evidence = without_unsure(evidence, line.unsure)
    else:
        evidence = doubted(evidence, line, hearing, heard)
        blur = np.hypot(evidence.onset_errors_s, REFERENCE_ERROR_S)
        evidence = replaced(evidence, onset_errors_s=blur)
    verdict = _told(evidence, line, asked, remarks, evidence.tuning_cents)
    return replace(verdict, click=beside.told)


def _several(hearing: AudioFeatures, heard: Sequence[ImprovisedNote], line: ReferenceLine) -> bool:
    """Whether more sounds at once than in the reference, which was found to be one line.

    A reed that beats, a banjo's ringing strings: a single line of some instruments has less of its
    power on one note's partials than others, in the reference as in the take.
    """
    if line.hearing is None:
        return are_several(hearing, heard)
    usual = own_share(line.hearing, line.notes)
    return own_share(hearing, heard) < min(OWN_SHARE, AS_USUAL * usual)


def _keys(keys: MidiPerformance, line: ReferenceLine, asked: JudgingRequest) -> Verdict:
    passage = line.passage
    matched = match_keys(keys.presses, passage)
    error_s = ONSET_ERROR_S if line.hearing is None else REFERENCE_ERROR_S
    evidence = evidence_of(matched, passage, onset_error_s=error_s)
    return _told(without_unsure(evidence, line.unsure), line, asked, (), None)


def _told(
    evidence: Evidence,
    line: ReferenceLine,
    asked: JudgingRequest,
    remarks: tuple[str, ...],
    tuning_cents: float | None,
) -> Verdict:
    assert asked.reference is not None
    obstacle = _something_else(evidence, line) or _too_little(evidence, line)
    if obstacle is not None:
        return cannot_tell(obstacle, asked.criterion, remarks, evidence)
    evidence = replaced(evidence, lengths_of="those of the reference take")
    known = tuple(t for t in asked.criterion.tests if line.has_click or not _needs_beat(t))
    verdict = decided(
        replace(asked.criterion, tests=known),
        evidence,
        remarks,
        bars=(),
        tuning_cents=tuning_cents,
        also=tuple(unmeasured(t, NO_BEAT) for t in asked.criterion.tests if t not in known),
    )
    told = Reference(take_id=asked.reference.take_id, first_s=line.first_s, beat_s=line.beat_s)
    if not line.has_click:  # its beats are only a measure of time: nobody is told a tempo of them
        verdict = replace(verdict, tempo_bpm=None, tempo_curve=())
    return replace(verdict, reference=told)


def _needs_beat(test: CriterionTest) -> bool:
    return isinstance(test, TempoTest)


def _too_little(evidence: Evidence, line: ReferenceLine) -> Abstention | None:
    """Where much of a take cannot be told, what is left may be a fault of the listening."""
    untold, count = len(evidence.abstained), len(line.notes)
    if untold < FEWEST_UNTOLD or untold <= UNTOLD_SHARE * count:
        return None
    return Abstention(
        f"{untold} of {count} notes are not clear enough to compare with the reference take.",
        f"Record it again, or use another take as the reference. {PLAYER_MAY_ANSWER}",
    )


def _something_else(evidence: Evidence, line: ReferenceLine) -> Abstention | None:
    right = [k for k, n in enumerate(evidence.notes) if n.status is NoteStatus.RIGHT and n.onset_s]
    stretch = right[-1] - right[0] + 1 if right else 0
    if seems_another(len(right), len(line.notes), len(evidence.extras), stretch) is None:
        return None
    return Abstention(
        f"This seems to be other music than the reference take: {len(right)} of its "
        f"{len(line.notes)} notes were found.",
        "Record the take again, or choose another reference take.",
    )

"""Evidence and a criterion to a verdict, whatever the evidence was heard in."""

from collections.abc import Sequence

import numpy as np
from msgspec.structs import replace

from coldtake.domain.criterion import Criterion
from coldtake.domain.take import Answer, Figure, NoteStatus, Verdict
from coldtake.listening.engine import ENGINE
from coldtake.listening.features.signal_quality import Abstention
from coldtake.listening.verdict.evidence import Evidence
from coldtake.listening.verdict.measures import measure_all
from coldtake.listening.verdict.repeated_beats import with_repeated_beats
from coldtake.listening.verdict.section_pauses import without_section_pauses
from coldtake.listening.verdict.stumbles import stumbles_of
from coldtake.music.passage import Bar, Passage

ANOTHER_PASSAGE = "another_passage"  # code of `Obstacle`, told in `Verdict.obstacle`
MOST_NOTES = 3000
KNOWN_SHARE = 0.6  # of the written notes that must be found right before it is this passage
PART_NOTES, PART_SHARE = 5, 0.85  # an abandoned take: so many notes right, of those in between
PLAYER_MAY_ANSWER = "You can answer for this take yourself."
UNMEASURED = f"Edit the criterion of the step. {PLAYER_MAY_ANSWER}"


def obstacle_in_notes(passage: Passage) -> Abstention | None:
    """Return what in the passage itself stands in the way, whoever listens."""
    if not passage.notes:
        return Abstention("The passage has no notes.", "Choose bars with notes.")
    if len(passage.notes) > MOST_NOTES:
        return Abstention(
            f"The passage has {len(passage.notes)} notes; up to {MOST_NOTES} can be judged.",
            "Choose fewer bars.",
        )
    return None


def seems_another(right: int, written: int, extras: int, stretch: int) -> Abstention | None:
    """Return an obstacle where too little of the passage was found.

    right : notes found right; stretch : written notes from the first to the last that was played
    """
    part = right >= PART_NOTES and right / (stretch + extras) >= PART_SHARE
    if part or right / (written + extras) >= KNOWN_SHARE:
        return None
    return Abstention(
        f"This seems to be another passage: {right} of {written} notes were found.",
        "Check that the step has the passage that you played, or record the take again.",
        ANOTHER_PASSAGE,
    )


def cannot_tell(
    obstacle: Abstention,
    criterion: Criterion,
    remarks: Sequence[str] = (),
    evidence: Evidence | None = None,
) -> Verdict:
    """Return the verdict where something stands in the way of telling."""
    return Verdict(
        answer=Answer.CANNOT_TELL,
        reason=" ".join([obstacle.reason, *remarks]),
        remedy=obstacle.remedy,
        tempo_bpm=None,
        tests=_unmeasured(criterion),
        notes=(),
        engine=ENGINE,
        tuning_cents=None if evidence is None else evidence.tuning_cents,
        obstacle=obstacle.code,
    )


def _unmeasured(criterion: Criterion) -> tuple[Figure, ...]:
    empty = Evidence((), (), (), (), (), np.zeros(0), None, np.zeros(0), 0.0)
    figures = measure_all(criterion.heard, empty)
    return tuple(
        replace(f, value=None, uncertainty=None, passed=None, words="not measured")
        if f.measured
        else f
        for f in figures
    )


def decided(
    criterion: Criterion,
    evidence: Evidence,
    remarks: Sequence[str] = (),
    *,
    bars: Sequence[Bar],
    tuning_cents: float | None,
    also: Sequence[Figure] = (),
) -> Verdict:
    """Return the verdict that the evidence gives on a criterion.

    bars : of the passage; also : figures of tests that this evidence has no say in
    """
    evidence = without_section_pauses(with_repeated_beats(evidence), bars)
    figures = (*measure_all(criterion.heard, evidence), *also)
    answer = answer_of(figures)
    fit = evidence.fit
    curve = () if fit is None else _curve(evidence)
    return Verdict(
        answer=answer,
        reason=" ".join([reason_of(answer, figures, _first_faults(evidence)), *remarks]),
        remedy=_remedy(answer, evidence, figures),
        tempo_bpm=None if fit is None else fit.bpm,
        tests=figures,
        notes=(*evidence.notes, *evidence.extras),
        engine=ENGINE,
        tuning_cents=tuning_cents,
        restarts=evidence.restarts,
        abstained=evidence.abstained,
        tempo_curve=curve,
        stumbles=stumbles_of(evidence, bars),
    )


def _curve(evidence: Evidence) -> tuple[tuple[float, float], ...]:
    assert evidence.fit is not None
    beats = [evidence.notes[i].expected_beat or 0.0 for i in evidence.played]
    return tuple(zip(beats, map(float, evidence.fit.curve_bpm), strict=True))


def answer_of(figures: Sequence[Figure]) -> Answer:
    """No where any test failed, yes where all passed, else it cannot be told."""
    if any(f.passed is False for f in figures):
        return Answer.NO
    if figures and all(f.passed for f in figures):
        return Answer.YES
    return Answer.CANNOT_TELL


def reason_of(answer: Answer, figures: Sequence[Figure], faults: Sequence[str] = ()) -> str:
    """Say an answer with the figures that it rests on; faults : what went wrong, where it did."""
    if answer == Answer.YES:
        return "Yes: " + "; ".join(f.words for f in figures) + "."
    if answer == Answer.NO:
        failed = [f.words for f in figures if f.passed is False]
        return "No: " + "; ".join([*failed, *faults]) + "."
    if not figures:
        return "Only you can answer this question."
    open_ones = [f"{f.name}: {f.words}" for f in figures if f.passed is None]
    return "Cannot tell from this recording: " + "; ".join(open_ones) + "."


def _first_faults(evidence: Evidence, most: int = 3) -> list[str]:
    """What went wrong, note by note; a missed note says no more than that, and is counted."""
    told = [n for n in evidence.notes if n.status not in (NoteStatus.RIGHT, NoteStatus.MISSED)]
    words = [n.words for n in (*told, *evidence.extras) if n.words]
    return words[:most]


def _remedy(answer: Answer, evidence: Evidence, figures: Sequence[Figure]) -> str:
    if answer != Answer.CANNOT_TELL:
        return ""
    if any(not f.measured for f in figures):
        return UNMEASURED
    if evidence.abstained:
        return f"Move the microphone closer and record it again. {PLAYER_MAY_ANSWER}"
    return f"Record it again. {PLAYER_MAY_ANSWER}"

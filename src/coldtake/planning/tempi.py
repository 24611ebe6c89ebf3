"""The tempi of an exercise, each with its name: written, asked for, clean so far, to begin at.

One home, so that the stave, the title, the question, the goal and the print tell one story:

    written   stands in the notation
    target    what the question asks, else the tempo given with the exercise
    clean     the fastest tempo that is known to have been clean
    start     the tempo to begin at today: the next traditional metronome mark above what is clean,
              never beyond the target; with nothing clean yet the tempo that the player named as
              clean, else a slow one. Not slower than the same bars were heard clean in another step
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from coldtake.domain.criterion import ConditionsTest, Criterion, TempoTest
from coldtake.domain.history.state import State
from coldtake.domain.take import Answer, Judge, Try
from coldtake.domain.topic import MET_ONCE, PassageRef, Step, StepPhase
from coldtake.units import METRONOME_MARKS, tempo_mark

SLOW = 0.6  # share of the target to begin at when nothing is known; common practice, no source
SAME = 0.5  # beats a minute apart that nobody would call another tempo


@dataclass(frozen=True, slots=True)
class Tempi:
    """All in beats of `unit_beats` quarters a minute; None where there is none.

    least, most : limits of the target; of a target that is a least, most is None
    named : what the player said is clean, before any of it was tried here
    elsewhere : at which the same bars were heard clean in another step
    """

    unit_beats: float
    target: float | None
    least: float | None
    most: float | None
    clean: float | None
    named: float | None
    start: float | None
    written: float | None
    elsewhere: float | None = None

    def marked(self, tempo: float) -> str:
        """Write a tempo in this beat: “♩ = 84”."""
        return tempo_mark(self.unit_beats, f"{tempo:.4g}")


def tempo_test(criterion: Criterion) -> TempoTest | None:
    """Return the criterion's tempo test, if it has one."""
    return next((t for t in criterion.tests if isinstance(t, TempoTest)), None)


@dataclass(frozen=True, slots=True)
class HeardClean:
    """A step that was heard clean, and the fastest tempo at which it was [quarters a minute]."""

    step: Step
    bpm: float


def heard_clean(state: State, topic_id: str) -> tuple[HeardClean, ...]:
    """Tell which steps of a topic were heard clean, and how fast.

    Only what the tool heard: a player who answers may have played one hand, or a part of it.
    """
    found = []
    for step in state.topic_steps(topic_id):
        tries = (t for t in state.step_tries(step.id) if t.answer == Answer.YES and _heard(t))
        fastest = clean_tempo(tuple(tries))
        if fastest is not None:
            found.append(HeardClean(step, fastest))
    return tuple(found)


def _heard(attempt: Try) -> bool:
    return attempt.judge is Judge.TOOL or attempt.heard is Answer.YES


def clean_elsewhere(step: Step, heard: Iterable[HeardClean]) -> float | None:
    """Fastest tempo at which another step that holds these bars was heard clean, or None.

    That step asks for all that this one asks for (in tempo and conditions they may differ).
    """
    own = step.exercise.passage
    if own is None:
        return None
    found = [
        one.bpm
        for one in heard
        if one.step.id != step.id
        and one.step.exercise.key == step.exercise.key
        and one.step.exercise.passage is not None
        and _holds(one.step.exercise.passage, own)
        and _asked(step.criterion) <= _asked(one.step.criterion)
    ]
    return max(found, default=None)


def _holds(whole: PassageRef, part: PassageRef) -> bool:
    def bars(ref: PassageRef) -> tuple[float, float]:
        return float(ref.first_bar or 1), float(ref.last_bar or "inf")

    (first, last), (own_first, own_last) = bars(whole), bars(part)
    return whole.passage_id == part.passage_id and first <= own_first and own_last <= last


def _asked(criterion: Criterion) -> frozenset[type]:
    """Kinds of tests; the player's own ones are no hindrance to beginning at a tempo."""
    return frozenset(map(type, criterion.heard)) - {TempoTest, ConditionsTest}


def tempi_of(
    step: Step,
    tries: Sequence[Try],
    phase: StepPhase,
    written_bpm: float | None = None,
    elsewhere_bpm: float | None = None,
) -> Tempi:
    """Tell an exercise's tempi.

    written_bpm : quarters a minute in its notation; elsewhere_bpm : of `clean_elsewhere`
    """
    test, played = tempo_test(step.criterion), step.exercise
    unit = test.beat_unit_beats if test else played.click.beat_unit_beats
    given = played.tempo_bpm / unit if played.tempo_bpm else None
    target = test.mark if test else given
    clean_bpm = clean_tempo(tries)
    clean = None if clean_bpm is None else clean_bpm / unit
    if clean is None and phase in MET_ONCE:
        clean = target  # it was met, so it was clean at what was asked, or at the tempo given
    named = round(played.clean_bpm / unit) if played.clean_bpm else None
    elsewhere = None if elsewhere_bpm is None else float(round(elsewhere_bpm / unit))
    least, most = (None, None) if test is None else limits(test)
    return Tempi(
        unit_beats=unit,
        target=target,
        least=least,
        most=most,
        clean=clean,
        named=named,
        start=None if target is None else _start(target, clean, named, elsewhere),
        written=None if written_bpm is None else written_bpm / unit,
        elsewhere=elsewhere,
    )


def tempi_in(
    state: State, step: Step, written_bpm: float | None = None, tries: Sequence[Try] | None = None
) -> Tempi:
    """Tell a step's tempi by all that is known. tries : its own that count, default all."""
    own = state.step_tries(step.id) if tries is None else tries
    elsewhere = clean_elsewhere(step, heard_clean(state, step.topic_id))
    return tempi_of(step, own, state.phase(step.id), written_bpm, elsewhere)


def limits(test: TempoTest) -> tuple[float, float | None]:
    """Return the slowest and the fastest tempo that a test allows, in its own beats."""
    if test.within_percent is None:
        return test.mark, None
    room = test.mark * test.within_percent / 100.0
    return test.mark - room, test.mark + room


def clean_tempo(tries: Sequence[Try]) -> float | None:
    """Fastest known tempo of a clean try [quarters per minute], or None."""
    clean = [t.tempo_bpm for t in tries if t.answer is Answer.YES and t.tempo_bpm]
    return max(clean, default=None)


def _start(
    target: float, clean: float | None, named: float | None, elsewhere: float | None
) -> float:
    if clean is None:
        own = named or mark_below(SLOW * target)
    else:
        own = target if clean >= target - SAME else mark_above(clean)
    return min(max(own, elsewhere or 0.0), target)


def mark_above(mark: float) -> float:
    """Next traditional metronome mark above; past the series, 4 % more."""
    return next((float(m) for m in METRONOME_MARKS if m > mark + 0.5), round(mark * 1.04))


def mark_below(mark: float) -> float:
    """Traditional metronome mark at or below; the slowest when there is none."""
    return float(max((m for m in METRONOME_MARKS if m <= mark), default=METRONOME_MARKS[0]))


def tempi_words(tempi: Tempi, *, target: bool = True, today: bool = True) -> str:
    """Say them with their names: “Target: ♩ = 60 or faster. Start today at ♩ = 40.”, and so on.

    target : also what is asked for; today : with what is clean so far and where to begin
    """
    said = []
    if target and tempi.target is not None:
        said.append(f"Target: {tempi.marked(tempi.target)}{_room(tempi)}.")
    if today and tempi.start is not None and tempi.target is not None:
        if tempi.clean is not None:
            said.append(f"Clean so far: {tempi.marked(round(tempi.clean))}.")
        if tempi.start < tempi.target - SAME:
            said.append(f"Start today at {tempi.marked(tempi.start)}.")
    if _differs(tempi.written, tempi.target):
        said.append(f"Written: {tempi.marked(tempi.written or 0.0)}.")
    return " ".join(said)


def _room(tempi: Tempi) -> str:
    if tempi.least is None:
        return ""
    if tempi.most is None:
        return " or faster"
    return f" (between {tempi.least:.4g} and {tempi.most:.4g})"  # as the verdict has it


def _differs(one: float | None, other: float | None) -> bool:
    return one is not None and (other is None or abs(one - other) > SAME)

"""Today's goal of a slot: one short sentence, what a player would set out to do.

With a tempo in the criterion the goal is the next traditional metronome mark above the fastest
tempo that was clean, never beyond the criterion's mark. With nothing clean yet it begins at the
tempo that the player named as clean, else slowly.
"""

from coldtake.domain.criterion import Criterion, TempoTest
from coldtake.domain.plan import SlotKind
from coldtake.domain.take import Answer, Try
from coldtake.domain.topic import Step, StepPhase
from coldtake.units import METRONOME_MARKS

FIRST_COLD = "First try cold, no warm-up."
MET_ONCE = frozenset({StepPhase.MET, StepPhase.HELD, StepPhase.SLIPPED})
_SLOW = 0.6  # share of the mark to begin at when nothing is known; common practice, no source
_UNITS = {0.5: "eighth", 1.0: "quarter", 1.5: "dotted quarter", 2.0: "half"}


def tempo_test(criterion: Criterion) -> TempoTest | None:
    """Return the criterion's tempo test, if it has one."""
    return next((t for t in criterion.tests if isinstance(t, TempoTest)), None)


def clean_tempo(tries: tuple[Try, ...]) -> float | None:
    """Fastest tempo of a clean try [quarters per minute], or None."""
    clean = [t.tempo_bpm for t in tries if t.answer is Answer.YES and t.tempo_bpm]
    return max(clean, default=None)


def mark_above(mark: float) -> float:
    """Next traditional metronome mark above; past the series, 4 % more."""
    return next((float(m) for m in METRONOME_MARKS if m > mark + 0.5), round(mark * 1.04))


def mark_below(mark: float) -> float:
    """Traditional metronome mark at or below; the slowest when there is none."""
    return float(max((m for m in METRONOME_MARKS if m <= mark), default=METRONOME_MARKS[0]))


def _tempo_goal(test: TempoTest, fastest_bpm: float | None, said_bpm: float | None) -> str:
    unit = _UNITS.get(test.beat_unit_beats, f"{test.beat_unit_beats:g} quarters")
    if fastest_bpm is None and said_bpm is not None:
        start = min(round(said_bpm / test.beat_unit_beats), test.mark)
        return f"Begin at {unit} = {start:g}, which you named as clean."
    if fastest_bpm is None:
        start = min(mark_below(_SLOW * test.mark), test.mark)
        return f"Find the tempo at which it is clean; begin near {unit} = {start:g}."
    clean = fastest_bpm / test.beat_unit_beats
    if clean >= test.mark - 0.5:
        return f"Settle it at {unit} = {test.mark:g}."
    aim = min(mark_above(clean), test.mark)
    if aim >= test.mark:
        return f"Reach the mark today: {unit} = {test.mark:g}; clean so far at {clean:.0f}."
    return f"Clean at {unit} = {aim:g}; {clean:.0f} is clean so far, {test.mark:g} is the mark."


def _work_goal(step: Step, phase: StepPhase) -> str:
    times = step.criterion.times
    if phase in (StepPhase.MET, StepPhase.HELD):
        return "Clean again after a rest, without thinking ahead."
    if times.among is not None:
        return f"{times.wanted} clean of {times.among}."
    if times.wanted > 1:
        return f"{times.wanted} times clean in a row."
    return "A first clean time, slowly enough to hear every note."


def goal(
    step: Step, kind: SlotKind, tries: tuple[Try, ...], phase: StepPhase, *, again: bool = False
) -> str:
    """Say today's goal for one step; again : it has had a slot before this one.

    Work on a step that was met begins with its cold take: the log tells the day's first try apart,
    and no slot of its own is taken from the work for it.
    """
    if kind is SlotKind.COLD:
        return "One chance, as on the day: no warm-up, play on whatever happens."
    test = tempo_test(step.criterion)
    if test:
        aim = _tempo_goal(test, clean_tempo(tries), step.exercise.clean_bpm)
    else:
        aim = _work_goal(step, phase)
    return f"{FIRST_COLD} {aim}" if phase in MET_ONCE and not again else aim

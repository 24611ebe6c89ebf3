"""Today's goal of a slot: one short sentence, what a player would set out to do.

With a tempo in the criterion the goal is the tempo to begin at today (`tempi`).
"""

from coldtake.domain.criterion import NotesTest
from coldtake.domain.plan import SlotKind
from coldtake.domain.topic import MET_ONCE, Step, StepPhase
from coldtake.planning.tempi import SAME, Tempi, tempo_test

FIRST_COLD = "First try cold, no warm-up."


def _tempo_goal(tempi: Tempi) -> str:
    target, start, clean, unit = tempi.target, tempi.start, tempi.clean, tempi.unit
    if target is None or start is None:
        return ""
    if (tempi.elsewhere or 0.0) >= start > max(clean or 0.0, tempi.named or 0.0):
        at = f"{tempi.elsewhere:g}"
        return f"Begin at {unit} = {start:g}: these bars were clean at {at} in another step."
    if clean is None and tempi.named is not None:
        return f"Begin at {unit} = {start:g}, which you named as clean."
    if clean is None:
        return f"Find the tempo at which it is clean; begin near {unit} = {start:g}."
    if clean >= target - SAME:
        return f"Settle it at {unit} = {target:g}."
    if start >= target:
        return f"Reach the target today: {unit} = {target:g}; clean so far at {clean:.0f}."
    return f"Clean at {unit} = {start:g}; {clean:.0f} is clean so far, {target:g} is the target."


def _work_goal(step: Step, phase: StepPhase) -> str:
    times = step.criterion.times
    if phase in (StepPhase.MET, StepPhase.HELD):
        return "Clean again after a rest, without thinking ahead."
    if times.among is not None:
        return f"{times.wanted} clean of {times.among}."
    if times.wanted > 1:
        return f"{times.wanted} times clean in a row."
    if not any(isinstance(t, NotesTest) for t in step.criterion.tests):
        return "A first clean time."  # a breath or a gesture has no notes to hear
    return "A first clean time, slowly enough to hear every note."


def begins_cold(kind: SlotKind, phase: StepPhase, *, again: bool) -> bool:
    """Say whether a slot for work begins with its step's cold take.

    So does the first slot of a step that was met: the log tells the day's first try apart, and no
    slot of its own is taken from the work for it. again : the step has had a slot before this one
    """
    return kind is SlotKind.WORK and phase in MET_ONCE and not again


def goal(step: Step, kind: SlotKind, tempi: Tempi, phase: StepPhase, *, cold: bool = False) -> str:
    """Say today's goal for one step; cold : the slot begins with its cold take."""
    if kind is SlotKind.COLD:
        return "One chance, as on the day: no warm-up, play on whatever happens."
    aim = _tempo_goal(tempi) if tempo_test(step.criterion) else _work_goal(step, phase)
    return f"{FIRST_COLD} {aim}" if cold else aim

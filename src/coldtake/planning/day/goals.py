"""Today's goal of a slot: one short sentence, what a player would set out to do.

With a tempo in the criterion the goal is the tempo to begin at today (`tempi`).
"""

from coldtake.domain.criterion import NotesTest
from coldtake.domain.plan import SlotKind
from coldtake.domain.topic import MET_ONCE, Step, StepPhase
from coldtake.planning.tempi import SAME, Tempi, tempo_test

FIRST_COLD = "First try cold, without warm-up."


def _tempo_goal(tempi: Tempi) -> str:
    target, start, clean = tempi.target, tempi.start, tempi.clean
    if target is None or start is None:
        return ""
    if (tempi.elsewhere or 0.0) >= start > max(clean or 0.0, tempi.named or 0.0):
        at = f"{tempi.elsewhere:g}"
        return f"Start at {tempi.marked(start)}. These bars were clean at {at} in another step."
    if clean is None and tempi.named is not None:
        return f"Start at {tempi.marked(start)}, your clean tempo."
    if clean is None:
        return f"Find a tempo at which it is clean. Start near {tempi.marked(start)}."
    if clean >= target - SAME:
        return f"Clean again at {tempi.marked(target)}."
    if start >= target:
        return f"Reach the target today: {tempi.marked(target)}. Clean so far: {clean:.0f}."
    return f"Clean at {tempi.marked(start)}. Clean so far: {clean:.0f}. Target: {target:g}."


def _work_goal(step: Step, phase: StepPhase) -> str:
    times = step.criterion.times
    if phase in (StepPhase.MET, StepPhase.HELD):
        return "Clean again after a pause."
    if times.among is not None:
        return f"{times.wanted} of {times.among} tries clean."
    if times.wanted > 1:
        return f"{times.wanted} clean tries in a row."
    if not any(isinstance(t, NotesTest) for t in step.criterion.tests):
        return "One clean try."  # a breath or a gesture has no notes to hear
    return "One clean try, slow enough to hear every note."


def begins_cold(kind: SlotKind, phase: StepPhase, *, again: bool) -> bool:
    """Say whether a slot for work begins with its step's cold take.

    So does the first slot of a step that was met: the log tells the day's first try apart, and no
    slot of its own is taken from the work for it. again : the step has had a slot before this one
    """
    return kind is SlotKind.WORK and phase in MET_ONCE and not again


def goal(step: Step, kind: SlotKind, tempi: Tempi, phase: StepPhase, *, cold: bool = False) -> str:
    """Say today's goal for one step; cold : the slot begins with its cold take."""
    if kind is SlotKind.COLD:
        return "One try, as on the day: no warm-up. Keep playing after a mistake."
    aim = _tempo_goal(tempi) if tempo_test(step.criterion) else _work_goal(step, phase)
    return f"{FIRST_COLD} {aim}" if cold else aim

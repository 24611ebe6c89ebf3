"""Takes without a verdict: why they have none, in words, and which of them are tried again.

Judging that failed is tried again by the player's button at any time, and by itself at each start
of the program, until one listener has failed at the same take so often that it will not help.
"""

from dataclasses import dataclass

from coldtake.domain.state import State
from coldtake.domain.take import JudgingFault, Take

TRIES_MOST = 3  # of one listener at one take, before only the player's button asks again
INTERRUPTED = "interrupted"  # source of a take that was cut off by a crash: no fair try

_WHY = {
    JudgingFault.FAULT: "Coldtake itself failed while it listened.",
    JudgingFault.TIME: "Listening took too long and was stopped.",
    JudgingFault.MEMORY: "Listening took too much memory and was stopped.",
    JudgingFault.END: "The process that listens ended over it.",
    JudgingFault.SOUND: "The saved recording cannot be read.",
}


@dataclass(frozen=True, slots=True)
class WhyUnjudged:
    """Why a take has no verdict.

    title : in a few words; words : in sentences; can_try : whether judging it can be asked for
    """

    title: str
    words: str
    can_try: bool = True


def waiting(state: State, engine: str) -> tuple[str, ...]:
    """Return the takes that are judged at the next start, oldest first."""
    return tuple(sorted(i for i in state.unjudged if _waits(state, i, engine)))


def _waits(state: State, take_id: str, engine: str) -> bool:
    take = state.takes.get(take_id)
    if take is None or take.step_id not in state.steps:
        return False
    if not take.to_judge or take.source == INTERRUPTED:
        return False
    return not _given_up(take, engine)


def _given_up(take: Take, engine: str) -> bool:
    failed = take.failed
    return failed is not None and failed.engine == engine and failed.times >= TRIES_MOST


def why_failed(take: Take, engine: str) -> str:
    """Say what failed, that nothing is lost, and what follows; nothing where judging did not."""
    if take.failed is None:
        return ""
    said = f"{_WHY[take.failed.why]} The recording is saved."
    if take.verdict is not None:
        return f"{said} The verdict before it stands."
    if _given_up(take, engine):
        return f"{said} After {TRIES_MOST} failures only a new version tries it by itself."
    return f"{said} Coldtake tries again at its next start."


def why_unjudged(state: State, take: Take, engine: str, *, there: bool = True) -> WhyUnjudged:
    """Say why a take has no verdict; there : whether its recording is."""
    if take.step_id in state.runs:
        words = "A run-through is not judged by listening. You answer it, piece by piece."
        return WhyUnjudged("Recording of a run-through", words, can_try=False)
    if take.step_id not in state.steps:
        words = "Its step was deleted, so there is nothing to compare it with."
        return WhyUnjudged("Not judged", words, can_try=False)
    if not there:
        words = (
            "The recording is missing, so it cannot be judged. An export that has it puts it back."
        )
        return WhyUnjudged("Not judged", words, can_try=False)
    if take.failed is not None:
        return WhyUnjudged("Judging failed", why_failed(take, engine))
    if take.source == INTERRUPTED:
        return WhyUnjudged("Not judged", "It was cut off, so it was no full try. It is saved.")
    if not take.to_judge:
        return WhyUnjudged("Not judged", "It was saved without being judged.")
    return WhyUnjudged("Not judged yet", "Coldtake judges it at its next start, or now.")

"""Takes without a verdict: why they have none, in words, and which of them are tried again.

Judging that failed is tried again by the player's button at any time, and by itself at each start
of the program, until one listener has failed at the same take so often that it will not help.
"""

from dataclasses import dataclass
from datetime import datetime

from coldtake.domain.history.state import State
from coldtake.domain.take import JudgingFault, Take

TRIES_MOST = 3  # of one listener at one take, before only the player's button asks again
INTERRUPTED = "interrupted"  # source of a take that was cut off by a crash: no fair try

_WHY = {
    JudgingFault.FAULT: "Judging failed because of an internal error.",
    JudgingFault.TIME: "Judging took too long and was stopped.",
    JudgingFault.MEMORY: "Judging took too much memory and was stopped.",
    JudgingFault.END: "The judging process stopped.",
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


def waiting(state: State, engine: str, before: datetime | None = None) -> tuple[str, ...]:
    """Return the takes that are judged at the next start, oldest first.

    before : only those that were so at that instant; what came later is in somebody's hands
    """
    found = [take for i in state.unjudged if (take := state.takes.get(i)) is not None]
    return tuple(sorted(t.id for t in found if _waits(state, t, engine, before)))


def _waits(state: State, take: Take, engine: str, before: datetime | None) -> bool:
    if take.step_id not in state.steps or not take.to_judge or take.source == INTERRUPTED:
        return False
    since = take.failed.at if take.failed else take.at
    return not _given_up(take, engine) and (before is None or since < before)


def _given_up(take: Take, engine: str) -> bool:
    failed = take.failed
    return failed is not None and failed.engine == engine and failed.times >= TRIES_MOST


def why_failed(take: Take, engine: str) -> str:
    """Say what failed, that nothing is lost, and what follows; nothing where judging did not."""
    if take.failed is None:
        return ""
    said = f"{_WHY[take.failed.why]} The recording is saved."
    if take.verdict is not None:
        return f"{said} The earlier verdict stays."
    if _given_up(take, engine):
        return f"{said} After {TRIES_MOST} failures only a new version tries again by itself."
    return f"{said} Coldtake tries again at its next start."


def why_unjudged(state: State, take: Take, engine: str, *, there: bool = True) -> WhyUnjudged:
    """Say why a take has no verdict; there : whether its recording is."""
    if take.step_id in state.runs:
        words = "Coldtake does not judge a run-through. You answer for each piece."
        return WhyUnjudged("Recording of a run-through", words, can_try=False)
    if take.step_id not in state.steps:
        words = "Its step was deleted, so there is nothing to compare it with."
        return WhyUnjudged("Not judged", words, can_try=False)
    if not there:
        words = "The recording is missing, so it cannot be judged. Restore an export that has it."
        return WhyUnjudged("Not judged", words, can_try=False)
    if take.failed is not None:
        return WhyUnjudged("Judging failed", why_failed(take, engine))
    if take.source == INTERRUPTED:
        return WhyUnjudged(
            "Not judged", "The take was interrupted, so it is not a full try. It is saved."
        )
    if not take.to_judge:
        return WhyUnjudged("Not judged", "It was saved without being judged.")
    return WhyUnjudged("Not judged yet", "Coldtake judges it at its next start, or now.")

"""When every step of a topic will have been ready once, in words: for the page and the command."""

from collections.abc import Callable
from datetime import date

from coldtake.domain.estimate import TopicOutlook
from coldtake.planning.words import on_day

LITTLE = 10  # in 100: the share of the simulations below which a day is not named


def ready_words(found: TopicOutlook, written: Callable[[date], str] = on_day) -> str:
    """Say when; the three days are those of 1, 5 and 9 of 10 simulations."""
    early, middle, late = found.ready_by
    due = written(found.on)
    if early is None:
        return (
            f"Every step ready at least once: not expected before {due} "
            f"(fewer than {LITTLE} in 100)."
        )
    if middle is None:
        return (
            f"Every step ready at least once: not expected before {due}. "
            f"Earliest likely date: {written(early)}."
        )
    said = f"Every step ready at least once: by about {written(middle)}."
    if early == late:
        return said
    last = written(late) if late else f"after {due}"
    return f"{said} Earliest likely date: {written(early)}. Latest: {last}."

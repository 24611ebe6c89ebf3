"""Tries as music: one bar per day played, one sign per answer."""

from collections.abc import Sequence
from datetime import date
from itertools import groupby

from coldtake.domain.take import Try
from coldtake.web.views.stave import Stave, StaveBar, StaveMark, System, edges, space_y

MARKS_SHOWN = 16  # as many signs as find room side by side on a phone


def tries_stave(tries: Sequence[Try]) -> Stave | None:
    """Draw the last days on which a step was tried; None when it never was."""
    days = _latest([(day, tuple(some)) for day, some in groupby(tries, key=lambda t: t.day)])
    if not days:
        return None
    cut = edges([max(len(some), 1) + 1 for _, some in days], sum(len(s) + 1 for _, s in days))
    bars = [_day_bar(some, *edge) for (_, some), edge in zip(days, cut, strict=True)]
    words = "; ".join(f"{day.day} {day:%b}: {_said(some)}" for day, some in days)
    first, last = days[0][0], days[-1][0]
    system = System(
        tuple(bars),
        words,
        start=f"{first.day} {first:%b}",
        end=f"{last.day} {last:%b}" if last != first else "",
    )
    return Stave("Tries, one bar for each day", (system,))


def _latest(days: list[tuple[date, tuple[Try, ...]]]) -> list[tuple[date, tuple[Try, ...]]]:
    """Keep the last days whose signs find room, at least one."""
    shown = 0
    for count, (_, some) in enumerate(reversed(days)):
        shown += len(some)
        if shown > MARKS_SHOWN and count > 0:
            return days[-count:]
    return days


def _day_bar(tries: Sequence[Try], start: float, to: float) -> StaveBar:
    step = (to - start) / (len(tries) + 1)
    y = space_y(1)
    marks = tuple(
        StaveMark(round(start + step * (i + 1), 3), y, str(t.answer), t.cold and t.run_id is None)
        for i, t in enumerate(tries)
    )
    return StaveBar(start, to, "day", "done", None, marks=marks)


def _said(tries: Sequence[Try]) -> str:
    return ", ".join(f"{str(t.answer).replace('_', ' ')}{_how(t)}" for t in tries)


def _how(attempt: Try) -> str:
    if attempt.run_id is not None:
        return " in a run of the whole piece"
    return " cold" if attempt.cold else ""

"""Looking back and ahead as music: weeks of days, chords of steps, odds."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from coldtake.domain.days import monday_of
from coldtake.domain.estimate import Interval, TopicOutlook
from coldtake.domain.history.state import State
from coldtake.domain.topic import StepPhase
from coldtake.planning.words import counted, on_day
from coldtake.practice.reports.reports import changes_since
from coldtake.web.views.stave import Stave, StaveBar, StaveMark, System, edges, space_y

WEEKS_AS_STAVES = 4
WEEK = timedelta(days=7)
SIGN_OF_PHASE = {StepPhase.MET: "yes", StepPhase.HELD: "held", StepPhase.SLIPPED: "no"}
DAY_HEIGHTS = (1.9, 3.4)  # spaces of the stave for a day's signs, above its stroke, as a chord


def changes_by_day(state: State, since: date) -> dict[date, list[StepPhase]]:
    """List what became of steps per day: met, held, slipped."""
    found: dict[date, list[StepPhase]] = {}
    for day, phase, _ in changes_since(state, since):
        if phase in SIGN_OF_PHASE:
            found.setdefault(day, []).append(phase)
    return found


def whole_parts(parts: Sequence[float]) -> tuple[int, ...]:
    """Write parts in whole numbers that add up to their rounded sum (largest remainders first)."""
    whole = [int(part) for part in parts]
    left = round(sum(parts)) - sum(whole)
    by_rest = sorted(range(len(parts)), key=lambda n: (whole[n] - parts[n], n))
    for n in by_rest[:left]:
        whole[n] += 1
    return tuple(whole)


def weeks_stave(state: State, today: date, weeks: int = WEEKS_AS_STAVES) -> Stave:
    """Draw the last weeks: a system for each, a bar for each day, a stroke for what was played.

    The stroke of a day is as long as its minutes against the longest day shown; what was met,
    held or slipped that day stands on it.
    """
    first = monday_of(today) - (weeks - 1) * WEEK
    minutes, changes = state.minutes_on, changes_by_day(state, first)
    shown = [first + timedelta(days=i) for i in range(7 * weeks)]
    longest = max((minutes.get(d, 0.0) for d in shown), default=0.0) or 1.0
    systems = [
        _week_system(shown[7 * w : 7 * w + 7], minutes, changes, longest, today)
        for w in range(weeks)
    ]
    return Stave(f"The last {weeks} weeks, one bar for each day", tuple(systems), named=True)


def _week_system(
    days: Sequence[date],
    minutes: Mapping[date, float],
    changes: Mapping[date, list[StepPhase]],
    longest: float,
    today: date,
) -> System:
    cut = edges([1.0] * 7, 7)
    said_min = whole_parts([minutes.get(day, 0.0) for day in days])
    bars = [
        _day_bar(edge, (minutes.get(day, 0.0), whole), changes.get(day, []), longest, day == today)
        for day, edge, whole in zip(days, cut, said_min, strict=True)
    ]
    total = sum(minutes.get(d, 0.0) for d in days)
    said = f"Week from {on_day(days[0])}: {total:.0f} min on " + (
        counted(sum(d in minutes for d in days), "day") if total else "no day"
    )
    return System(tuple(bars), said, start=f"{days[0].day} {days[0]:%b}")


def _day_bar(
    edge: tuple[float, float],
    played: tuple[float, int],
    changes: Sequence[StepPhase],
    longest: float,
    now: bool,
) -> StaveBar:
    """Draw a day; played : its minutes, and as they are written."""
    (start, to), (minutes, whole) = edge, played
    columns = -(-len(changes) // len(DAY_HEIGHTS))
    step = (to - start) / (columns + 1)
    marks = tuple(
        StaveMark(
            round(start + step * (i // len(DAY_HEIGHTS) + 1), 3),
            space_y(DAY_HEIGHTS[i % len(DAY_HEIGHTS)]),
            SIGN_OF_PHASE[phase],
        )
        for i, phase in enumerate(changes)
    )
    return StaveBar(
        start,
        to,
        "day",
        "now" if now else "done",
        space_y(0) if minutes else None,
        f"{whole}′" if minutes else "",
        marks=marks,
        stroke_share=min(minutes / longest, 1.0),
    )


@dataclass(frozen=True, slots=True)
class StepStack:
    """One week's steps as a stack of noteheads: (height in px, sign), and its place."""

    x: float
    label: str
    notes: tuple[tuple[float, str], ...]


@dataclass(frozen=True, slots=True)
class Chords:
    """Steps met, held and slipped per week; `base` is the line that they stand on."""

    chords: tuple[StepStack, ...]
    height: int
    base: int


NOTE_PX = 16  # distance of stacked noteheads


def chords_of(weeks: Sequence[tuple[str, int, int, int]]) -> Chords:
    """Stack each week's (label, met, held, slipped): met and held above the line, slipped below."""
    above = max((met + held for _, met, held, _ in weeks), default=0)
    below = max((slipped for *_, slipped in weeks), default=0)
    base = 14 + NOTE_PX * max(above, 1)
    chords = [
        StepStack(
            round(100 * (i + 0.5) / max(len(weeks), 1), 3), label, _stack(base, met, held, gone)
        )
        for i, (label, met, held, gone) in enumerate(weeks)
    ]
    return Chords(tuple(chords), base + NOTE_PX * below + 40, base)


def _stack(base: int, met: int, held: int, slipped: int) -> tuple[tuple[float, str], ...]:
    up = ["yes"] * met + ["held"] * held
    notes = [(base - 9.0 - NOTE_PX * i, sign) for i, sign in enumerate(up)]
    return (*notes, *((base + 11.0 + NOTE_PX * i, "no") for i in range(slipped)))


@dataclass(frozen=True, slots=True)
class Odds:
    """An interval of chance on a line of 0..100 %."""

    low: float
    mid: float
    high: float


def odds_of(chance: Interval) -> Odds:
    """Put a chance 0..1 on the line."""
    return Odds(*(round(100 * c, 2) for c in (chance.low, chance.mid, chance.high)))


@dataclass(frozen=True, slots=True)
class WeeksAhead:
    """The way to a date: one bar per week, and the span in which the topic gets ready."""

    stave: Stave
    early: float | None
    mid: float | None
    late: float | None


def ahead_of(found: TopicOutlook, today: date) -> WeeksAhead:
    """Draw the weeks from today to the date; the span of readiness in percent of that way."""
    days = max((found.on - today).days, 1)
    weeks, rest = divmod(days, 7)
    cut = edges([7.0] * weeks + ([float(rest)] if rest else []), days)
    bars = tuple(StaveBar(*edge, "week", "coming") for edge in cut)
    words = f"{days} days from today to {on_day(found.on)}"
    system = System(bars, words, start="today", end=f"{found.on.day} {found.on:%b}", final=True)
    early, mid, late = (_share(when, today, days) for when in found.ready_by)
    return WeeksAhead(Stave("Days before the date", (system,), top=22), early, mid, late)


def _share(when: date | None, today: date, days: int) -> float | None:
    if when is None or (when - today).days > days:
        return None
    return round(100 * max((when - today).days, 0) / days, 2)

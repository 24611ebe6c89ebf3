"""The geometry of the stave: minutes to percent of the width, topics to spaces between the lines.

Horizontal positions are percent of the drawing's width (0..100), vertical ones pixels, so that
strokes and letters keep their size at any width. The macros in `templates/stave.html` draw it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import accumulate, pairwise
from typing import Literal

from coldtake.domain.history.state import State
from coldtake.domain.plan import Period, Plan, Slot, SlotKind
from coldtake.domain.session import SessionRun
from coldtake.planning.words import hours_and_minutes

INSET = 0.7  # percent left free on both sides of a bar, so that strokes do not touch barlines
GAP_PX = 10  # between two lines of the stave
Progress = Literal["done", "now", "coming"]


@dataclass(frozen=True, slots=True)
class StaveMark:
    """One answer on the stave: where, which sign, whether it was a cold take."""

    x: float
    y: float
    sign: str
    cold: bool = False


@dataclass(frozen=True, slots=True)
class StaveBar:
    """One bar. `y` is the height of its stroke, None for a bar without one."""

    start: float
    to: float
    kind: str
    state: Progress = "coming"
    y: float | None = None
    above: str = ""
    below: str = ""
    name: str = ""
    marks: tuple[StaveMark, ...] = ()
    stroke_share: float = 1.0

    @property
    def middle(self) -> float:
        """Centre of the bar in percent."""
        return round((self.start + self.to) / 2, 3)

    @property
    def inner_from(self) -> float:
        """Where the stroke begins, in percent."""
        return round(self.start + min(INSET, (self.to - self.start) / 4), 3)

    @property
    def inner_to(self) -> float:
        """Where the stroke ends, in percent."""
        inset = min(INSET, (self.to - self.start) / 4)
        return round(self.start + inset + (self.to - self.start - 2 * inset) * self.stroke_share, 3)


@dataclass(frozen=True, slots=True)
class System:
    """One line of music; `words` say it to somebody who does not see it."""

    bars: tuple[StaveBar, ...]
    words: str = ""
    start: str = ""
    end: str = ""
    final: bool = False

    @property
    def width(self) -> float:
        """Percent of the drawing that this system fills."""
        return self.bars[-1].to if self.bars else 100.0


@dataclass(frozen=True, slots=True)
class Stave:
    """A drawing of one or more systems under one name."""

    name: str
    systems: tuple[System, ...]
    caption: str = ""
    named: bool = False
    line_count: int = 5
    top: int = 34
    lines: tuple[int, ...] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "lines", tuple(self.top + GAP_PX * i for i in range(self.line_count))
        )

    @property
    def bottom(self) -> int:
        """Height of the lowest line."""
        return self.lines[-1]

    @property
    def middle(self) -> float:
        """Height of the middle of the stave."""
        return (self.top + self.bottom) / 2

    @property
    def height(self) -> int:
        """Height of one system with its words above and below."""
        return self.bottom + 32

    def space(self, index: float) -> float:
        """Height of a space between lines, counted from the lowest as 0."""
        return space_y(index, self.top, self.line_count)


def space_y(index: float, top: int = 34, line_count: int = 5) -> float:
    """Height of the space `index` from below; indices beyond the stave wrap round."""
    spaces = max(line_count - 1, 1)
    return top + GAP_PX * (spaces - 1 - index % spaces) + GAP_PX / 2


def edges(widths: Sequence[float], whole: float) -> list[tuple[float, float]]:
    """Turn bar widths into (from, to) in percent of `whole`."""
    ends = [0.0, *accumulate(widths)]
    scaled = [round(100 * e / whole, 3) for e in ends]
    return list(pairwise(scaled))


def topic_spaces(slots: Sequence[Slot]) -> dict[str, int]:
    """Give every topic its space on the stave, in order of appearance."""
    order = dict.fromkeys(s.topic_id for s in slots)
    return {topic_id: i for i, topic_id in enumerate(order)}


def _period_words(number: int, period: Period, titles: Mapping[str, str], rest: int) -> str:
    parts = [
        f"{titles[s.step_id]}, {s.minutes} min{', cold' if s.kind is SlotKind.COLD else ''}"
        for s in period.slots
    ]
    tail = f"; then a break of {rest} min" if rest else ""
    return f"Period {number}: {'; '.join(parts)}{tail}"


@dataclass(frozen=True, slots=True)
class _Played:
    """What has been played of a plan: the state of each slot and its answers."""

    states: Mapping[str, Progress]
    answers: Mapping[str, tuple[tuple[str, bool], ...]]


def played_of(state: State, run: SessionRun | None) -> _Played:
    """Read a session: which slots are inked, and the answers given in each."""
    if run is None:
        return _Played({}, {})
    states: dict[str, Progress] = {
        r.slot_id: "done" if r.ended_at is not None else "now" for r in run.slots
    }
    answers: dict[str, tuple[tuple[str, bool], ...]] = {}
    for attempt in (state.tries[i] for i in run.try_ids if i in state.tries):
        known = answers.get(attempt.slot_id or "", ())
        answers[attempt.slot_id or ""] = (*known, (str(attempt.answer), attempt.cold))
    return _Played(states, answers)


def _slot_bar(
    slot: Slot, edge: tuple[float, float], y: float, name: str, played: _Played
) -> StaveBar:
    start, to = edge
    answers = played.answers.get(slot.id, ())
    step = (to - start) / (len(answers) + 1)
    marks = tuple(
        StaveMark(
            round(start + step * (i + 1), 3), y, sign, cold and slot.kind is not SlotKind.COLD
        )
        for i, (sign, cold) in enumerate(answers)
    )
    state = played.states.get(slot.id, "coming")
    return StaveBar(start, to, str(slot.kind), state, y, str(slot.minutes), name=name, marks=marks)


def plan_stave(state: State, plan: Plan, run: SessionRun | None = None) -> Stave:
    """Draw a plan: each period a system, each slot a bar as wide as its minutes."""
    rest = plan.rules.break_min
    last = len(plan.periods) - 1
    whole = max(
        (p.minutes + (rest if i < last else 0) for i, p in enumerate(plan.periods)), default=1
    )
    spaces = topic_spaces(plan.slots)
    titles = {s.step_id: step_title(state, s.step_id) for s in plan.slots}
    played = played_of(state, run)
    begins = datetime.combine(plan.request.day, plan.request.starts_at)
    begins += timedelta(minutes=plan.lead_min)
    systems = []
    for i, period in enumerate(plan.periods):
        pause = rest if i < last else 0
        cut = edges([*(s.minutes for s in period.slots), *([pause] if pause else [])], whole)
        bars = [
            _slot_bar(s, e, space_y(spaces[s.topic_id]), titles[s.step_id], played)
            for s, e in zip(period.slots, cut, strict=False)
        ]
        if pause:
            bars.append(StaveBar(*cut[-1], "break", above=str(pause)))
        ends = begins + timedelta(minutes=period.minutes)
        words = _period_words(i + 1, period, titles, pause)
        end = f"{ends:%H:%M}" if i == last else ""
        systems.append(System(tuple(bars), words, f"{begins:%H:%M}", end, final=i == last))
        begins = ends + timedelta(minutes=pause)
    name = f"Session of {hours_and_minutes(plan.minutes)}"
    return Stave(name, tuple(systems), _heights(state, spaces), named=True)


def one_line_stave(state: State, plan: Plan) -> Stave:
    """Draw a whole session on one line, breaks between its periods, for small places."""
    rest, last = plan.rules.break_min, len(plan.periods) - 1
    spaces = topic_spaces(plan.slots)
    parts: list[tuple[int, Slot | None]] = []
    for i, period in enumerate(plan.periods):
        parts += [(s.minutes, s) for s in period.slots]
        parts += [(rest, None)] if i < last else []
    cut = edges([m for m, _ in parts], plan.minutes - plan.lead_min)
    played = _Played({}, {})
    bars = [
        StaveBar(*edge, "break", above=str(minutes))
        if slot is None
        else _slot_bar(slot, edge, space_y(spaces[slot.topic_id]), "", played)
        for (minutes, slot), edge in zip(parts, cut, strict=True)
    ]
    begins = datetime.combine(plan.request.day, plan.request.starts_at)
    ends = begins + timedelta(minutes=plan.minutes)
    begins += timedelta(minutes=plan.lead_min)
    name = f"Session of {hours_and_minutes(plan.minutes)}"
    system = System(tuple(bars), "", f"{begins:%H:%M}", f"{ends:%H:%M}", final=True)
    return Stave(name, (system,), _heights(state, spaces))


def _heights(state: State, spaces: Mapping[str, int]) -> str:
    """Say which height on the stave is which topic."""
    titles = [state.topics[i].title for i in spaces if i in state.topics]
    if len(titles) < 2:
        return ""
    return f"Lines from bottom to top: {', '.join(titles)}. Numbers: minutes."


def step_title(state: State, step_id: str) -> str:
    """Return a step's title, also when it has left its topic's map since."""
    step = state.steps.get(step_id)
    return step.title if step else "a deleted step"

"""What stands on printed pages: a day's plan, or a set of exercises, each with its notation.

Sizes are for a stand at arm's length, some 70 cm from the eyes: staves 8 mm high (7 mm where two or
more stand in a system) and no text below 14 pt but the bar numbers (11 pt). Orchestral parts are
set at 7 to 8.5 mm; smaller is complained about (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from coldtake.domain.criterion_words import question
from coldtake.errors import ColdtakeError, InputError, NotFoundError
from coldtake.messages.formats import clock, long_day
from coldtake.music.notation.engraving.chart_drawing import chart_lines
from coldtake.music.notation.reading.charts import chart_of
from coldtake.music.notation.tempo_on_page import at_tempo
from coldtake.planning.words import hours_and_minutes
from coldtake.web.views.notation import is_chart, music_name
from coldtake.web.views.plan_view import PeriodView, SlotRow, periods_of

if TYPE_CHECKING:
    from coldtake.domain.plan import Plan
    from coldtake.domain.topic import Step
    from coldtake.music.passage import Passage
    from coldtake.planning.tempi import Tempi
    from coldtake.practice.services import Services

STAVE_MM, SYSTEM_STAVE_MM = 8.0, 7.0  # one stave in a system; two or more
LEAST_TEXT_PT = 14
PT_MM = 25.4 / 72
MARGIN_MM = 12.0
PAPERS = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216:2007; ANSI/ASME Y14.1, A
EXERCISES_MOST = 200


@dataclass(frozen=True, slots=True)
class SheetPart:
    """One slot or exercise. `lines`: SVGs of its music, each over the whole width."""

    title: str
    topic: str = ""
    at: str = ""
    minutes: int = 0
    cold: bool = False
    question: str = ""
    words: str = ""
    tempo: str = ""
    see: str = ""
    break_min: int = 0
    answers: bool = False
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """Pages under one title."""

    title: str
    aside: str
    parts: tuple[SheetPart, ...]

    def plain(self) -> dict[str, Any]:
        """Return the sheet as dictionaries and lists."""
        return asdict(self)


def unbroken(words: str) -> str:
    """Keep a unit on the line of its number."""
    return re.sub(r"(?<=\d) (?=(?:%|ms|s|min|cents)(?!\w))", "\N{NO-BREAK SPACE}", words)


def paper_of(name: str) -> str:
    """Return the paper's own name from any spelling. Raises InputError."""
    known = {p.casefold(): p for p in PAPERS}
    wanted = name.strip().casefold().removeprefix("us ")
    if wanted not in known:
        raise InputError(
            f"“{name}” is not a paper size.", where="paper", remedy="Use A4 or letter."
        )
    return known[wanted]


def plan_sheet(services: Services, plan: Plan, paper: str) -> Sheet:
    """Lay out a day's plan; notation stands where it is played first."""
    engraved = _Engraver(services, paper)
    request = plan.request
    aside = f"{clock(request.starts_at)}, {hours_and_minutes(plan.minutes)}"
    periods = periods_of(services.state(), plan)
    parts = (*_run_first(services, plan), *_slots(periods, engraved))
    return Sheet(long_day(request.day), aside, parts)


def _run_first(services: Services, plan: Plan) -> tuple[SheetPart, ...]:
    if plan.run is None:
        return ()
    part = SheetPart(
        title=f"Run-through: {services.state().topic_titles(plan.run.topic_ids)}",
        at=clock(plan.request.starts_at),
        minutes=plan.run.minutes,
        cold=True,
        question="From start to end, one try.",
        break_min=plan.rules.break_min,
    )
    return (part,)


def _slots(periods: Sequence[PeriodView], engraved: _Engraver) -> Iterator[SheetPart]:
    for period in periods:
        for row in period.rows:
            rest = period.break_min if row is period.rows[-1] else 0
            yield _slot(row, rest, engraved)


def _slot(row: SlotRow, break_min: int, engraved: _Engraver) -> SheetPart:
    slot, step = row.slot, row.step
    lines, see = engraved.first(step, clock(row.begins)) if step else ((), "")
    return SheetPart(
        title=step.title if step else "a deleted step",
        topic=row.topic.title if row.topic else "",
        at=clock(row.begins),
        minutes=slot.minutes,
        cold=slot.kind == "cold",
        question=unbroken(f"{slot.question} {slot.goal}".strip()),
        words=step.exercise.words if step else "",
        tempo=engraved.tempo(step) if step else "",
        see=see,
        break_min=break_min,
        answers=True,
        lines=lines,
    )


def exercise_sheet(services: Services, steps: Sequence[Step], paper: str, title: str = "") -> Sheet:
    """Lay out the exercises of steps in their order. Raises InputError for none or too many."""
    if not 1 <= len(steps) <= EXERCISES_MOST:
        raise InputError(
            f"{len(steps)} exercises cannot be printed at once.",
            where="print",
            remedy=f"Choose from 1 to {EXERCISES_MOST} steps.",
        )
    engraved = _Engraver(services, paper)
    topics = services.state().topics
    names = list(dict.fromkeys(topics[s.topic_id].title for s in steps if s.topic_id in topics))
    one = len(names) == 1
    parts = tuple(
        SheetPart(
            title=step.title,
            topic="" if one or step.topic_id not in topics else topics[step.topic_id].title,
            question=unbroken(question(step.criterion)),
            words=step.exercise.words,
            tempo=engraved.tempo(step, today=True),
            lines=engraved.lines(step),
        )
        for step in steps
    )
    count = "1 exercise" if len(parts) == 1 else f"{len(parts)} exercises"
    return Sheet(title or (names[0] if one else "Exercises"), count, parts)


def steps_named(services: Services, ids: Sequence[str]) -> tuple[Step, ...]:
    """Return steps by id, in the order given. Raises NotFoundError."""
    known = services.state().steps
    for one in ids:
        if one not in known:
            raise NotFoundError(
                f"This step was not found: “{one}”.",
                where="steps",
                remedy="Copy its id from its address.",
            )
    return tuple(known[one] for one in ids)


class _Engraver:
    """Lines of music in the width of a paper; remembers what stood before."""

    def __init__(self, services: Services, paper: str) -> None:
        self._services = services
        self._width_mm = PAPERS[paper][0] - 2 * MARGIN_MM
        self._seen: dict[str, str] = {}

    def first(self, step: Step, at: str) -> tuple[tuple[str, ...], str]:
        """Return the lines, or when the same was played before, the time where they stand."""
        key = music_name(step)
        if key in self._seen:
            return (), self._seen[key]
        lines = self.lines(step)
        if lines:
            self._seen[key] = at
        return lines, ""

    def tempo(self, step: Step, *, today: bool = False) -> str:
        """Say a step's tempi with their names; a plan's goal says where to begin today itself."""
        from coldtake.planning.tempi import tempi_words

        return tempi_words(self._tempi(step), today=today)

    def _tempi(self, step: Step) -> Tempi:
        from coldtake.planning.tempi import tempi_in

        state, passage = self._services.state(), self._passage(step)
        written = passage.written_bpm if passage else None
        return tempi_in(state, step, written)

    def _passage(self, step: Step) -> Passage | None:
        try:
            return self._services.pile.exercise_passage(step)
        except ColdtakeError:  # the plan is printed all the same
            return None

    def lines(self, step: Step) -> tuple[str, ...]:
        """Return a step's music line by line, () when it has none (or none that can be read)."""
        from coldtake.music.notation.engraving.engraver import STAVE_PX, engrave_lines

        passage, tempi = self._passage(step), self._tempi(step)
        if passage is None:
            return ()
        if tempi.target is not None:
            passage = at_tempo(passage, tempi.target, tempi.unit_beats)
        try:
            chart = chart_of(passage) if is_chart(step) else None
            if chart is not None:
                return chart_lines(chart)
            stave_mm = SYSTEM_STAVE_MM if _staves(passage) > 1 else STAVE_MM
            return engrave_lines(
                passage,
                width_px=round(self._width_mm / stave_mm * STAVE_PX),
                text_units=8 * (LEAST_TEXT_PT + 0.2) * PT_MM / stave_mm,
            )
        except ColdtakeError:  # the plan is printed all the same
            return ()


def _staves(passage: Passage) -> int:
    return max((note.staff for note in passage.notes), default=1)

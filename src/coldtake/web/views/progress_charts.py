"""What has moved, drawn: minutes by week, clean tempo by day, chances against answers.

Horizontal places are percent of the drawing's width, vertical ones pixels, as on the stave.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from coldtake.domain.estimate import Interval
from coldtake.learning.calibration import Calibration, ChanceGroup
from coldtake.practice.reports.progress import SAME_TEMPO, ExerciseTempo
from coldtake.units import beat_sign
from coldtake.web.views.charts import whole_parts

if TYPE_CHECKING:
    from coldtake.learning.tempo_progress import TempoProgress
    from coldtake.practice.services import Services

WEEK_PX = 40  # height of the longest week's stroke
TEMPO_TOP, TEMPO_BOTTOM = 26, 160
DAYS_AHEAD = 42  # as far as a tempo's outlook is drawn
POINTS_MOST = 120
_LINES = 4  # tempo lines drawn at the most
_STEPS = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0)  # beats a minute between two of them
_CURVE = 24  # places at which a curve is drawn


@dataclass(frozen=True, slots=True)
class WeekRow:
    """One topic's minutes in each week; `strokes` are (x in percent, top in px) of weeks played.

    The minutes are whole, so that all topics' make what is said of a week.
    """

    title: str
    minutes: tuple[int, ...]
    strokes: tuple[tuple[float, float], ...]

    @property
    def total(self) -> int:
        """Minutes in all the weeks shown."""
        return sum(self.minutes)


def week_rows(
    minutes: Mapping[str, Sequence[float]], titles: Mapping[str, str]
) -> tuple[WeekRow, ...]:
    """Draw every topic to one scale, so that topics can be compared."""
    longest = max((m for row in minutes.values() for m in row), default=0.0) or 1.0
    weeks = [whole_parts(week) for week in zip(*minutes.values(), strict=True)]
    return tuple(
        WeekRow(
            titles.get(topic_id, "a deleted topic"),
            tuple(week[place] for week in weeks),
            tuple(
                (round(100 * (n + 0.5) / len(row), 2), round(WEEK_PX * (1 - m / longest), 1))
                for n, m in enumerate(row)
                if m > 0
            ),
        )
        for place, (topic_id, row) in enumerate(minutes.items())
    )


@dataclass(frozen=True, slots=True)
class TempoChart:
    """Clean tempi of one exercise, in its own beat unit.

    points : (day, tempo, x, y), the fastest of each day; lines : (tempo, y)
    curve, band : paths in a box of 100 by `height`, empty while nothing can be said
    now_x : place of today; goal_y : height of the tempo asked for
    fastest_step : title of the step that the fastest was played for, where there are several
    """

    unit: str
    points: tuple[tuple[date, float, float, float], ...]
    lines: tuple[tuple[float, float], ...]
    first: date
    last: date
    today: date
    now_x: float
    goal: float | None
    goal_y: float | None
    fastest: tuple[date, float]
    fastest_step: str
    curve: str
    band: str
    height: int = TEMPO_BOTTOM + 26


def progress_of(told: ExerciseTempo) -> "TempoProgress | None":
    """Fit the days that were as fast as any before; None: not enough takes yet.

    A day on which only a slower tempo was asked for says nothing of how fast it could have been.
    """
    from coldtake.learning.tempo_progress import TempoProgress

    days: list[int] = []
    tempi: list[float] = []
    for one in told.clean:
        if not tempi or one.bpm >= max(tempi) * SAME_TEMPO:
            days.append(one.day.toordinal())
            tempi.append(one.bpm)
    return TempoProgress.of(days, tempi)


def unit_of(told: ExerciseTempo) -> str:
    """Return the beat in which an exercise's tempo is said."""
    return beat_sign(told.unit_beats)


def tempo_chart(told: ExerciseTempo, fit: "TempoProgress | None", today: date) -> TempoChart:
    """Draw one exercise's clean tempi, and where they lead as long as the goal is open."""
    shown = [(one.day, one.bpm) for one in told.clean[-POINTS_MOST:]]
    ahead = fit if fit is not None and told.is_open else None
    last = today + timedelta(days=DAYS_AHEAD) if ahead else max(today, shown[-1][0])
    place = _Place(told, shown, ahead, last)
    goal = told.goal_bpm
    return TempoChart(
        unit=unit_of(told),
        points=tuple((d, t / told.unit_beats, place.x(d), place.y(t)) for d, t in shown),
        lines=place.lines(),
        first=shown[0][0],
        last=last,
        today=today,
        now_x=place.x(today),
        goal=goal / told.unit_beats if goal else None,
        goal_y=place.y(goal) if goal else None,
        fastest=(told.fastest.day, told.fastest.bpm / told.unit_beats),
        fastest_step=told.fastest.step.title if len(told.steps) > 1 else "",
        curve=place.curve(ahead) if ahead else "",
        band=place.band(ahead, today) if ahead else "",
    )


class _Place:
    """Where a day and a tempo (quarters a minute) stand in the drawing."""

    def __init__(
        self,
        told: ExerciseTempo,
        shown: Sequence[tuple[date, float]],
        fit: "TempoProgress | None",
        last: date,
    ) -> None:
        self.first, self.unit = shown[0][0], told.unit_beats
        self.days = max((last - self.first).days, 1)
        tempi = [tempo for _, tempo in shown] + ([told.goal_bpm] if told.goal_bpm else [])
        if fit is not None:
            tempi.append(fit.tempo_on(last.toordinal()).high)
        low, high = min(tempi), max(tempi)
        spare = max(0.06 * (high - low), 1.0 * self.unit)
        self.low, self.high = low - spare, high + spare

    def x(self, day: date) -> float:
        return round(1.0 + 98.0 * (day - self.first).days / self.days, 2)

    def y(self, tempo: float) -> float:
        share = (tempo - self.low) / (self.high - self.low)
        return round(TEMPO_BOTTOM - share * (TEMPO_BOTTOM - TEMPO_TOP), 1)

    def lines(self) -> tuple[tuple[float, float], ...]:
        """Round tempi, a few, evenly apart."""
        low, high = self.low / self.unit, self.high / self.unit
        step = next((s for s in _STEPS if (high - low) / s <= _LINES), _STEPS[-1])
        first = int(low // step) + 1
        marks = [step * n for n in range(first, int(high // step) + 1)]
        return tuple((mark, self.y(mark * self.unit)) for mark in marks)

    def _days(self, since: date) -> list[date]:
        span = (self.first + timedelta(days=self.days) - since).days
        count = max(min(span, _CURVE), 1)
        return [since + timedelta(days=round(span * n / count)) for n in range(count + 1)]

    def curve(self, fit: "TempoProgress") -> str:
        days = self._days(self.first)
        return _path([(self.x(d), self.y(fit.tempo_on(d.toordinal()).mid)) for d in days])

    def band(self, fit: "TempoProgress", today: date) -> str:
        days = self._days(today)
        on = [(d, fit.tempo_on(d.toordinal())) for d in days]
        above = [(self.x(d), self.y(tempo.high)) for d, tempo in on]
        below = [(self.x(d), self.y(tempo.low)) for d, tempo in reversed(on)]
        return _path([*above, *below]) + "Z"


def _path(points: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in points)


@dataclass(frozen=True, slots=True)
class TempoWords:
    """What an exercise's clean tempi support, in its own beat unit.

    limit : where it leads; reached : days on which the goal is reached, None where not in sight
    """

    limit: Interval
    goal: float | None
    reached: tuple[date | None, date | None, date | None]


def tempo_words(told: ExerciseTempo, fit: "TempoProgress | None", today: date) -> TempoWords | None:
    """Say where the tempo leads; None while there are not enough takes.

    A day on which the goal might have been reached has gone by without: then it is today at best.
    """
    if fit is None:
        return None
    unit, goal = told.unit_beats, told.goal_bpm
    limit = fit.limit_bpm
    days = fit.day_of(goal) if goal else (None, None, None)
    early, mid, late = (max(date.fromordinal(d), today) if d else None for d in days)
    return TempoWords(
        Interval(low=limit.low / unit, mid=limit.mid / unit, high=limit.high / unit),
        goal / unit if goal else None,
        (early, mid, late),
    )


@dataclass(frozen=True, slots=True)
class SaidRow:
    """One line of what was said against what came, in percent of the line."""

    group: ChanceGroup
    said: float
    came: float
    low: float | None
    high: float | None


def said_rows(known: Calibration) -> tuple[SaidRow, ...]:
    """Put each tenth on a line of 0..100 %."""
    return tuple(
        SaidRow(
            group=g,
            said=round(100 * g.said, 2),
            came=round(100 * g.came / g.of, 2),
            low=round(100 * g.share[0], 2) if g.share else None,
            high=round(100 * g.share[1], 2) if g.share else None,
        )
        for g in known.groups
    )


@dataclass(frozen=True, slots=True)
class ExerciseTempoView:
    """One exercise's clean tempi, drawn and told."""

    title: str
    topic: str
    step_id: str
    chart: TempoChart
    told: TempoWords | None
    open: bool


def tempo_of(services: "Services", known: ExerciseTempo) -> ExerciseTempoView:
    """Draw one exercise; its name leads to the step that was played fastest."""
    fit = progress_of(known)
    topic = services.state().topics.get(known.topic_id)
    return ExerciseTempoView(
        title=known.title,
        topic=topic.title if topic else "",
        step_id=known.fastest.step.id,
        chart=tempo_chart(known, fit, services.today()),
        told=tempo_words(known, fit, services.today()),
        open=known.is_open,
    )

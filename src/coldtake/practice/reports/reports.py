"""Looking back at weeks and minutes, and ahead through the models. Everything is computed."""

import threading
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from coldtake.domain.days import monday_of
from coldtake.domain.estimate import Estimate, TopicOutlook
from coldtake.domain.history.state import State
from coldtake.domain.topic import StepPhase
from coldtake.ports import Progress
from coldtake.practice.access import Action, needs
from coldtake.practice.reports.forecast_log import is_due, outlook_of
from coldtake.practice.state.evidence_mark import EvidenceMark
from coldtake.practice.state.log import Log

_WEEK = timedelta(days=7)
TRIES_LEAST = 10  # with fewer the outlook says "not enough takes yet" of nearly everything


@dataclass(frozen=True, slots=True)
class Week:
    """One ISO 8601 week from its Monday: step ids by what became of them, minutes played."""

    monday: date
    met: tuple[str, ...] = ()
    held: tuple[str, ...] = ()
    slipped: tuple[str, ...] = ()
    minutes: float = 0.0
    sessions: int = 0

    @property
    def name(self) -> str:
        """The week's name in ISO 8601, such as 2026-W48."""
        year, week, _ = self.monday.isocalendar()
        return f"{year}-W{week:02d}"


@dataclass(slots=True)
class _Counts:
    steps: dict[StepPhase, list[str]] = field(default_factory=dict)
    minutes: float = 0.0
    sessions: int = 0


class ReportService:
    """Progress and outlook."""

    def __init__(self, log: Log) -> None:
        self._log = log
        self._mark = EvidenceMark(log)
        self._looking_ahead = threading.Lock()  # two pages that ask at once wait for one answer
        self._ahead: dict[tuple[int, date, float | None], tuple[TopicOutlook, ...]] = {}

    @needs(Action.SEE)
    def weeks(self, *, most: int | None = None) -> tuple[Week, ...]:
        """Return every week from the first with something in it to now, oldest first."""
        state, today = self._log.state(), self._log.today()
        last = monday_of(max([today, *state.minutes_on, *state.sessions_on]))
        since = date.min if most is None else last - (most - 1) * _WEEK
        counts: dict[date, _Counts] = {}
        for day, phase, step_id in changes_since(state, since):
            steps = counts.setdefault(monday_of(day), _Counts()).steps
            steps.setdefault(phase, []).append(step_id)
        for day, minutes in state.minutes_on.items():
            if day >= since:
                counts.setdefault(monday_of(day), _Counts()).minutes += minutes
        for day, sessions in state.sessions_on.items():
            if day >= since:
                counts.setdefault(monday_of(day), _Counts()).sessions += len(sessions)
        return _without_gaps(counts, since if _known_before(state, since) else None, last)

    @needs(Action.SEE)
    def minutes_by_topic(
        self, since: date | None = None, until: date | None = None
    ) -> Mapping[str, float]:
        """Return minutes really played per topic id, `since` and `until` included, most first."""
        state = self._log.state()
        minutes: Counter[str] = Counter()
        for step_id, played in _minutes_of(state, since, until):
            step = state.steps.get(step_id)
            if step:
                minutes[step.topic_id] += played  # type: ignore[assignment]
        return dict(minutes.most_common())

    @needs(Action.SEE)
    def estimate(self, step_id: str, on: date | None = None) -> Estimate | None:
        """Return what the log supports about one step on a day (default today)."""
        return self._estimates(on, (step_id,)).get(step_id)

    @needs(Action.SEE)
    def estimates(self, on: date | None = None) -> Mapping[str, Estimate]:
        """Return what the log supports about every step on a day. Slow with many steps."""
        return self._estimates(on, None)

    def _estimates(self, on: date | None, only: tuple[str, ...] | None) -> Mapping[str, Estimate]:
        from coldtake.learning.memory import estimates

        with self._log.learned.used():
            return estimates(self._log.state(), on or self._log.today(), only)

    @needs(Action.SEE)
    def outlook(
        self, *, minutes_per_day: float | None = None, progress: Progress | None = None
    ) -> tuple[TopicOutlook, ...]:
        """Return for each topic what will be ready on its date, with intervals.

        Once a week what was said is kept, to be held against what comes of it.
        """
        found = self.ahead(minutes_per_day=minutes_per_day, progress=progress)
        due = minutes_per_day is None and is_due(self._log.state(), self._log.today())
        if due and not self._log.store.amiss():
            self._keep(found)
        return found

    @needs(Action.SEE)
    def ahead(
        self, *, minutes_per_day: float | None = None, progress: Progress | None = None
    ) -> tuple[TopicOutlook, ...]:
        """Return the outlook and keep nothing of it in the log.

        It takes seconds, so what was found is held until the log or the day changes.
        """
        with self._looking_ahead:
            key = (*self._mark.now(), minutes_per_day)
            self._ahead = {k: found for k, found in self._ahead.items() if k[:2] == key[:2]}
            if key not in self._ahead:
                self._ahead[key] = self._found_ahead(key[1], minutes_per_day, progress)
            return self._ahead[key]

    @needs(Action.SEE)
    def say_when_due(self) -> None:
        """Look ahead once a week even if nobody asks, so that there is something to look back at.

        It takes seconds: for the background. Nothing happens while too little was played.
        """
        state = self._log.state()
        if state.try_count >= TRIES_LEAST and is_due(state, self._log.today()):
            self.outlook()

    def _keep(self, found: tuple[TopicOutlook, ...]) -> None:
        with self._log.deciding() as state:
            said = outlook_of(found) if is_due(state, self._log.today()) else None
            if said is not None:
                self._log.append(said)

    def _found_ahead(
        self, today: date, minutes_per_day: float | None, progress: Progress | None
    ) -> tuple[TopicOutlook, ...]:
        from coldtake.planning.outlook.summary import outlook

        with self._log.learned.used():
            return outlook(
                self._log.state(), today, minutes_per_day=minutes_per_day, progress=progress
            )


def changes_since(state: State, since: date) -> Iterable[tuple[date, StepPhase, str]]:
    """Give (day, phase, step id) of each change of a step's phase from a day on."""
    for step_id in state.pasts:
        for day, phase in state.mark(step_id).changes if step_id in state.steps else ():
            if day >= since:
                yield day, phase, step_id


def _known_before(state: State, since: date) -> bool:
    """Say whether anything was played or changed before a day."""
    days = (*state.minutes_on, *state.sessions_on)
    return any(day < since for day in days) or any(
        day < since for _, mark in state.marks.values() for day, _ in mark.changes
    )


def _minutes_of(
    state: State, since: date | None, until: date | None
) -> Iterable[tuple[str, float]]:
    if since is None and until is None:
        return state.minutes_of.items()
    first, last = since or date.min, until or date.max
    return ((w.step_id, w.minutes) for w in state.works if first <= w.day <= last)


def _without_gaps(
    counts: Mapping[date, _Counts], first: date | None, last: date
) -> tuple[Week, ...]:
    """List the weeks from `first` (default the first with something in it) to the last."""
    if first is None and not counts:
        return ()
    monday, weeks = min(counts) if first is None else first, []
    end = max(last, max(counts, default=last))
    while monday <= end:
        found = counts.get(monday, _Counts())
        weeks.append(
            Week(
                monday=monday,
                met=tuple(found.steps.get(StepPhase.MET, ())),
                held=tuple(found.steps.get(StepPhase.HELD, ())),
                slipped=tuple(found.steps.get(StepPhase.SLIPPED, ())),
                minutes=found.minutes,
                sessions=found.sessions,
            )
        )
        monday += _WEEK
    return tuple(weeks)

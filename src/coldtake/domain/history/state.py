"""The present, as it follows from the log (`following.fold`): everything that pages ask about."""

from collections.abc import Callable, Iterable
from datetime import date, datetime
from hashlib import blake2b
from typing import Any

import msgspec

from coldtake.domain.estimate import ForecastOutlook, SaidDay
from coldtake.domain.events import EntryMisdated, TakeDeleted
from coldtake.domain.history.compressed_map import CompressedMap
from coldtake.domain.history.step_history import (
    NOTHING_YET,
    ById,
    OwnerIndex,
    Pasts,
    PhaseCache,
    PhaseRecord,
    StepHistory,
    Works,
    answers_given,
    mark_of,
    touching,
)
from coldtake.domain.page import PageFile, PageView, Strokes
from coldtake.domain.performance import Performance, Run, RunKind
from coldtake.domain.plan import SESSIONS_MOST, Plan
from coldtake.domain.progress import Standing, standing
from coldtake.domain.requirement import Appointment
from coldtake.domain.session import SessionRun
from coldtake.domain.take import Take, Try, Work
from coldtake.domain.told_days import ToldDay
from coldtake.domain.topic import Step, StepPhase, StoredPassage, Topic

_NO_MINUTES = 1e-6  # what is left of a sum of minutes that were all taken away
# So many of each stay unpacked: what a month touches.
_PASTS_FRESH, _SESSIONS_FRESH, _PLANS_FRESH, _SAID_FRESH = 128, 16, 8, 8


def _field(make: Callable[[], Any]) -> Any:
    return msgspec.field(default_factory=make)


class State(msgspec.Struct, kw_only=True):
    """Everything derived from the log. Read it; change it only through `apply`.

    page_views, pencil : how pages are shown, and what was drawn on them, by `page_key`
    pasts : what happened to each step, also to those that are gone
    prints : of each past, another one whenever the past is another
    minutes_on, minutes_of : minutes played, by day and by step id
    sessions_on : ids of the sessions of a day, in their order
    acted : when the player did the last thing of each practice day
    open_sessions : when each session began that has not ended
    said : chances said of the cold takes of a day; outlooks : what was said on a day of the dates
    performances_off : those that were taken back; runs : run-throughs and performances as told
    appointments : rehearsals and lessons; appointments_off : those that were deleted
    plans : of the first session of each day; more_plans : of its others, by `plan_key`
    days_told : what was told of days; weekdays_told : minutes of weekdays, by ISO number
    references : by step id, the take that its takes are compared with; see `reference_of`
    unjudged : step ids of the takes without a verdict, by take id
    misdated : entries that wait for their day; passed_over : entries that do not count as they
        stand, and whether they were given their day or deleted
    takes_deleted : what stays of the takes that were deleted for good, by take id
    began : instant of the first topic; nothing can be practised before
    homes, marks : ways to look things up; they add nothing and never make two states differ
    """

    topics: dict[str, Topic] = {}
    steps: dict[str, Step] = {}
    order: dict[str, tuple[str, ...]] = {}
    passages: dict[str, StoredPassage] = {}
    page_files: dict[str, PageFile] = {}
    page_views: dict[str, PageView] = {}
    pencil: dict[str, Strokes] = {}
    settings: dict[str, str] = {}
    plans: CompressedMap[date, Plan] = _field(lambda: CompressedMap(Plan, _PLANS_FRESH))
    more_plans: CompressedMap[str, Plan] = _field(lambda: CompressedMap(Plan, _PLANS_FRESH))
    said: CompressedMap[date, SaidDay] = _field(lambda: CompressedMap(SaidDay, _SAID_FRESH))
    outlooks: CompressedMap[date, ForecastOutlook] = _field(
        lambda: CompressedMap(ForecastOutlook, _SAID_FRESH)
    )
    sessions: CompressedMap[str, SessionRun] = _field(
        lambda: CompressedMap(SessionRun, _SESSIONS_FRESH)
    )
    pasts: Pasts = _field(lambda: CompressedMap(StepHistory, _PASTS_FRESH))
    prints: dict[str, str] = {}
    minutes_on: dict[date, float] = {}
    minutes_of: dict[str, float] = {}
    sessions_on: dict[date, tuple[str, ...]] = {}
    acted: dict[date, datetime] = {}
    open_sessions: dict[str, datetime] = {}
    performances: dict[str, Performance] = {}
    performances_off: dict[str, Performance] = {}
    runs: dict[str, Run] = {}
    appointments: dict[str, Appointment] = {}
    appointments_off: dict[str, Appointment] = {}
    days_told: dict[date, ToldDay] = {}
    weekdays_told: dict[int, int] = {}
    try_count: int = 0
    take_count: int = 0
    unjudged: dict[str, str] = {}
    references: dict[str, str] = {}
    misdated: dict[str, EntryMisdated] = {}
    passed_over: dict[str, bool] = {}
    takes_deleted: dict[str, TakeDeleted] = {}
    homes: OwnerIndex = _field(OwnerIndex)
    marks: PhaseCache = _field(PhaseCache)
    began: datetime | None = None
    last: tuple[datetime, str] | None = None
    last_day: date | None = None

    def copy(self) -> "State":
        """Return a state that later events do not change: the records themselves are shared."""
        own = {
            name: value.copy()
            for name in self.__struct_fields__
            if isinstance(value := getattr(self, name), (dict, CompressedMap))
        }
        return msgspec.structs.replace(self, **own)

    @property
    def tries(self) -> ById[Try]:
        """Tries by id. Cheap for one; going through all of them reads ten years."""
        return ById(self.pasts, self.homes, self.try_count, lambda past: past.tries)

    @property
    def takes(self) -> ById[Take]:
        """Takes by id, their verdicts without evidence. Cheap for one."""
        return ById(self.pasts, self.homes, self.take_count, lambda past: past.takes)

    @property
    def works(self) -> Works:
        """Work on all steps as it happened. Reads ten years."""
        return Works(self.pasts, bool(self.minutes_on))

    def plan_of(self, day: date, session: int) -> Plan | None:
        """Return the plan of one session of a day."""
        return self.plans.get(day) if session == 1 else self.more_plans.get(plan_key(day, session))

    def plans_on(self, day: date) -> tuple[Plan, ...]:
        """Return the plans of a day's sessions, the earliest start first."""
        found = (self.plan_of(day, n) for n in range(1, SESSIONS_MOST + 1))
        return tuple(sorted((p for p in found if p), key=lambda p: p.request.starts))

    def drop_plan(self, day: date, session: int) -> None:
        """Take the plan of one session of a day away."""
        if session == 1:
            self.plans.pop(day, None)
        else:
            self.more_plans.pop(plan_key(day, session), None)

    def days_planned(self) -> list[date]:
        """Return every day that has a plan, in order."""
        more = (date.fromisoformat(key.partition("/")[0]) for key in self.more_plans)
        return sorted({*self.plans, *more})

    def started(self, plan: Plan) -> bool:
        """Say whether a session began with a plan just as it is."""
        ids = self.sessions_on.get(plan.request.day, ())
        return any(self.sessions[i].plan.id == plan.id for i in ids)

    def past(self, step_id: str) -> StepHistory:
        """Return what happened to one step so far."""
        return self.pasts.get(step_id, NOTHING_YET)

    def played(self, step_id: str) -> bool:
        """Say whether a step was ever worked on or tried, as far as that still counts."""
        past = self.past(step_id)
        return bool(past.tries or past.works)

    def touched(self, step_id: str, day: date) -> bool:
        """Say whether a step was tried or worked on that day, answers taken back included."""
        return day in self.past(step_id).days

    def cold_on(self, step_id: str, day: date) -> bool:
        """Say whether a step has had its cold take, or another first try, of that day."""
        past = self.past(step_id)
        takes = any(take.cold and take.day == day for take in past.takes)
        return takes or any(attempt.cold and attempt.day == day for attempt in past.tries)

    def touched_since(self, step_id: str, day: date) -> bool:
        """Say whether a step was touched that day or, by a calendar that went back, a later one."""
        days = self.past(step_id).days
        return bool(days) and max(days) >= day

    def topic_steps(self, topic_id: str) -> tuple[Step, ...]:
        """Steps of a topic in the player's order."""
        return tuple(self.steps[i] for i in self.order.get(topic_id, ()) if i in self.steps)

    def step_tries(self, step_id: str) -> tuple[Try, ...]:
        """Tries of one step, and what runs of its piece said of it, oldest first."""
        return answers_given(step_id, self.past(step_id))

    def reference_of(self, step: Step) -> Take | None:
        """Return the take with which a step's takes are compared; none where it has notation."""
        take_id = None if step.exercise.passage else self.references.get(step.id)
        takes = self.past(step.id).takes if take_id else ()
        return next((t for t in takes if t.id == take_id), None)

    def mark(self, step_id: str) -> PhaseRecord:
        """Return one step's phase and the days on which it changed."""
        criterion = self.steps[step_id].criterion
        known = self.marks.get(step_id)
        if known is None or known[0] != criterion:
            known = self.marks[step_id] = (
                criterion,
                mark_of(criterion, step_id, self.past(step_id)),
            )
        return known[1]

    def phase(self, step_id: str) -> StepPhase:
        """Phase of one step now."""
        return self.mark(step_id).phase

    def phases(self, step_ids: Iterable[str] | None = None) -> dict[str, StepPhase]:
        """Phases of the given steps (default all)."""
        wanted = self.steps if step_ids is None else step_ids
        return {i: self.mark(i).phase for i in wanted if i in self.steps}

    def standings(self) -> dict[str, Standing]:
        """Say where every topic stands."""
        phases = self.phases()
        return {
            t.id: standing(t.place, tuple(phases[s.id] for s in self.topic_steps(t.id)))
            for t in self.topics.values()
        }

    def running_session(self) -> SessionRun | None:
        """Return the session that has not ended, or None; the latest if several are open."""
        latest = max(self.open_sessions.items(), key=lambda known: known[1], default=None)
        return None if latest is None else self.sessions[latest[0]]

    def topic_titles(self, topic_ids: Iterable[str]) -> str:
        """Name some topics in one line, those that are gone left out."""
        return ", ".join(self.topics[i].title for i in topic_ids if i in self.topics)

    def topic_date(self, topic_id: str, day: date) -> date | None:
        """Return when a topic must work next, from `day` on.

        That is the nearest performance with it in the programme, or its own date where that is
        nearer. A performance that was told of is over, also on its own day. With nothing ahead it
        is its own date, past or None.
        """
        topic = self.topics.get(topic_id)
        own = topic.performance_on if topic else None
        mine = [p for p in self.performances.values() if topic_id in p.programme]
        stage = [p.on for p in mine if not self.is_over(p, day)]
        played = own == day and any(p.on == day and self.is_over(p, day) for p in mine)
        ahead = [on for on in (own, *stage) if on is not None and on >= day]
        if played:
            return min((on for on in ahead if on > day), default=None)
        return min(ahead, default=own)

    def is_over(self, performance: Performance, day: date) -> bool:
        """Say whether a performance is over on a day: its day is past, or it was told of."""
        if performance.on != day:
            return performance.on < day
        runs = (r for r in self.runs.values() if r.performance_id == performance.id)
        return any(r.kind is RunKind.STAGE and r.told for r in runs)

    def days_until(self, performance: Performance, day: date) -> int:
        """Return how many days after `day` a performance is; less than 0 once it is over."""
        return -1 if self.is_over(performance, day) else (performance.on - day).days

    def keep_past(self, step_id: str, past: StepHistory, why: str) -> None:
        """Put a step's past in place of what it was; `why` must name what made the difference."""
        self.pasts[step_id] = past
        told = f"{self.prints.get(step_id, '')} {why}".encode()
        self.prints[step_id] = blake2b(told, digest_size=8).hexdigest()
        self.marks.pop(step_id, None)

    def keep_work(self, work: Work, why: str) -> None:
        """Add minutes played."""
        past = touching(self.past(work.step_id), work.day)
        past = msgspec.structs.replace(past, works=(*past.works, work))
        told = f"{why} {work.at.isoformat()} {work.day} {work.minutes!r}"
        self.keep_past(work.step_id, past, told)
        self.minutes_on[work.day] = self.minutes_on.get(work.day, 0.0) + work.minutes
        self.minutes_of[work.step_id] = self.minutes_of.get(work.step_id, 0.0) + work.minutes

    def keep_try(self, attempt: Try, why: str) -> None:
        """Add a try, or put it in place of what was known of it."""
        past = touching(self.past(attempt.step_id), attempt.day)
        tries = _with(past.tries, attempt)
        self.try_count += len(tries) - len(past.tries)
        past = msgspec.structs.replace(past, tries=tries)
        told = f"{why} {attempt.at.isoformat()} {attempt.day} {attempt.answer} {attempt.judge}"
        self.keep_past(attempt.step_id, past, f"{told} {attempt.cold}")
        self.homes.add(attempt.id, attempt.step_id)

    def drop_try(self, attempt: Try, why: str) -> None:
        """Take a try away; its day stays touched."""
        past = self.past(attempt.step_id)
        left = tuple(t for t in past.tries if t.id != attempt.id)
        self.try_count -= len(past.tries) - len(left)
        self.keep_past(attempt.step_id, msgspec.structs.replace(past, tries=left), why)

    def drop_run(self, step_id: str, run_id: str, why: str) -> None:
        """Take away what a run said of a step, and its minutes."""
        past = self.past(step_id)
        works = tuple(w for w in past.works if w.run_id != run_id)
        stage = tuple(s for s in past.stage if s.run_id != run_id)
        if len(works) == len(past.works) and len(stage) == len(past.stage):
            return
        for gone in (w for w in past.works if w.run_id == run_id):
            _less(self.minutes_on, gone.day, gone.minutes)
            _less(self.minutes_of, step_id, gone.minutes)
        self.keep_past(step_id, msgspec.structs.replace(past, works=works, stage=stage), why)

    def keep_take(self, take: Take, why: str) -> None:
        """Add a take, or put it in place of what was known of it."""
        past = self.past(take.step_id)
        takes = _with(past.takes, take)
        self.take_count += len(takes) - len(past.takes)
        self.keep_past(take.step_id, msgspec.structs.replace(past, takes=takes), why)
        self.homes.add(take.id, take.step_id)
        if take.verdict is None:
            self.unjudged[take.id] = take.step_id
        else:
            self.unjudged.pop(take.id, None)

    def drop_take(self, take: Take, why: str) -> None:
        """Take a take away: it was deleted, or its sound turned out to be of another step."""
        past = self.past(take.step_id)
        left = tuple(t for t in past.takes if t.id != take.id)
        self.take_count -= len(past.takes) - len(left)
        self.unjudged.pop(take.id, None)
        self.keep_past(take.step_id, msgspec.structs.replace(past, takes=left), why)


def plan_key(day: date, session: int) -> str:
    """Name a session of a day that is not its first."""
    return f"{day.isoformat()}/{session}"


def _less(minutes: dict[Any, float], key: Any, gone: float) -> None:
    """Take minutes away; a day without any is no day played."""
    minutes[key] -= gone
    if minutes[key] < _NO_MINUTES:
        del minutes[key]


def _with(known: tuple[Any, ...], one: Any) -> tuple[Any, ...]:
    """Put one in place of its namesake, or at the end."""
    for place, other in enumerate(known):
        if other.id == one.id:
            return (*known[:place], one, *known[place + 1 :])
    return (*known, one)

"""How the present follows from the log. `fold` of the same events gives the same state.

Events may arrive late (a tablet that was offline), so the fold goes by (instant, id), not by
arrival. Unknown ids are skipped, never an error: the log is what happened.
"""

from collections.abc import Callable, Iterable
from datetime import date, datetime
from hashlib import blake2b
from typing import Any

import msgspec

from coldtake.domain import events as ev
from coldtake.domain import runs as run_events
from coldtake.domain.estimate import SaidDay, SaidOutlook
from coldtake.domain.packed import Packed
from coldtake.domain.past import (
    NOTHING_YET,
    Aside,
    ById,
    Homes,
    Mark,
    Past,
    Pasts,
    Works,
    mark_of,
    touching,
)
from coldtake.domain.performance import Performance, Run
from coldtake.domain.plan import Plan
from coldtake.domain.progress import Standing, standing
from coldtake.domain.session import BreakRun, SessionRun, SlotRun
from coldtake.domain.take import EarlierVerdict, Judge, Take, Try, Work
from coldtake.domain.topic import Place, Step, StepPhase, StoredPassage, Topic

_NO_MINUTES = 1e-6  # what is left of a sum of minutes that were all taken away
# So many of each stay unpacked: what a month touches.
_PASTS_FRESH, _SESSIONS_FRESH, _PLANS_FRESH, _SAID_FRESH = 128, 16, 8, 8


def _field(make: Callable[[], Any]) -> Any:
    return msgspec.field(default_factory=make)


class State(msgspec.Struct, kw_only=True):
    """Everything derived from the log. Read it; change it only through `apply`.

    pasts : what happened to each step, also to those that are gone
    prints : of each past, another one whenever the past is another
    minutes_on, minutes_of : minutes played, by day and by step id
    sessions_on : ids of the sessions of a day, in their order
    open_sessions : when each session began that has not ended
    said : chances said of the cold takes of a day; outlooks : what was said on a day of the dates
    performances_off : those that were taken back; runs : run-throughs and performances as told
    homes, marks : ways to look things up; they add nothing and never make two states differ
    """

    topics: dict[str, Topic] = {}
    steps: dict[str, Step] = {}
    order: dict[str, tuple[str, ...]] = {}
    passages: dict[str, StoredPassage] = {}
    settings: dict[str, str] = {}
    plans: Packed[date, Plan] = _field(lambda: Packed(Plan, _PLANS_FRESH))
    said: Packed[date, SaidDay] = _field(lambda: Packed(SaidDay, _SAID_FRESH))
    outlooks: Packed[date, SaidOutlook] = _field(lambda: Packed(SaidOutlook, _SAID_FRESH))
    sessions: Packed[str, SessionRun] = _field(lambda: Packed(SessionRun, _SESSIONS_FRESH))
    pasts: Pasts = _field(lambda: Packed(Past, _PASTS_FRESH))
    prints: dict[str, str] = {}
    minutes_on: dict[date, float] = {}
    minutes_of: dict[str, float] = {}
    sessions_on: dict[date, tuple[str, ...]] = {}
    open_sessions: dict[str, datetime] = {}
    performances: dict[str, Performance] = {}
    performances_off: dict[str, Performance] = {}
    runs: dict[str, Run] = {}
    try_count: int = 0
    take_count: int = 0
    homes: Homes = _field(Homes)
    marks: Aside = _field(Aside)
    last: tuple[datetime, str] | None = None
    last_day: date | None = None

    def copy(self) -> "State":
        """Return a state that later events do not change: the records themselves are shared."""
        own = {
            name: value.copy()
            for name in self.__struct_fields__
            if isinstance(value := getattr(self, name), (dict, Packed))
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

    def past(self, step_id: str) -> Past:
        """Return what happened to one step so far."""
        return self.pasts.get(step_id, NOTHING_YET)

    def played(self, step_id: str) -> bool:
        """Say whether a step was ever worked on or tried, as far as that still counts."""
        past = self.past(step_id)
        return bool(past.tries or past.works)

    def touched(self, step_id: str, day: date) -> bool:
        """Say whether a step was tried or worked on that day, answers taken back included."""
        return day in self.past(step_id).days

    def touched_since(self, step_id: str, day: date) -> bool:
        """Say whether a step was touched that day or, by a calendar that went back, a later one."""
        days = self.past(step_id).days
        return bool(days) and max(days) >= day

    def topic_steps(self, topic_id: str) -> tuple[Step, ...]:
        """Steps of a topic in the player's order."""
        return tuple(self.steps[i] for i in self.order.get(topic_id, ()) if i in self.steps)

    def step_tries(self, step_id: str) -> tuple[Try, ...]:
        """Tries of one step, oldest first."""
        return self.past(step_id).tries

    def mark(self, step_id: str) -> Mark:
        """Return one step's phase and the days on which it changed."""
        criterion = self.steps[step_id].criterion
        known = self.marks.get(step_id)
        if known is None or known[0] != criterion:
            known = self.marks[step_id] = (criterion, mark_of(criterion, self.past(step_id)))
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
        nearer. With neither ahead it is its own date, past or None.
        """
        topic = self.topics.get(topic_id)
        own = topic.performance_on if topic else None
        stage = [p.on for p in self.performances.values() if topic_id in p.programme]
        ahead = [on for on in (own, *stage) if on is not None and on >= day]
        return min(ahead, default=own)

    def keep_past(self, step_id: str, past: Past, why: str) -> None:
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

    def drop_take(self, take: Take, why: str) -> None:
        """Take a take away: its sound turned out to be of another step."""
        past = self.past(take.step_id)
        left = tuple(t for t in past.takes if t.id != take.id)
        self.take_count -= len(past.takes) - len(left)
        self.keep_past(take.step_id, msgspec.structs.replace(past, takes=left), why)


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


def _topic_kept(state: State, _event: ev.Event, data: ev.TopicKept) -> None:
    known = state.topics.get(data.topic.id)
    place = known.place if known else data.topic.place
    state.topics[data.topic.id] = msgspec.structs.replace(data.topic, place=place)
    state.order.setdefault(data.topic.id, ())


def _topic_placed(state: State, _event: ev.Event, data: ev.TopicPlaced) -> None:
    topic = state.topics.get(data.topic_id)
    if topic:
        state.topics[topic.id] = msgspec.structs.replace(topic, place=Place(data.place))


def _step_kept(state: State, _event: ev.Event, data: ev.StepKept) -> None:
    step = data.step
    state.steps[step.id] = step
    order = state.order.get(step.topic_id, ())
    if step.id not in order:
        state.order[step.topic_id] = (*order, step.id)


def _steps_ordered(state: State, _event: ev.Event, data: ev.StepsOrdered) -> None:
    known = state.order.get(data.topic_id, ())
    named = tuple(dict.fromkeys(i for i in data.step_ids if i in known))
    state.order[data.topic_id] = (*named, *(i for i in known if i not in named))


def _step_dropped(state: State, _event: ev.Event, data: ev.StepDropped) -> None:
    step = state.steps.pop(data.step_id, None)
    if step:
        kept = tuple(i for i in state.order[step.topic_id] if i != step.id)
        state.order[step.topic_id] = kept
    for other in [s for s in state.steps.values() if data.step_id in s.needs]:
        needs = tuple(n for n in other.needs if n != data.step_id)
        state.steps[other.id] = msgspec.structs.replace(other, needs=needs)


def _passage_kept(state: State, _event: ev.Event, data: ev.PassageKept) -> None:
    state.passages[data.passage.id] = data.passage


def _setting_chosen(state: State, _event: ev.Event, data: ev.SettingChosen) -> None:
    state.settings[data.name] = data.value


def _plan_kept(state: State, _event: ev.Event, data: ev.PlanKept) -> None:
    state.plans[data.plan.request.day] = data.plan


def _chances_said(state: State, _event: ev.Event, data: ev.ChancesSaid) -> None:
    """What is said of a step after it was touched that day is no forecast."""
    ahead = {c.step_id: c for c in data.chances if not state.touched(c.step_id, data.for_day)}
    if ahead:
        known = {c.step_id: c for c in state.said.get(data.for_day, SaidDay()).chances}
        state.said[data.for_day] = SaidDay(chances=tuple((known | ahead).values()))


def _outlook_said(state: State, event: ev.Event, data: ev.OutlookSaid) -> None:
    if event.day not in state.outlooks:
        state.outlooks[event.day] = SaidOutlook(topics=data.topics)


def _session(state: State, session_id: str | None) -> SessionRun | None:
    """Return a session to change: a fresh copy in its place, so that copied states keep theirs.

    Its lists are fresh too, the runs in them are shared: put another in a run's place.
    """
    known = state.sessions.get(session_id or "")
    if known is None:
        return None
    fresh = msgspec.structs.replace(
        known,
        intentions=known.intentions.copy(),
        slots=known.slots.copy(),
        breaks=known.breaks.copy(),
        added=known.added.copy(),
        try_ids=known.try_ids.copy(),
    )
    state.sessions[known.id] = fresh
    return fresh


def _session_started(state: State, event: ev.Event, data: ev.SessionStarted) -> None:
    if data.session_id in state.sessions:
        return
    state.sessions[data.session_id] = SessionRun(
        id=data.session_id, plan=data.plan, day=event.day, started_at=event.at
    )
    known = state.sessions_on.get(event.day, ())
    state.sessions_on[event.day] = (*known, data.session_id)
    state.open_sessions[data.session_id] = event.at


def _intention_set(state: State, _event: ev.Event, data: ev.IntentionSet) -> None:
    session = _session(state, data.session_id)
    if session:
        session.intentions[data.slot_id or ""] = data.words


def _slot_started(state: State, event: ev.Event, data: ev.SlotStarted) -> None:
    session = _session(state, data.session_id)
    if session:
        run = SlotRun(
            slot_id=data.slot_id,
            step_id=data.step_id,
            started_at=event.at,
            planned_s=data.planned_s,
        )
        session.slots.append(run)


def _slot_ended(state: State, event: ev.Event, data: ev.SlotEnded) -> None:
    session = _session(state, data.session_id)
    runs = session.slots if session else []
    for place in reversed(range(len(runs))):
        if runs[place].slot_id == data.slot_id and runs[place].ended_at is None:
            runs[place] = msgspec.structs.replace(
                runs[place], ended_at=event.at, played_s=data.played_s, early=data.early
            )
            break
    work = Work(
        step_id=data.step_id,
        at=event.at,
        day=event.day,
        minutes=data.played_s / 60.0,
        session_id=data.session_id,
    )
    state.keep_work(work, event.id)


def _slot_added(state: State, _event: ev.Event, data: ev.SlotAdded) -> None:
    session = _session(state, data.session_id)
    if session:
        session.added.append(data.slot)


def _break_started(state: State, event: ev.Event, data: ev.BreakStarted) -> None:
    session = _session(state, data.session_id)
    if session:
        run = BreakRun(
            after_period=data.after_period, started_at=event.at, planned_s=data.planned_s
        )
        session.breaks.append(run)


def _break_ended(state: State, event: ev.Event, data: ev.BreakEnded) -> None:
    session = _session(state, data.session_id)
    runs = session.breaks if session else []
    for place, run in enumerate(runs):
        if run.after_period == data.after_period and run.ended_at is None:
            runs[place] = msgspec.structs.replace(run, ended_at=event.at)


def _is_cold(state: State, event: ev.Event, data: ev.TryAnswered | ev.TakeRecorded) -> bool:
    """Say whether a try is the first of its step that day, before any work on it.

    Where a later day had been reached already this is not a new one: the calendar went back.
    """
    if state.touched_since(data.step_id, event.day):
        return False
    session = state.sessions.get(data.session_id or "")
    return session is None or not session.worked_before(data.step_id, event.at)


def _try_answered(state: State, event: ev.Event, data: ev.TryAnswered) -> None:
    known = state.tries.get(data.try_id)
    if known:
        state.keep_try(_joined(known, data), event.id)
        return
    attempt = Try(
        id=data.try_id,
        step_id=data.step_id,
        at=event.at,
        day=event.day,
        answer=data.answer,
        judge=data.judge,
        cold=_is_cold(state, event, data),
        session_id=data.session_id,
        slot_id=data.slot_id,
        take_id=data.take_id,
        tempo_bpm=data.tempo_bpm,
    )
    state.keep_try(attempt, event.id)
    session = _session(state, data.session_id)
    if session:
        session.try_ids.append(data.try_id)


def _joined(known: Try, data: ev.TryAnswered) -> Try:
    """Keep both answers to one try; the player's counts."""
    tempo = data.tempo_bpm if data.tempo_bpm is not None else known.tempo_bpm
    if data.judge is Judge.PLAYER:
        heard = known.answer if known.judge is Judge.TOOL else known.heard
        return msgspec.structs.replace(
            known, answer=data.answer, judge=Judge.PLAYER, heard=heard, tempo_bpm=tempo
        )
    if known.judge is Judge.PLAYER:
        return msgspec.structs.replace(known, heard=data.answer, tempo_bpm=tempo)
    return msgspec.structs.replace(known, answer=data.answer, tempo_bpm=tempo)


def _answer_taken_back(state: State, event: ev.Event, data: ev.AnswerTakenBack) -> None:
    gone = state.tries.get(data.try_id)
    if gone is None:
        return
    state.drop_try(gone, event.id)
    session = _session(state, gone.session_id)
    if session and data.try_id in session.try_ids:
        session.try_ids.remove(data.try_id)


def _take_recorded(state: State, event: ev.Event, data: ev.TakeRecorded) -> None:
    known = state.takes.get(data.take_id)
    if known and known.step_id != data.step_id:
        state.drop_take(known, event.id)
    take = Take(
        id=data.take_id,
        step_id=data.step_id,
        at=event.at,
        day=event.day,
        cold=_is_cold(state, event, data),
        duration_s=data.duration_s,
        sample_rate=data.sample_rate,
        sha256=data.sha256,
        session_id=data.session_id,
        slot_id=data.slot_id,
        click_bpm=data.click_bpm,
        click=data.click,
        source=data.source,
    )
    state.keep_take(take, event.id)


def _take_judged(state: State, event: ev.Event, data: ev.TakeJudged) -> None:
    take = state.takes.get(data.take_id)
    if take is None:
        return
    before = take.verdict
    earlier = take.earlier
    if before is not None:
        told = EarlierVerdict(engine=before.engine, answer=before.answer, reason=before.reason)
        earlier = (*earlier, told)
    judged = msgspec.structs.replace(
        take, verdict=data.verdict.said(), earlier=earlier, judged_by=event.id
    )
    state.keep_take(judged, event.id)


def _session_ended(state: State, event: ev.Event, data: ev.SessionEnded) -> None:
    """The first end counts; a later one only brings the note that was written afterwards."""
    session = _session(state, data.session_id)
    if session is None:
        return
    if session.ended_at is None:
        session.ended_at, session.early = event.at, data.early
        state.open_sessions.pop(session.id, None)
    session.note = data.note or session.note


_HANDLERS: dict[type[ev.Data], Callable[[State, ev.Event, Any], None]] = {
    **run_events.HANDLERS,
    ev.TopicKept: _topic_kept,
    ev.TopicPlaced: _topic_placed,
    ev.StepKept: _step_kept,
    ev.StepsOrdered: _steps_ordered,
    ev.StepDropped: _step_dropped,
    ev.PassageKept: _passage_kept,
    ev.SettingChosen: _setting_chosen,
    ev.PlanKept: _plan_kept,
    ev.ChancesSaid: _chances_said,
    ev.OutlookSaid: _outlook_said,
    ev.SessionStarted: _session_started,
    ev.IntentionSet: _intention_set,
    ev.SlotStarted: _slot_started,
    ev.SlotEnded: _slot_ended,
    ev.SlotAdded: _slot_added,
    ev.BreakStarted: _break_started,
    ev.BreakEnded: _break_ended,
    ev.TryAnswered: _try_answered,
    ev.AnswerTakenBack: _answer_taken_back,
    ev.TakeRecorded: _take_recorded,
    ev.TakeJudged: _take_judged,
    ev.SessionEnded: _session_ended,
}


def order_key(event: ev.Event) -> tuple[datetime, str]:
    """Return where an event belongs in the fold: by instant, then by id."""
    return (event.at, event.id)


def apply(state: State, event: ev.Event) -> None:
    """Let one event happen. The caller keeps the order of `order_key`."""
    _HANDLERS[type(event.data)](state, event, event.data)
    state.last, state.last_day = order_key(event), event.day


def fold(events: Iterable[ev.Event]) -> State:
    """Compute the state from a log in any order, repeated deliveries included."""
    state = State()
    unique = {event.id: event for event in events}
    for event in sorted(unique.values(), key=order_key):
        apply(state, event)
    return state

"""How the present follows from the log. `fold` of the same events gives the same state.

Events may arrive late (a tablet that was offline), so the fold goes by (instant, id), not by
arrival. Unknown ids are skipped, never an error: the log is what happened.
"""

from collections.abc import Callable, Iterable
from datetime import date
from typing import Any

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.plan import Plan
from coldtake.domain.progress import Standing, standing, step_phase
from coldtake.domain.session import BreakRun, SessionRun, SlotRun
from coldtake.domain.take import EarlierVerdict, Judge, Take, Try, Work
from coldtake.domain.topic import Place, Step, StepPhase, StoredPassage, Topic


class State(msgspec.Struct, kw_only=True):
    """Everything derived from the log. Read it; change it only through `apply`."""

    topics: dict[str, Topic] = {}
    steps: dict[str, Step] = {}
    order: dict[str, tuple[str, ...]] = {}
    passages: dict[str, StoredPassage] = {}
    settings: dict[str, str] = {}
    plans: dict[date, Plan] = {}
    sessions: dict[str, SessionRun] = {}
    tries: dict[str, Try] = {}
    works: list[Work] = []
    takes: dict[str, Take] = {}
    touched: set[tuple[str, date]] = set()
    last: tuple[Any, str] | None = None

    def copy(self) -> "State":
        """Return a state that later events do not change: the records themselves are shared."""
        return msgspec.structs.replace(
            self,
            topics=self.topics.copy(),
            steps=self.steps.copy(),
            order=self.order.copy(),
            passages=self.passages.copy(),
            settings=self.settings.copy(),
            plans=self.plans.copy(),
            sessions=self.sessions.copy(),
            tries=self.tries.copy(),
            works=self.works.copy(),
            takes=self.takes.copy(),
            touched=self.touched.copy(),
        )

    def topic_steps(self, topic_id: str) -> tuple[Step, ...]:
        """Steps of a topic in the player's order."""
        return tuple(self.steps[i] for i in self.order.get(topic_id, ()) if i in self.steps)

    def step_tries(self, step_id: str) -> tuple[Try, ...]:
        """Tries of one step, oldest first."""
        return tuple(t for t in self.tries.values() if t.step_id == step_id)

    def phase(self, step_id: str) -> StepPhase:
        """Phase of one step now."""
        return self.phases((step_id,))[step_id]

    def phases(self, step_ids: Iterable[str] | None = None) -> dict[str, StepPhase]:
        """Phases of the given steps (default all) in one pass over the log."""
        wanted = set(self.steps if step_ids is None else step_ids)
        grouped: dict[str, list[Try]] = {i: [] for i in wanted}
        for attempt in self.tries.values():
            if attempt.step_id in wanted:
                grouped[attempt.step_id].append(attempt)
        worked = {w.step_id for w in self.works}
        return {
            i: step_phase(self.steps[i].criterion, tuple(grouped[i]), i in worked)
            for i in wanted
            if i in self.steps
        }

    def standings(self) -> dict[str, Standing]:
        """Say where every topic stands."""
        phases = self.phases()
        return {
            t.id: standing(t.place, tuple(phases[s.id] for s in self.topic_steps(t.id)))
            for t in self.topics.values()
        }

    def running_session(self) -> SessionRun | None:
        """Return the session that has not ended, or None; the latest if several are open."""
        open_ones = [s for s in self.sessions.values() if s.ended_at is None]
        return max(open_ones, key=lambda s: s.started_at, default=None)


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


def _session(state: State, session_id: str | None) -> SessionRun | None:
    """Return a session to change: a fresh copy in its place, so that copied states keep theirs."""
    known = state.sessions.get(session_id or "")
    if known is None:
        return None
    fresh = msgspec.structs.replace(
        known,
        intentions=known.intentions.copy(),
        slots=[msgspec.structs.replace(r) for r in known.slots],
        breaks=[msgspec.structs.replace(r) for r in known.breaks],
        added=known.added.copy(),
        try_ids=known.try_ids.copy(),
    )
    state.sessions[known.id] = fresh
    return fresh


def _session_started(state: State, event: ev.Event, data: ev.SessionStarted) -> None:
    if data.session_id not in state.sessions:
        state.sessions[data.session_id] = SessionRun(
            id=data.session_id, plan=data.plan, day=event.day, started_at=event.at
        )


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
    for run in reversed(runs):
        if run.slot_id == data.slot_id and run.ended_at is None:
            run.ended_at, run.played_s, run.early = event.at, data.played_s, data.early
            break
    state.touched.add((data.step_id, event.day))
    work = Work(
        step_id=data.step_id,
        at=event.at,
        day=event.day,
        minutes=data.played_s / 60.0,
        session_id=data.session_id,
    )
    state.works.append(work)


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
    for run in session.breaks if session else []:
        if run.after_period == data.after_period and run.ended_at is None:
            run.ended_at = event.at


def _is_cold(state: State, event: ev.Event, data: ev.TryAnswered | ev.TakeRecorded) -> bool:
    """Say whether a try is the first of its step that day, before any work on it."""
    if (data.step_id, event.day) in state.touched:
        return False
    session = state.sessions.get(data.session_id or "")
    return session is None or not session.worked_before(data.step_id, event.at)


def _try_answered(state: State, event: ev.Event, data: ev.TryAnswered) -> None:
    known = state.tries.get(data.try_id)
    if known:
        state.tries[data.try_id] = _joined(known, data)
        return
    state.tries[data.try_id] = Try(
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
    state.touched.add((data.step_id, event.day))
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


def _answer_taken_back(state: State, _event: ev.Event, data: ev.AnswerTakenBack) -> None:
    gone = state.tries.pop(data.try_id, None)
    session = _session(state, gone.session_id) if gone else None
    if session and data.try_id in session.try_ids:
        session.try_ids.remove(data.try_id)


def _take_recorded(state: State, event: ev.Event, data: ev.TakeRecorded) -> None:
    state.takes[data.take_id] = Take(
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


def _take_judged(state: State, _event: ev.Event, data: ev.TakeJudged) -> None:
    take = state.takes.get(data.take_id)
    if take is None:
        return
    before = take.verdict
    earlier = take.earlier
    if before is not None:
        told = EarlierVerdict(engine=before.engine, answer=before.answer, reason=before.reason)
        earlier = (*earlier, told)
    state.takes[take.id] = msgspec.structs.replace(take, verdict=data.verdict, earlier=earlier)


def _session_ended(state: State, event: ev.Event, data: ev.SessionEnded) -> None:
    """The first end counts; a later one only brings the note that was written afterwards."""
    session = _session(state, data.session_id)
    if session is None:
        return
    if session.ended_at is None:
        session.ended_at, session.early = event.at, data.early
    session.note = data.note or session.note


_HANDLERS: dict[type[ev.Data], Callable[[State, ev.Event, Any], None]] = {
    ev.TopicKept: _topic_kept,
    ev.TopicPlaced: _topic_placed,
    ev.StepKept: _step_kept,
    ev.StepsOrdered: _steps_ordered,
    ev.StepDropped: _step_dropped,
    ev.PassageKept: _passage_kept,
    ev.SettingChosen: _setting_chosen,
    ev.PlanKept: _plan_kept,
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


def order_key(event: ev.Event) -> tuple[Any, str]:
    """Return where an event belongs in the fold: by instant, then by id."""
    return (event.at, event.id)


def apply(state: State, event: ev.Event) -> None:
    """Let one event happen. The caller keeps the order of `order_key`."""
    _HANDLERS[type(event.data)](state, event, event.data)
    state.last = order_key(event)


def fold(events: Iterable[ev.Event]) -> State:
    """Compute the state from a log in any order, repeated deliveries included."""
    state = State()
    unique = {event.id: event for event in events}
    for event in sorted(unique.values(), key=order_key):
        apply(state, event)
    return state

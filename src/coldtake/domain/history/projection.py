"""How the present follows from the log. `fold` of the same events gives the same state.

Events may arrive late (a tablet that was offline), so the fold goes by (instant, id), not by
arrival. Unknown ids are skipped, never an error: the log is what happened.
"""

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.days import date_of_old_start
from coldtake.domain.estimate import ForecastOutlook, SaidDay
from coldtake.domain.history import appointments, deleted_takes, misdated, pages, told_days
from coldtake.domain.history import runs as run_events
from coldtake.domain.history.state import State, plan_key
from coldtake.domain.ids import made_at
from coldtake.domain.session import BreakRun, SessionRun, SlotRun
from coldtake.domain.take import (
    Correction,
    EarlierVerdict,
    FirstTry,
    Judge,
    Take,
    Try,
    Unjudged,
    Work,
)
from coldtake.domain.topic import Place


def _topic_kept(state: State, event: ev.Event, data: ev.TopicKept) -> None:
    state.began = state.began or event.at
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
    state.references.pop(data.step_id, None)
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
    plan, asked = data.plan, data.plan.request
    if asked.starts_on is None:
        turned_at = state.settings.get("day_turns_hour")
        on = date_of_old_start(asked.day, asked.starts_at, turned_at)
        asked = msgspec.structs.replace(asked, starts_on=on)
    kept = msgspec.structs.replace(plan, request=asked)
    if asked.session == 1:
        state.plans[asked.day] = kept
    else:
        state.more_plans[plan_key(asked.day, asked.session)] = kept


def _plan_deleted(state: State, _event: ev.Event, data: ev.PlanDeleted) -> None:
    state.drop_plan(data.for_day, data.session)


def _chances_said(state: State, _event: ev.Event, data: ev.ChancesSaid) -> None:
    """What is said of a step after it was touched that day is no forecast."""
    ahead = {c.step_id: c for c in data.chances if not state.touched(c.step_id, data.for_day)}
    if ahead:
        known = {c.step_id: c for c in state.said.get(data.for_day, SaidDay()).chances}
        state.said[data.for_day] = SaidDay(chances=tuple((known | ahead).values()))


def _outlook_said(state: State, event: ev.Event, data: ev.OutlookSaid) -> None:
    if event.day not in state.outlooks:
        state.outlooks[event.day] = ForecastOutlook(topics=data.topics)


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
    if session and all(slot.id != data.slot.id for slot in session.added):
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


def _try_is_cold(state: State, event: ev.Event, data: ev.TryAnswered) -> bool:
    """Say the same of a try as the player said of its take."""
    take = state.takes.get(data.take_id) if data.take_id else None
    if take is None or take.first_try is None:
        return _is_cold(state, event, data)
    return take.cold


def _try_answered(state: State, event: ev.Event, data: ev.TryAnswered) -> None:
    known = state.tries.get(data.try_id)
    if known:
        state.keep_try(_joined(known, event, data), event.id)
        return
    attempt = Try(
        id=data.try_id,
        step_id=data.step_id,
        at=event.at,
        day=event.day,
        answer=data.answer,
        judge=data.judge,
        cold=_try_is_cold(state, event, data),
        session_id=data.session_id,
        slot_id=data.slot_id,
        take_id=data.take_id,
        tempo_bpm=data.tempo_bpm,
    )
    state.keep_try(attempt, event.id)
    session = _session(state, data.session_id)
    if session:
        session.try_ids.append(data.try_id)


def _joined(known: Try, event: ev.Event, data: ev.TryAnswered) -> Try:
    """Keep both answers to one try; the player's counts, and of two of theirs the later one."""
    tempo = data.tempo_bpm if data.tempo_bpm is not None else known.tempo_bpm
    if data.judge is Judge.PLAYER:
        heard = known.answer if known.judge is Judge.TOOL else known.heard
        corrected = known.corrected
        if known.judge is Judge.PLAYER and known.answer is not data.answer:
            # What is said of a take stands at the take's own instant; the id tells when it was.
            at = (made_at(event.id) or event.at).astimezone(event.at.tzinfo)
            corrected = (*corrected, Correction(was=known.answer, at=max(at, event.at)))
        return msgspec.structs.replace(
            known,
            answer=data.answer,
            judge=Judge.PLAYER,
            heard=heard,
            tempo_bpm=tempo,
            corrected=corrected,
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
    if data.take_id in state.takes_deleted:
        return  # it came once more, from a device that did not know
    known = state.takes.get(data.take_id)
    if known and known.step_id != data.step_id:
        state.drop_take(known, event.id)
    take = Take(
        id=data.take_id,
        step_id=data.step_id,
        at=event.at,
        day=event.day,
        cold=_take_is_cold(state, event, data),
        duration_s=data.duration_s,
        sample_rate=data.sample_rate,
        sha256=data.sha256,
        session_id=data.session_id,
        slot_id=data.slot_id,
        click_bpm=data.click_bpm,
        click=data.click,
        source=data.source,
        first_try=data.first_try,
        to_judge=data.to_judge,
    )
    state.keep_take(take, event.id)


def _take_is_cold(state: State, event: ev.Event, data: ev.TakeRecorded) -> bool:
    if data.first_try is None:
        return _is_cold(state, event, data)
    return data.first_try is FirstTry.YES


def _first_try_said(state: State, event: ev.Event, data: ev.FirstTrySaid) -> None:
    take, cold = state.takes.get(data.take_id), data.first_try is FirstTry.YES
    if take is None:
        return
    told = msgspec.structs.replace(take, first_try=data.first_try, cold=cold)
    state.keep_take(told, event.id)
    attempt = state.tries.get(data.take_id)
    if attempt:
        state.keep_try(msgspec.structs.replace(attempt, cold=cold), event.id)


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
        take, verdict=data.verdict.said(), earlier=earlier, judged_by=event.id, failed=None
    )
    state.keep_take(judged, event.id)


def _reference_chosen(state: State, _event: ev.Event, data: ev.ReferenceChosen) -> None:
    if data.take_id is None:
        state.references.pop(data.step_id, None)
    elif data.step_id in state.steps:
        state.references[data.step_id] = data.take_id


def _judging_failed(state: State, event: ev.Event, data: ev.JudgingFailed) -> None:
    take = state.takes.get(data.take_id)
    if take is None:
        return
    before = take.failed
    times = before.times + 1 if before is not None and before.engine == data.engine else 1
    failed = Unjudged(engine=data.engine, why=data.why, at=event.at, times=times)
    state.keep_take(msgspec.structs.replace(take, failed=failed), event.id)


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
    **appointments.HANDLERS,
    **told_days.HANDLERS,
    **pages.HANDLERS,
    **misdated.HANDLERS,
    **deleted_takes.HANDLERS,
    ev.TopicKept: _topic_kept,
    ev.TopicPlaced: _topic_placed,
    ev.StepKept: _step_kept,
    ev.StepsOrdered: _steps_ordered,
    ev.StepDropped: _step_dropped,
    ev.PassageKept: _passage_kept,
    ev.SettingChosen: _setting_chosen,
    ev.PlanKept: _plan_kept,
    ev.PlanDeleted: _plan_deleted,
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
    ev.FirstTrySaid: _first_try_said,
    ev.TakeJudged: _take_judged,
    ev.ReferenceChosen: _reference_chosen,
    ev.JudgingFailed: _judging_failed,
    ev.SessionEnded: _session_ended,
}


# What is written down without the player doing anything, or only closes what they did before.
_NO_ACTS = (
    ev.TakeJudged,
    ev.JudgingFailed,
    ev.TakeDeleted,
    ev.AnswerTakenBack,
    ev.SessionEnded,
    ev.ChancesSaid,
    ev.OutlookSaid,
    ev.EntryMisdated,
    ev.MisdatedSettled,
)


def is_act(data: ev.AnyData) -> bool:
    """Say whether the player did this: it shows that their evening goes on."""
    by_tool = isinstance(data, ev.TryAnswered) and data.judge is Judge.TOOL
    return not by_tool and not isinstance(data, _NO_ACTS)


def order_key(event: ev.Event) -> tuple[datetime, str]:
    """Return where an event belongs in the fold: by instant, then by id."""
    return (event.at, event.id)


def apply(state: State, event: ev.Event) -> None:
    """Let one event happen, if it counts. The caller keeps the order of `order_key`."""
    if not misdated.counts(state, event):
        return
    _HANDLERS[type(event.data)](state, event, event.data)
    if is_act(event.data):
        state.acted[event.day] = event.at
    state.last, state.last_day = order_key(event), event.day


def fold(events: Iterable[ev.Event]) -> State:
    """Compute the state from a log in any order, repeated deliveries included."""
    state = State()
    unique = {event.id: event for event in events}
    for event in sorted(unique.values(), key=order_key):
        apply(state, event)
    return state

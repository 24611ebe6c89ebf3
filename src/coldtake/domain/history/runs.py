"""How performances, run-throughs and what they brought change the state."""

from collections.abc import Callable
from typing import Any

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.history.state import State
from coldtake.domain.history.step_history import touching
from coldtake.domain.performance import Run, RunKind, RunPart, StageTry, step_said
from coldtake.domain.take import Work


def _performance_kept(state: State, _event: ev.Event, data: ev.PerformanceKept) -> None:
    state.performances[data.performance.id] = data.performance
    state.performances_off.pop(data.performance.id, None)


def _performance_taken_back(state: State, _event: ev.Event, data: ev.PerformanceTakenBack) -> None:
    gone = state.performances.pop(data.performance_id, None)
    if gone:
        state.performances_off[gone.id] = gone


def _run_begun(state: State, event: ev.Event, data: ev.RunBegun) -> None:
    if data.run_id in state.runs:
        return
    state.runs[data.run_id] = Run(
        id=data.run_id,
        kind=RunKind.RUN_THROUGH,
        at=event.at,
        day=event.day,
        topic_ids=data.topic_ids,
        performance_id=data.performance_id,
        intention=data.intention,
    )


def _run_told(state: State, event: ev.Event, data: ev.RunTold) -> None:
    """Put what a run brought in place of what was known of it.

    A performance is played once: another telling of it, under whatever id, replaces the first.
    """
    known = state.runs.get(data.run_id)
    for run in [r for r in state.runs.values() if _is_same(r, data)]:
        _forget(state, run, event.id)
    steps = {part.topic_id: _steps_of(state, part) for part in data.parts}
    run = state.runs[data.run_id] = Run(
        id=data.run_id,
        kind=data.run_kind,
        at=known.at if known else event.at,
        day=known.day if known else event.day,
        topic_ids=known.topic_ids if known else tuple(p.topic_id for p in data.parts),
        performance_id=data.performance_id,
        intention=known.intention if known else "",
        parts=data.parts,
        minutes=data.played_s / 60.0,
        words=data.words,
        step_ids=tuple(i for own in steps.values() for i in own),
    )
    for part in run.parts:
        for step_id in steps[part.topic_id]:
            _remember(state, run, part, step_id, len(steps[part.topic_id]), event.id)


def _is_same(run: Run, data: ev.RunTold) -> bool:
    if run.id == data.run_id:
        return True
    stage = run.kind is RunKind.STAGE and data.run_kind is RunKind.STAGE
    return stage and data.performance_id is not None and run.performance_id == data.performance_id


def _run_taken_back(state: State, event: ev.Event, data: ev.RunTakenBack) -> None:
    run = state.runs.get(data.run_id)
    if run:
        _forget(state, run, event.id)


def _steps_of(state: State, part: RunPart) -> list[str]:
    """Steps that a run of a piece went through: those ever played, all while none was."""
    own = [step.id for step in state.topic_steps(part.topic_id)]
    return [i for i in own if state.played(i)] or own


def _remember(
    state: State, run: Run, part: RunPart, step_id: str, shared_by: int, why: str
) -> None:
    """Tell one step what the run said of it, and its share of the minutes."""
    clean = step_said(part, step_id)
    past = touching(state.past(step_id), run.day)
    if clean is not None:
        said = StageTry(run_id=run.id, kind=run.kind, at=run.at, day=run.day, clean=clean)
        past = msgspec.structs.replace(past, stage=(*past.stage, said))
    state.keep_past(step_id, past, f"{why} {run.day} {run.at.isoformat()} {clean}")
    minutes = run.minutes / len(run.parts) / shared_by
    if minutes > 0.0:
        work = Work(step_id=step_id, at=run.at, day=run.day, minutes=minutes, run_id=run.id)
        state.keep_work(work, why)


def _forget(state: State, run: Run, why: str) -> None:
    """Take a run away; the days on which its steps were touched stay, as after any try."""
    del state.runs[run.id]
    for step_id in run.step_ids:
        state.drop_run(step_id, run.id, why)


HANDLERS: dict[type[ev.Data], Callable[[State, ev.Event, Any], None]] = {
    ev.PerformanceKept: _performance_kept,
    ev.PerformanceTakenBack: _performance_taken_back,
    ev.RunBegun: _run_begun,
    ev.RunTold: _run_told,
    ev.RunTakenBack: _run_taken_back,
}

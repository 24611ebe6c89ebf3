"""The log as tables for a spreadsheet (CSV, RFC 4180; UTF-8).

Text that a spreadsheet would take for a formula gets an apostrophe in front (OWASP, "CSV
Injection", owasp.org/www-community/attacks/CSV_Injection).
"""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from coldtake.domain.criterion_words import question
from coldtake.domain.history.state import State

# The wide forms count too: programs for Japanese read them as the narrow ones.
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def tables_of(state: State) -> Mapping[str, str]:
    """Return each table's name and its CSV text."""
    return {
        "topics": _csv(_TOPICS, _topics(state)),
        "steps": _csv(_STEPS, _steps(state)),
        "tries": _csv(_TRIES, _tries(state)),
        "takes": _csv(_TAKES, _takes(state)),
        "sessions": _csv(_SESSIONS, _sessions(state)),
        "work": _csv(_WORK, _work(state)),
        "performances": _csv(_PERFORMANCES, _performances(state)),
        "runs": _csv(_RUNS, _runs(state)),
    }


_TOPICS = ("id", "title", "standing", "kind", "importance", "performance_on", "notes")
_STEPS = ("id", "topic", "title", "phase", "question", "need_min", "tempo_bpm", "key")
_TRIES = ("id", "step", "at", "day", "answer", "judge", "heard", "cold", "tempo_bpm", "take_id")
_TAKES = ("id", "step", "at", "day", "cold", "duration_s", "verdict", "reason", "sha256")
_SESSIONS = ("id", "day", "started_at", "ended_at", "early", "played_min", "note")
_WORK = ("step", "at", "day", "minutes", "session_id", "run_id")
_PERFORMANCES = ("id", "title", "on", "place", "order", "topic")
_RUNS = ("id", "kind", "performance", "at", "day", "topic", "answer", "broke", "words", "minutes")


def _topics(state: State) -> Iterable[Sequence[Any]]:
    standings = state.standings()
    for t in state.topics.values():
        yield t.id, t.title, standings[t.id], t.kind, t.importance, t.performance_on, t.notes


def _steps(state: State) -> Iterable[Sequence[Any]]:
    phases = state.phases()
    for topic in state.topics.values():
        for s in state.topic_steps(topic.id):
            asked = question(s.criterion)
            played = s.exercise
            phase = phases[s.id]
            yield (
                *(s.id, topic.title, s.title, phase, asked, s.need_min),
                played.tempo_bpm,
                played.key,
            )


def _tries(state: State) -> Iterable[Sequence[Any]]:
    for t in state.tries.values():
        step = _title(state, t.step_id)
        yield (
            *(t.id, step, t.at.isoformat(), t.day, t.answer, t.judge, t.heard),
            *(t.cold, t.tempo_bpm, t.take_id),
        )


def _takes(state: State) -> Iterable[Sequence[Any]]:
    for t in state.takes.values():
        answer = t.verdict.answer if t.verdict else None
        reason = t.verdict.reason if t.verdict else None
        step = _title(state, t.step_id)
        yield (
            *(t.id, step, t.at.isoformat(), t.day, t.cold, t.duration_s, answer),
            *(reason, t.sha256),
        )


def _sessions(state: State) -> Iterable[Sequence[Any]]:
    for s in state.sessions.values():
        ended = s.ended_at.isoformat() if s.ended_at else None
        minutes = round(s.played_s / 60.0, 1)
        yield s.id, s.day, s.started_at.isoformat(), ended, s.early, minutes, s.note


def _work(state: State) -> Iterable[Sequence[Any]]:
    for w in state.works:
        minutes = round(w.minutes, 2)
        yield (
            *(_title(state, w.step_id), w.at.isoformat(), w.day, minutes),
            *(w.session_id, w.run_id),
        )


def _performances(state: State) -> Iterable[Sequence[Any]]:
    """Give a row for each piece of each programme, and one for a programme without any."""
    for p in state.performances.values():
        for place, topic_id in enumerate(p.programme or ("",), start=1):
            yield p.id, p.title, p.on, p.place, place, _topic(state, topic_id)


def _runs(state: State) -> Iterable[Sequence[Any]]:
    for run in state.runs.values():
        performance = state.performances.get(run.performance_id or "")
        for part in run.parts:
            broke = ", ".join(_title(state, step_id) for step_id in part.broke)
            yield (
                *(run.id, run.kind, performance.title if performance else run.performance_id),
                *(run.at.isoformat(), run.day, _topic(state, part.topic_id), part.answer),
                *(broke, part.words, round(run.minutes, 2)),
            )


def _topic(state: State, topic_id: str) -> str:
    topic = state.topics.get(topic_id)
    return topic.title if topic else topic_id


def _title(state: State, step_id: str) -> str:
    step = state.steps.get(step_id)
    return step.title if step else step_id


def _csv(names: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(names)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return text.getvalue()


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return value
    text = str(value)
    return f"'{text}" if text.startswith(_FORMULA_SIGNS) else text

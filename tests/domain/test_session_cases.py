"""A session as it follows from its events, by cases that the page is tested with as well."""

import json
import random
from datetime import UTC, date, datetime
from pathlib import Path

import msgspec
import pytest

from coldtake.domain import events as ev
from coldtake.domain.history.projection import fold
from making import plan, slot, step

FILE = Path(__file__).parents[1] / "cases" / "sessions.json"
CASES = json.loads(FILE.read_text(encoding="utf-8"))
DAY = "2026-11-26"
PLAN = [["A", "B", "C"], ["D", "E"]]


def instant(text):
    return datetime.fromisoformat(text if "T" in text else f"{DAY}T{text}+00:00")


def slot_named(name):
    return msgspec.structs.replace(slot(step(f"step {name}")), id=name)


def plan_of(names):
    periods = [tuple(slot_named(name) for name in period) for period in names]
    return msgspec.to_builtins(plan(*periods))


def event_of(case, number, at, kind, said, name=""):
    data = {"kind": kind, "session_id": "s", **said}
    if kind == "answer_taken_back":
        del data["session_id"]
    if kind == "session_started":
        data["plan"] = plan_of(said.get("plan", case.get("plan", PLAN)))
    if kind == "slot_added":
        data["slot"] = msgspec.to_builtins(slot_named(said["slot"]))
    if kind in ("slot_started", "slot_ended", "try_answered"):
        data["step_id"] = f"step {said['slot_id']}"
    if kind == "try_answered":
        data.setdefault("judge", "player")
    event = {"id": name or f"e{number:03}", "at": instant(at).isoformat(), "data": data}
    return msgspec.convert({**event, "day": case.get("day", DAY)}, ev.Event)


def events_of(case):
    return [event_of(case, n, *one) for n, one in enumerate(case["events"])]


def seen(at):
    return at and at.astimezone(UTC)


def expected(case):
    want = {"intentions": {}, "added": [], "breaks": [], "ended": None, "early": False, "note": ""}
    want |= case["session"]
    want["day"] = date.fromisoformat(case.get("day", DAY))
    want["ended"] = want["ended"] and instant(want["ended"])
    want["runs"] = [[a, instant(b), c, d, e and instant(e), f] for a, b, c, d, e, f in want["runs"]]
    want["breaks"] = [[a, instant(b), c and instant(c)] for a, b, c in want["breaks"]]
    return want


def told(state):
    run = state.sessions["s"]
    tries = [state.tries[i] for i in run.try_ids]
    return {
        "day": run.day,
        "intentions": run.intentions,
        "added": [s.id for s in run.added],
        "runs": [
            [r.slot_id, seen(r.started_at), r.planned_s, r.played_s, seen(r.ended_at), r.early]
            for r in run.slots
        ],
        "breaks": [[b.after_period, seen(b.started_at), seen(b.ended_at)] for b in run.breaks],
        "tries": [[t.id, t.answer.value, t.judge.value, t.heard and t.heard.value] for t in tries],
        "ended": seen(run.ended_at),
        "early": run.early,
        "note": run.note,
    }


@pytest.mark.parametrize("case", CASES, ids=[c["name"] for c in CASES])
def test_a_session_follows_from_its_events(case):
    events = events_of(case)
    assert told(fold(events)) == expected(case)
    mixed = events * 2
    random.Random(1).shuffle(mixed)
    assert told(fold(mixed)) == expected(case)

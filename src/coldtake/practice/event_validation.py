"""What may come in from a session page, and what makes an arriving event unfit.

An event whose instant or day cannot be is not unfit: it waits for its day (`domain.instants`).
"""

import math
import re
from types import NoneType
from typing import Any

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.instants import END, FIRST
from coldtake.domain.take import Judge
from coldtake.subprocesses import sent_json

FROM_OUTSIDE = (
    ev.SessionStarted,
    ev.IntentionSet,
    ev.SlotStarted,
    ev.SlotEnded,
    ev.SlotAdded,
    ev.BreakStarted,
    ev.BreakEnded,
    ev.TryAnswered,
    ev.AnswerTakenBack,
    ev.SessionEnded,
)
WORDS_MOST = 4000
SECONDS_MOST = 24 * 3600.0
NUMBER_MOST = 1e9
_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def read(raw: bytes | ev.Event) -> ev.Event:
    """Return a fit event. Raises ValueError (msgspec's included) saying why it is unfit."""
    event = ev.from_json(raw) if isinstance(raw, bytes) else raw
    why = fault_of(event)
    if why:
        raise ValueError(why)
    return event


def fault_of(event: ev.Event) -> str:
    """Say why an event from a session page cannot be kept; empty when it can."""
    if not _ID.fullmatch(event.id):
        return f"its id “{event.id[:60]}” is not a UUID in small letters"
    if not isinstance(event.data, FROM_OUTSIDE):
        return f"“{event.data.__struct_config__.tag}” does not come from a session page"
    if event.at.tzinfo is None:
        return "its instant has no zone"
    return _data_fault(event.data) or _number_fault(msgspec.to_builtins(event.data))


def _number_fault(value: Any) -> str:
    """Say which number cannot be written down, or reckoned with, without overflowing."""
    if isinstance(value, (int, float)) and not abs(value) <= NUMBER_MOST:
        return f"{str(value)[:20]} is beyond any number of practice"  # too long to format as one
    inner = value.values() if isinstance(value, dict) else value
    if isinstance(inner, (str, int, float, NoneType)):
        return ""
    return next((fault for one in inner if (fault := _number_fault(one))), "")


def _data_fault(data: ev.AnyData) -> str:
    if isinstance(data, ev.TryAnswered) and data.judge is not Judge.PLAYER:
        return "only the player answers on a session page"
    for field in ("planned_s", "played_s"):
        seconds = getattr(data, field, 0.0)
        if not (math.isfinite(seconds) and 0.0 <= seconds <= SECONDS_MOST):
            return f"{field} is {seconds:g} seconds"
    if (
        isinstance(data, ev.SessionStarted)
        and not FIRST.date() <= data.plan.request.day < END.date()
    ):
        return f"its plan is for {data.plan.request.day.isoformat()}"
    words = getattr(data, "words", "") + getattr(data, "note", "")
    return f"its text has more than {WORDS_MOST} characters" if len(words) > WORDS_MOST else ""


def id_in(raw: bytes | ev.Event) -> str:
    """Find the id of what was sent, as far as it has one."""
    if isinstance(raw, ev.Event):
        return raw.id
    try:
        sent = sent_json.read(raw)
    except ValueError:
        return ""
    found = sent.get("id") if isinstance(sent, dict) else None
    return found if isinstance(found, str) else ""

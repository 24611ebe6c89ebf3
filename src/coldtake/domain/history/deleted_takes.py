"""Takes that were deleted for good: what their entries still say, and what follows from it.

Entries are never taken out of the log, so those of a deleted take are emptied in their places: that
there was a take, of which step and when. Its answers stay: a try was a yes or a no, whatever became
of the recording. So the state of an emptied log is that of the whole one with the take deleted.
"""

from collections.abc import Callable, Collection
from typing import Any

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.history.state import State
from coldtake.domain.history.step_history import touching
from coldtake.domain.take import Answer, JudgingFault, Verdict

DELETED = "deleted"  # stands as the source of an emptied recording and the engine of its verdicts
# The kinds of entries that hold something of a take besides its answer.
HOLDING = tuple(
    str(kind.__struct_config__.tag)
    for kind in (ev.TakeRecorded, ev.TakeJudged, ev.JudgingFailed, ev.EntryMisdated)
)
_NOTHING = Verdict(
    answer=Answer.CANNOT_TELL, reason="", tempo_bpm=None, tests=(), notes=(), engine=DELETED
)


def take_in(data: ev.AnyData) -> str:
    """Return the id of the take of which an entry holds something, in small letters; else ""."""
    if isinstance(data, ev.EntryMisdated):
        data = data.event.data
    if isinstance(data, ev.TakeRecorded | ev.TakeJudged | ev.JudgingFailed):
        return data.take_id.lower()
    return ""


def is_emptied(event: ev.Event) -> bool:
    """Say whether an entry holds nothing any more of the take that it speaks of."""
    return bool(take_in(event.data)) and emptied(event) == event


def emptied(event: ev.Event) -> ev.Event:
    """Return an entry without what it says of a take; another one as it is."""
    return msgspec.structs.replace(event, data=_emptied(event.data))


def to_empty(event: ev.Event, take_ids: Collection[str]) -> bool:
    """Say whether an entry still holds something of one of these takes (ids in small letters)."""
    return take_in(event.data) in take_ids and not is_emptied(event)


def _emptied(data: ev.AnyData) -> ev.AnyData:
    match data:
        case ev.TakeRecorded():
            return msgspec.structs.replace(
                data,
                duration_s=0.0,
                sample_rate=0,
                sha256="",
                click_bpm=None,
                click=None,
                source=DELETED,
            )
        case ev.TakeJudged():
            return msgspec.structs.replace(data, verdict=_NOTHING)
        case ev.JudgingFailed():
            return msgspec.structs.replace(data, engine=DELETED, why=JudgingFault.FAULT)
        case ev.EntryMisdated():
            return msgspec.structs.replace(data, event=emptied(data.event))
    return data


def _take_deleted(state: State, event: ev.Event, data: ev.TakeDeleted) -> None:
    known = state.takes.get(data.take_id)
    state.takes_deleted[data.take_id] = data
    if known is None:
        return
    state.drop_take(known, event.id)
    if state.references.get(known.step_id) == known.id:
        del state.references[known.step_id]
    if known.cold:  # the first try of that day was had
        past = touching(state.past(known.step_id), known.day)
        state.keep_past(known.step_id, past, event.id)


HANDLERS: dict[type[ev.Data], Callable[[State, ev.Event, Any], None]] = {
    ev.TakeDeleted: _take_deleted,
}

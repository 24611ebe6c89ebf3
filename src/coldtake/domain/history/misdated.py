"""Entries with an impossible instant or day: kept whole, counted once they have a day.

The entry as it came is inside another one that says when it arrived. When it is given its day, it
follows once more under a name of its own, and the log passes over the first from then on.
"""

from collections.abc import Callable
from typing import Any

from coldtake.domain import events as ev
from coldtake.domain.history.state import State
from coldtake.domain.ids import named_id
from coldtake.domain.instants import END, FIRST, possible


def waiting_id(event_id: str, *, in_log: bool) -> str:
    """Return the id of the entry in which another one waits: its own, unless that is taken.

    So what was acknowledged is found in the log under its id, and arriving twice is once.
    """
    return named_id("misdated", event_id) if in_log else event_id


def dated_id(event_id: str) -> str:
    """Return the id under which a misdated entry follows once it has its day."""
    return named_id("dated", event_id)


def counts(state: State, event: ev.Event) -> bool:
    """Say whether an entry counts as it stands."""
    can_be = possible(event.at) and FIRST.date() <= event.day < END.date()
    waits = isinstance(event.data, ev.EntryMisdated)
    return can_be and (waits or event.id not in state.passed_over)


def recorded_in(data: ev.AnyData) -> ev.TakeRecorded | None:
    """Return the recording that an entry speaks of, also one that waits inside it.

    One that was deleted for good is none.
    """
    if isinstance(data, ev.EntryMisdated):
        data = data.event.data
    return data if isinstance(data, ev.TakeRecorded) and data.sha256 else None


def kept_file_in(data: ev.AnyData) -> tuple[str, str] | None:
    """Return id and checksum of the file that an entry speaks of: a take's sound, or pages."""
    if isinstance(data, ev.PageFileKept):
        return data.file.id.lower(), data.file.sha256
    recorded = recorded_in(data)
    return None if recorded is None else (recorded.take_id.lower(), recorded.sha256)


def _misdated(state: State, _event: ev.Event, data: ev.EntryMisdated) -> None:
    if data.event.id not in state.passed_over:
        state.passed_over[data.event.id] = False
        state.misdated[data.event.id] = data


def _settled(state: State, _event: ev.Event, data: ev.MisdatedSettled) -> None:
    for event_id in data.event_ids:
        state.passed_over[event_id] = True
        state.misdated.pop(event_id, None)


HANDLERS: dict[type[ev.Data], Callable[[State, ev.Event, Any], None]] = {
    ev.EntryMisdated: _misdated,
    ev.MisdatedSettled: _settled,
}

"""A session's events, read from the end of the log: a running session is recent."""

from collections.abc import Iterator

from coldtake.domain import events as ev
from coldtake.domain.history.deleted_takes import is_emptied
from coldtake.domain.instants import possible
from coldtake.ports import Store

_LOOK_BACK = 512  # entries


def session_events(store: Store, session_id: str) -> list[ev.Event]:
    """Return a session's events, in order of arrival."""
    last, span = store.last_sequence(), _LOOK_BACK
    while True:
        events = list(_of_session(store, session_id, max(0, last - span)))
        begun = any(isinstance(e.data, ev.SessionStarted) for e in events)
        if begun or span >= last:
            return events
        span *= 4


def _of_session(store: Store, session_id: str, after: int) -> Iterator[ev.Event]:
    tries: set[str] = set()
    for _, event in store.events(after=after):
        if not possible(event.at):
            continue
        match event.data:
            case _ if is_emptied(event):
                continue
            case ev.TakeRecorded(session_id=of, take_id=one) if of == session_id:
                tries.add(one)
            case ev.TryAnswered(session_id=of, try_id=one) if of == session_id:
                tries.add(one)
                yield event
            case ev.AnswerTakenBack(try_id=one) | ev.TakeJudged(take_id=one):
                if one in tries:
                    yield event
            case data if getattr(data, "session_id", None) == session_id:
                yield event


def session_news(store: Store, session_id: str, after: int) -> tuple[int, list[ev.Event]]:
    """Return how far the log goes, and a session's events from after a sequence number on.

    Verdicts and answers taken back name no session: they come along, whosever they are.
    """
    last, found = after, []
    for sequence, event in store.events(after=after) if session_id else ():
        last = sequence
        if not possible(event.at):
            continue
        match event.data:
            case _ if is_emptied(event):
                continue
            case ev.AnswerTakenBack() | ev.TakeJudged():
                found.append(event)
            case data if getattr(data, "session_id", None) == session_id:
                found.append(event)
    return last, found

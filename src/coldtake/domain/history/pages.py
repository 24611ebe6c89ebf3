"""Pages of a topic, as they follow from the log."""

from collections.abc import Callable
from typing import Any

from coldtake.domain import events as ev
from coldtake.domain.history.state import State
from coldtake.domain.page import PageFile, page_key


def files_of(state: State, topic_id: str) -> tuple[PageFile, ...]:
    """Return the files of a topic's pages in the order in which they came."""
    files = state.page_files.values()
    return tuple(f for f in files if f.topic_id == topic_id and not f.deleted)


def _file_kept(state: State, _event: ev.Event, data: ev.PageFileKept) -> None:
    state.page_files[data.file.id] = data.file
    for view in data.views:
        state.page_views.setdefault(view.key, view)


def _view_chosen(state: State, _event: ev.Event, data: ev.PageViewChosen) -> None:
    state.page_views[data.view.key] = data.view


def _pencil_kept(state: State, _event: ev.Event, data: ev.PencilKept) -> None:
    state.pencil[page_key(data.file_id, data.number)] = data.strokes


HANDLERS: dict[type[ev.Data], Callable[[State, ev.Event, Any], None]] = {
    ev.PageFileKept: _file_kept,
    ev.PageViewChosen: _view_chosen,
    ev.PencilKept: _pencil_kept,
}

"""Pages of a topic: files of paper as they came, how they are shown, marked stretches, pencil.

A file is on disk before the log speaks of it. What cannot be opened is refused before anything is
kept. A step played from a marked stretch has no notes that a take could be judged against.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import msgspec

from coldtake.domain.events import AnyData, PageFileKept, PageViewChosen, PencilKept, StepKept
from coldtake.domain.history.pages import files_of
from coldtake.domain.history.state import State
from coldtake.domain.page import PageBand, PageFile, PageView, Strokes, page_key
from coldtake.domain.topic import MARKED_MOST, Exercise, Step
from coldtake.errors import RuleError
from coldtake.ports import Cancelled, Progress, TakeFiles
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log
from coldtake.practice.topics import rules
from coldtake.practice.validation import TITLE_MOST, title_of, whole

if TYPE_CHECKING:
    from coldtake.music.print.records import PageMeasure
    from coldtake.music.print.worker_client import Picture

FILES_MOST = 40  # at once
PAGES_MOST = 60  # of one file: each takes a second to measure
_LEAST_HEIGHT = 0.01  # of a marked stretch, as a share of the page


@dataclass(frozen=True, slots=True)
class TopicPage:
    """One page as a topic lists it. strokes : the pencil marks on it."""

    file: PageFile
    view: PageView
    strokes: Strokes


@dataclass(frozen=True, slots=True)
class Mark:
    """One end of a stretch: a page of a topic, from 1 in the topic's order, and a height on it."""

    page: int
    height: float


class Pages:
    """Use cases of a topic's pages."""

    def __init__(self, log: Log, files: TakeFiles) -> None:
        self._log = log
        self._files = files

    @needs(Action.CHANGE_TOPICS)
    def keep(
        self, topic_id: str, files: Sequence[tuple[str, bytes]], progress: Progress | None = None
    ) -> tuple[PageFile, ...]:
        """Keep files of pages, each as (name, bytes): all of them, or on any fault none.

        Raises NotFoundError, RuleError, PassageError, StoreError, Cancelled.
        """
        lookup.topic(self._log.state(), topic_id)
        if len(files) > FILES_MOST:
            raise RuleError(f"{len(files)} files at once. At most {FILES_MOST} are allowed.")
        found = [self._measured(topic_id, name, data, progress) for name, data in files]
        for kept, (_, data) in zip(found, files, strict=True):
            self._files.keep(kept.file.id, data)
        with self._log.deciding() as state:
            lookup.topic(state, topic_id)
            self._log.append(*found)
        return tuple(kept.file for kept in found)

    @needs(Action.CHANGE_TOPICS)
    def count(self, files: Sequence[tuple[str, bytes]]) -> int:
        """Count the pages of files that can be opened. Raises PassageError for one that cannot."""
        from coldtake.music.print.worker_client import count_pages

        return sum(count_pages(data, name) for name, data in files)

    def _measured(
        self, topic_id: str, name: str, data: bytes, progress: Progress | None
    ) -> PageFileKept:
        from hashlib import sha256

        from coldtake.music.print.worker_client import measure_page

        shown = title_of(name.rpartition("/")[2][-TITLE_MOST:] or "page")
        first = measure_page(data, 1, shown)
        if first.pages > PAGES_MOST:
            raise RuleError(
                f"This file has {first.pages} pages. At most {PAGES_MOST} are allowed.",
                where=shown,
                remedy="Use only the pages that you need.",
            )
        file = PageFile(
            id=self._log.new_id(),
            topic_id=topic_id,
            name=shown,
            sha256=sha256(data).hexdigest(),
            pages=first.pages,
        )
        views = [_view(file.id, 1, first)]
        for number in range(2, first.pages + 1):
            if progress and not progress.step(number - 1, first.pages, shown):
                raise Cancelled
            views.append(_view(file.id, number, measure_page(data, number, shown)))
        return PageFileKept(file=file, views=tuple(views))

    @needs(Action.SEE)
    def of_topic(self, topic_id: str) -> tuple[TopicPage, ...]:
        """Return the pages of a topic in their order. Raises NotFoundError."""
        state = self._log.state()
        lookup.topic(state, topic_id)
        return _pages(state, topic_id)

    @needs(Action.SEE)
    def page(self, file_id: str, number: int) -> TopicPage:
        """Return one page. Raises NotFoundError."""
        state = self._log.state()
        view = lookup.page_view(state, file_id, number)
        return TopicPage(lookup.page_file(state, file_id), view, state.pencil.get(view.key, ()))

    @needs(Action.SEE)
    def original(self, file_id: str) -> bytes:
        """Return a file byte for byte as it came. Raises NotFoundError."""
        lookup.page_file(self._log.state(), file_id)
        return self._files.path(file_id).read_bytes()

    @needs(Action.SEE)
    def picture(self, file_id: str, number: int) -> "Picture":
        """Draw a page as it is shown. Raises NotFoundError, PassageError."""
        view = lookup.page_view(self._log.state(), file_id, number)
        [picture] = self.pictures([view.band(view.top, view.bottom)])
        return picture

    @needs(Action.SEE)
    def pictures(self, bands: Sequence[PageBand]) -> "tuple[Picture, ...]":
        """Draw bands; those of one page together. Raises NotFoundError, PassageError."""
        from coldtake.music.print.worker_client import draw_page

        pages: dict[tuple[str, int, int, float], list[int]] = {}
        for place, band in enumerate(bands):
            key = (band.file_id, band.number, band.turn, band.angle_deg)
            pages.setdefault(key, []).append(place)
        found: dict[int, Picture] = {}
        for (file_id, number, turn, angle), places in pages.items():
            boxes = [(b.left, b.top, b.right, b.bottom) for b in (bands[i] for i in places)]
            drawn = draw_page(self.original(file_id), number, turn, angle, boxes)
            found.update(zip(places, drawn, strict=True))
        return tuple(found[place] for place in range(len(bands)))

    @needs(Action.SEE)
    def pencil_on(self, band: PageBand) -> Strokes:
        """Return the pencil marks of a band's page; none where the page lies otherwise now."""
        state = self._log.state()
        view = state.page_views.get(page_key(band.file_id, band.number))
        return state.pencil.get(view.key, ()) if view and view.lies_like(band) else ()

    @needs(Action.CHANGE_TOPICS)
    def turn(self, file_id: str, number: int, turn: int, angle_deg: float) -> PageView:
        """Turn and straighten a page, and look for its systems again. Raises RuleError."""
        from coldtake.music.print.worker_client import measure_page

        page = self.page(file_id, number)
        if (page.view.turn, page.view.angle_deg) == (turn, angle_deg):
            return page.view
        if page.strokes:
            raise RuleError(
                "This page has pencil marks, which would no longer fit.",
                where=page.file.name,
                remedy="Clear them first, or leave the page as it lies.",
            )
        data = self.original(file_id)
        found = measure_page(data, number, page.file.name, turn % 4, angle_deg)
        return self._choose(_view(file_id, number, found))

    @needs(Action.CHANGE_TOPICS)
    def crop(self, file_id: str, number: int, box: tuple[float, float, float, float]) -> PageView:
        """Show only a part of a page: left, top, right, bottom as shares. Raises RuleError."""
        left, top, right, bottom = box
        if not (right - left > _LEAST_HEIGHT and bottom - top > _LEAST_HEIGHT):
            raise RuleError("Nothing of the page would be left.", remedy="Crop less of it.")
        view = lookup.page_view(self._log.state(), file_id, number)
        return self._choose(
            msgspec.structs.replace(view, left=left, top=top, right=right, bottom=bottom)
        )

    def _choose(self, view: PageView) -> PageView:
        view = whole(view)
        with self._log.deciding() as state:
            if lookup.page_view(state, view.file_id, view.number) != view:
                self._log.append(PageViewChosen(view=view))
        return view

    @needs(Action.CHANGE_TOPICS)
    def pencil(self, file_id: str, number: int, strokes: Strokes) -> None:
        """Keep the pencil marks on a page as they are now. Raises RuleError."""
        data = whole(PencilKept(file_id=file_id, number=number, strokes=strokes))
        with self._log.deciding() as state:
            view = lookup.page_view(state, file_id, number)
            if state.pencil.get(view.key, ()) != data.strokes:
                self._log.append(data)

    @needs(Action.CHANGE_TOPICS)
    def delete(self, file_id: str, *, deleted: bool = True) -> PageFile:
        """Take a file off its topic, or put it back; steps that show it still do."""
        with self._log.deciding() as state:
            file = lookup.page_file(state, file_id)
            if file.deleted != deleted:
                file = msgspec.structs.replace(file, deleted=deleted)
                self._log.append(PageFileKept(file=file))
        return file

    @needs(Action.CHANGE_TOPICS)
    def keep_step(self, step: Step, first: Mark, last: Mark) -> Step:
        """Add a step that is played from what was marked on its topic's pages. Raises RuleError."""
        step = msgspec.structs.replace(step, title=title_of(step.title, "step's title"))
        with self._log.deciding() as state:
            marked = _marked(_pages(state, step.topic_id), first, last)
            exercise: Exercise = msgspec.structs.replace(step.exercise, marked=marked)
            step = whole(msgspec.structs.replace(step, exercise=exercise), where=step.title)
            rules.check_step(state, step)
            kept: AnyData = StepKept(step=step)
            self._log.append(kept)
        return step


def _view(file_id: str, number: int, found: "PageMeasure") -> PageView:
    left, top, right, bottom = found.box
    return PageView(
        file_id=file_id,
        number=number,
        turn=found.turn,
        angle_deg=found.angle_deg,
        left=left,
        top=top,
        right=right,
        bottom=bottom,
        systems=found.systems,
        staff=found.staff,
    )


def _pages(state: State, topic_id: str) -> tuple[TopicPage, ...]:
    keys = [
        (file, page_key(file.id, number))
        for file in files_of(state, topic_id)
        for number in range(1, file.pages + 1)
    ]
    return tuple(
        TopicPage(file, state.page_views[key], state.pencil.get(key, ()))
        for file, key in keys
        if key in state.page_views
    )


def _marked(pages: Sequence[TopicPage], first: Mark, last: Mark) -> tuple[PageBand, ...]:
    """Cut a stretch into systems; the two ends may be given in either order. Raises RuleError."""
    if not all(1 <= mark.page <= len(pages) for mark in (first, last)):
        raise RuleError(
            f"This topic has {len(pages)} page{'s' * (len(pages) != 1)}.",
            remedy="Mark the start and the end on a page.",
        )
    start, end = sorted((first, last), key=lambda mark: (mark.page, mark.height))
    bands: list[PageBand] = []
    for number in range(start.page, end.page + 1):
        view = pages[number - 1].view
        top = max(start.height, view.top) if number == start.page else view.top
        bottom = min(end.height, view.bottom) if number == end.page else view.bottom
        if bottom - top >= _LEAST_HEIGHT:
            bands += view.bands(top, bottom)
    if not bands:
        raise RuleError(
            "The start and the end are at the same place.", remedy="Mark at least one system."
        )
    if len(bands) > MARKED_MOST:
        raise RuleError(
            f"This is {len(bands)} systems. At most {MARKED_MOST} are allowed.",
            remedy="Mark a shorter stretch.",
        )
    return tuple(bands)

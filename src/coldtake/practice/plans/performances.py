"""Performances: kept with their programme, run through, played, and told of in a minute."""

import threading
from collections.abc import Sequence
from datetime import date, time
from typing import TYPE_CHECKING

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.history.state import State
from coldtake.domain.instants import check_date
from coldtake.domain.performance import (
    PROGRAMME_MOST,
    Performance,
    ProgrammeOutlook,
    Run,
    RunKind,
    RunPart,
)
from coldtake.domain.take import Answer
from coldtake.errors import RuleError
from coldtake.ports import Progress
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.state.evidence_mark import EvidenceMark
from coldtake.practice.state.log import Log
from coldtake.practice.validation import title_of, whole

if TYPE_CHECKING:
    from coldtake.learning.stage import StageEffect

PLAYED_MOST_S = 6 * 3600.0
WORDS_MOST = 500
EVENING = time(22)  # when a performance of an earlier day is taken to have been played
ASKED_DAYS = 28  # so long after a performance its page still asks how it went


class Performances:
    """Use cases of the stage. Every change is one event, or none."""

    def __init__(self, log: Log) -> None:
        self._log = log
        self._mark = EvidenceMark(log)
        self._looking_ahead = threading.Lock()  # two pages that ask at once wait for one answer
        self._ahead: dict[tuple[int, date, str], ProgrammeOutlook] = {}

    @needs(Action.SEE)
    def get(self, performance_id: str) -> Performance:
        """Return a performance. Raises NotFoundError."""
        return lookup.performance(self._log.state(), performance_id)

    @needs(Action.SEE)
    def run(self, run_id: str) -> Run:
        """Return a run as far as it was told. Raises NotFoundError."""
        return lookup.run(self._log.state(), run_id)

    @needs(Action.CHANGE_DATES)
    def add(
        self, title: str, on: date, *, place: str = "", programme: Sequence[str] = ()
    ) -> Performance:
        """Add a performance. Raises RuleError, NotFoundError."""
        made = Performance(
            id=self._log.new_id(), title=title, on=on, place=place, programme=tuple(programme)
        )
        return self.keep(made)

    @needs(Action.CHANGE_DATES)
    def keep(self, performance: Performance) -> Performance:
        """Keep a performance's title, date, place and programme. Raises RuleError.

        A new date lies today or later. Each topic stands in a programme once.
        """
        title = title_of(performance.title, "performance's name")
        place = " ".join(performance.place.split())
        performance = msgspec.structs.replace(performance, title=title, place=place)
        performance = whole(performance, where=title)
        with self._log.deciding() as state:
            known = state.performances.get(performance.id)
            self._check(state, performance, known)
            if performance != known:
                self._log.append(ev.PerformanceKept(performance=performance))
        return performance

    @needs(Action.CHANGE_DATES)
    def take_back(self, performance_id: str) -> None:
        """Take a performance off; its run-throughs stay, and it can be put back."""
        with self._log.deciding() as state:
            lookup.performance(state, performance_id)
            self._log.append(ev.PerformanceTakenBack(performance_id=performance_id))

    @needs(Action.CHANGE_DATES)
    def put_back(self, performance_id: str) -> Performance:
        """Put back what was taken off. Raises NotFoundError."""
        with self._log.deciding() as state:
            if performance_id in state.performances:
                return state.performances[performance_id]
            gone = lookup.performance_off(state, performance_id)
            self._log.append(ev.PerformanceKept(performance=gone))
        return gone

    @needs(Action.CHANGE_DATES)
    def order(self, performance_id: str, topic_ids: Sequence[str]) -> Performance:
        """Put a programme into a new order, or choose other topics for it."""
        known = self.get(performance_id)
        return self.keep(msgspec.structs.replace(known, programme=tuple(topic_ids)))

    @needs(Action.PLAY)
    def begin(
        self, topic_ids: Sequence[str], *, performance_id: str | None = None, intention: str = ""
    ) -> Run:
        """Begin a run-through of some topics, in order. Raises RuleError, NotFoundError."""
        with self._log.deciding() as state:
            if performance_id is not None:
                lookup.performance(state, performance_id)
            if not topic_ids:
                raise RuleError(
                    "The run-through has no pieces yet.",
                    where="programme",
                    remedy="Add pieces to the programme first.",
                )
            for topic_id in topic_ids:
                lookup.topic(state, topic_id)
            run_id = self._log.new_id()
            self._log.append(
                ev.RunBegun(
                    run_id=run_id,
                    topic_ids=tuple(dict.fromkeys(topic_ids)),
                    performance_id=performance_id,
                    intention=" ".join(intention.split())[:WORDS_MOST],
                )
            )
        return self.run(run_id)

    @needs(Action.PLAY)
    def tell(
        self, run_id: str, parts: Sequence[RunPart], *, played_s: float = 0.0, words: str = ""
    ) -> Run:
        """Say what a run-through brought, one answer for each piece; again replaces it."""
        run = self.run(run_id)
        data = ev.RunTold(
            run_id=run.id,
            run_kind=run.kind,
            performance_id=run.performance_id,
            parts=tuple(parts),
            played_s=_seconds(played_s),
            words=_words(words),
        )
        with self._log.deciding() as state:
            lookup.run(state, run_id)
            _check_parts(state, data.parts, run.topic_ids)
            self._log.append(data, day=run.day)
        return self.run(run_id)

    @needs(Action.PLAY)
    def tell_stage(self, performance_id: str, parts: Sequence[RunPart], *, words: str = "") -> Run:
        """Say what the performance itself brought, on its day or later; again replaces it."""
        with self._log.deciding() as state:
            performance = lookup.performance(state, performance_id)
            if performance.on > self._log.today():
                raise RuleError(
                    f"“{performance.title}” is on {performance.on.isoformat()}.",
                    remedy="Enter the result on that day or later.",
                )
            _check_parts(state, parts, performance.programme)
            data = ev.RunTold(
                run_id=self._log.new_id(),
                run_kind=RunKind.STAGE,
                performance_id=performance_id,
                parts=tuple(parts),
                words=_words(words),
            )
            self._log.append(
                data, at=self._log.past_at(performance.on, EVENING), day=performance.on
            )
        return self.run(data.run_id)

    @needs(Action.PLAY)
    def take_back_run(self, run_id: str) -> None:
        """Take back a run that was told by mistake, or begun and not played."""
        with self._log.deciding() as state:
            lookup.run(state, run_id)
            self._log.append(ev.RunTakenBack(run_id=run_id))

    @needs(Action.SEE)
    def upcoming(self) -> tuple[Performance, ...]:
        """Return what lies ahead, the nearest first; today's until it is told of."""
        state, today = self._log.state(), self._log.today()
        return tuple(p for p in self._in_order() if not state.is_over(p, today))

    @needs(Action.SEE)
    def past(self) -> tuple[Performance, ...]:
        """Return what is over, the latest first."""
        state, today = self._log.state(), self._log.today()
        return tuple(p for p in reversed(self._in_order()) if state.is_over(p, today))

    @needs(Action.SEE)
    def stage_run(self, performance_id: str) -> Run | None:
        """Return what was told of a performance itself, None while nothing was."""
        runs = self._log.state().runs.values()
        mine = [r for r in runs if r.performance_id == performance_id]
        return next((r for r in mine if r.kind is RunKind.STAGE), None)

    @needs(Action.SEE)
    def to_tell(self) -> tuple[Performance, ...]:
        """Return performances of the last weeks of which nothing was told yet, latest first."""
        today = self._log.today()
        return tuple(
            p
            for p in reversed(self._in_order())
            if p.on <= today
            and (today - p.on).days <= ASKED_DAYS
            and p.programme
            and self.stage_run(p.id) is None
        )

    @needs(Action.SEE)
    def runs(self, performance_id: str | None = None, topic_id: str = "") -> tuple[Run, ...]:
        """Return run-throughs, latest first: of a performance, of a topic, or all."""
        found = [
            run
            for run in self._log.state().runs.values()
            if (performance_id is None or run.performance_id == performance_id)
            and (not topic_id or topic_id in run.topic_ids)
            and run.kind is RunKind.RUN_THROUGH
        ]
        return tuple(sorted(found, key=lambda run: run.at, reverse=True))

    @needs(Action.SEE)
    def readiness(self, performance_id: str, progress: Progress | None = None) -> ProgrammeOutlook:
        """Return how likely a programme comes out on its day, and its weakest links.

        What was found is kept until the log or the day changes.
        """
        performance = self.get(performance_id)
        with self._looking_ahead:
            key = (*self._mark.now(), performance_id)
            self._ahead = {k: found for k, found in self._ahead.items() if k[:2] == key[:2]}
            if key not in self._ahead:
                from coldtake.planning.programme.readiness import readiness

                with self._log.learned.used():
                    found = readiness(self._log.state(), key[1], performance, progress=progress)
                self._ahead[key] = found
            return self._ahead[key]

    @needs(Action.SEE)
    def all_ahead(self) -> tuple[ProgrammeOutlook, ...]:
        """Return the readiness of every performance ahead that has a programme."""
        return tuple(self.readiness(p.id) for p in self.upcoming() if p.programme)

    @needs(Action.SEE)
    def effect(self) -> "StageEffect":
        """Return what runs and performances say of stage against practice room."""
        from coldtake.learning.stage_log import effect_of

        with self._log.learned.used():
            return effect_of(self._log.state(), self._log.today())

    def _in_order(self) -> list[Performance]:
        return sorted(self._log.state().performances.values(), key=lambda p: (p.on, p.title))

    def _check(self, state: State, performance: Performance, known: Performance | None) -> None:
        today = self._log.today()
        if known is None or known.on != performance.on:
            check_date(performance.on, today, performance.title)
        if performance.on < today and (known is None or known.on != performance.on):
            raise RuleError(
                f"The date {performance.on.isoformat()} is past; today is {today.isoformat()}.",
                where=performance.title,
                remedy="Choose today or a later day.",
            )
        if len(set(performance.programme)) < len(performance.programme):
            raise RuleError(
                "A piece is in the programme twice.",
                where=performance.title,
                remedy="Remove it once.",
            )
        if len(performance.programme) > PROGRAMME_MOST:
            raise RuleError(
                f"A programme holds at most {PROGRAMME_MOST} pieces.", where=performance.title
            )
        before = known.programme if known else ()
        for topic_id in performance.programme:
            if topic_id not in before:
                lookup.topic(state, topic_id)


def _check_parts(state: State, parts: Sequence[RunPart], topic_ids: Sequence[str]) -> None:
    """Raise RuleError unless there is one answer for each piece, and places are of that piece."""
    if sorted(p.topic_id for p in parts) != sorted(topic_ids) or not parts:
        raise RuleError(
            "Each piece of the programme needs one answer.",
            where="answers",
            remedy="Choose yes, no or cannot tell for each piece.",
        )
    for part in parts:
        own = {step.id for step in state.topic_steps(part.topic_id)}
        if not set(part.broke) <= own:
            raise RuleError(
                "A step that was not clean is not a step of that piece.",
                where="not clean",
                remedy="Reload the page and choose the steps again.",
            )
        if part.broke and part.answer is not Answer.NO:
            raise RuleError(
                "A step is marked as not clean, but the answer is not no.",
                where="not clean",
                remedy="Answer no for that piece, or clear the step.",
            )
        if len(part.words) > WORDS_MOST:
            raise RuleError(f"At most {WORDS_MOST} characters for one piece.", where="words")


def _seconds(played_s: float) -> float:
    if not 0.0 <= played_s <= PLAYED_MOST_S:
        raise RuleError(
            f"{played_s / 60.0:.0f} min is too long for one run-through.",
            where="minutes",
            remedy=f"Enter at most {PLAYED_MOST_S / 60.0:.0f}, or leave it empty.",
        )
    return played_s


def _words(words: str) -> str:
    words = words.strip()
    if len(words) > WORDS_MOST:
        raise RuleError(
            f"At most {WORDS_MOST} characters.", where="words", remedy="Shorten the text."
        )
    return words

"""All use cases behind one object: what the web pages, the command line and the demo are given.

`House` is what was opened. Whoever serves a person asks it as somebody
(`house.as_(actor).practice_of(player)`) and is given `Services`, held against `practice.access`.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import cast

from coldtake.domain.events import AnyData, Event
from coldtake.domain.history.state import State
from coldtake.errors import NotFoundError, RuleError
from coldtake.ports import Clock, Maintenance, Store, TakeFiles
from coldtake.practice.access import Action, Actor, Kind, Permitted, needs
from coldtake.practice.archiving import Archiving
from coldtake.practice.chances import Chances
from coldtake.practice.jobs import Jobs
from coldtake.practice.plans.appointments import Appointments
from coldtake.practice.plans.performances import Performances
from coldtake.practice.plans.plans import PlanService
from coldtake.practice.plans.told_days import ToldDays
from coldtake.practice.plans.what_if import WhatIfService
from coldtake.practice.rejudging import Rejudging
from coldtake.practice.reports.progress import LookingBack
from coldtake.practice.reports.reports import ReportService
from coldtake.practice.sessions.answers import Answers
from coldtake.practice.sessions.deleting import Deleting
from coldtake.practice.sessions.elsewhere import Elsewhere
from coldtake.practice.sessions.references import References
from coldtake.practice.sessions.sessions import Sessions
from coldtake.practice.sessions.takes import Takes
from coldtake.practice.settings_service import ChosenSettings
from coldtake.practice.state.log import DaysNear, Log
from coldtake.practice.state.misdated import MisdatedEntries
from coldtake.practice.topics.importing import Importing
from coldtake.practice.topics.pages import Pages
from coldtake.practice.topics.pile import Pile
from coldtake.practice.topics.quick_start import QuickStart
from coldtake.practice.topics.triage import TriageService
from coldtake.practice.topics.weak_bars import WeakBars

OWN = "own"  # the id of the one player of an embedded log


class Services:
    """The use cases of one player's practice. Safe to use from several threads."""

    # Parts of which all needs one action; the methods of every other part say theirs.
    WHOLE: Mapping[str, Action] = {"judging": Action.JUDGE, "care": Action.MANAGE_DATA}

    def __init__(
        self,
        store: Store,
        take_files: TakeFiles,
        clock: Clock,
        care: Maintenance | None = None,
    ) -> None:
        self._store = store
        self._take_files = take_files
        self._log = log = Log(store, clock)
        self.care = care
        self.settings = ChosenSettings(log)
        self.pile = Pile(log)
        self.passages = self.pile.passages
        self.weak_bars = WeakBars(log, self.pile)
        self.importing = Importing(log)
        self.pages = Pages(log, take_files)
        self.plans = PlanService(log)
        self.told_days = ToldDays(log)
        self.quick_start = QuickStart(log, self.pile, self.plans)
        self.sessions = Sessions(log, self.plans)
        self.elsewhere = Elsewhere(log)
        self.takes = Takes(log, take_files, self.passages)
        self.references = References(log, take_files)
        self.answers = Answers(log)
        self.deleting = Deleting(log, take_files, care)
        self.performances = Performances(log)
        self.appointments = Appointments(log)
        self.reports = ReportService(log)
        self.chances = Chances(log, self.reports, self.performances)
        self.progress = LookingBack(log)
        self.what_if = WhatIfService(log, self.reports)
        self.triage = TriageService(log)
        self.misdated = MisdatedEntries(log)
        self.archiving = Archiving(log, take_files, self.settings)
        self.jobs = Jobs()  # long work: one at a time
        self.judging = Jobs()  # a long take that is being heard: one at a time
        self.rejudging = Rejudging(self.takes, self.jobs, store)

    @needs(Action.SEE)
    def state(self) -> State:
        """Return the present state; later events do not change what was returned."""
        return self._log.state()

    @needs(Action.SEE)
    def now(self) -> datetime:
        """Return the present instant in the player's zone."""
        return self._log.now()

    @needs(Action.SEE)
    def today(self) -> date:
        """Return the practice day; the evening's goes on until a pause of several hours."""
        return self._log.today()

    @needs(Action.SEE)
    def days_near(self) -> DaysNear:
        """Return what decides the practice day around now."""
        return self._log.days_near()

    @needs(Action.SEE)
    def is_empty(self) -> bool:
        """Say whether nothing has happened yet, so that the demo can be offered."""
        return self._store.last_sequence() == 0

    @needs(Action.SEE)
    def get_ready(self) -> None:
        """Read the log: pages need it, and where nothing of it is cached it takes a while."""
        self._log.get_ready()

    @needs(Action.SEE)
    def is_ready(self) -> bool:
        """Say whether the state is there without reading the whole log; never waits."""
        return self._log.ready

    @needs(Action.SEE)
    def is_preparing(self) -> bool:
        """Say whether somebody has begun to read the log, before it is asked for; never waits."""
        return self._log.preparing

    @needs(Action.SEE)
    def reading(self) -> tuple[int, int] | None:
        """Return the events read and in all, while the whole log is being read; never waits."""
        return self._log.reading

    @needs(Action.SEE)
    def amiss(self) -> str:
        """Say what is not at its place any more (folder or log), and what to do; else ""."""
        return self._store.amiss()

    @needs(Action.MANAGE_DATA)
    def refused(self) -> Sequence[tuple[datetime, str, bytes]]:
        """Return what could not become an event: (when, why, the bytes as they came)."""
        return self._store.refused()

    @needs(Action.CHANGE_TOPICS)
    def new_id(self) -> str:
        """Return a fresh id, for what is about to be added."""
        return self._log.new_id()

    @needs(Action.FILL)
    def fill(self, events: Sequence[Event], sounds: Iterable[tuple[str, bytes]]) -> None:
        """Fill an empty log: sounds first, each as (take's id, FLAC). Raises RuleError."""
        with self._log.deciding():
            self.check_empty()  # somebody may have begun their own pile meanwhile
            for take_id, flac in sounds:
                self._take_files.keep(take_id, flac)
            self._log.keep(list(events))

    @needs(Action.FILL)
    def check_empty(self) -> None:
        """Raise RuleError where something has happened already."""
        if not self.is_empty():
            raise RuleError(
                "The example needs an empty folder. This folder has data.",
                remedy="Use another folder with --data.",
            )


class Door:
    """The house as one actor finds it."""

    def __init__(self, house: "House", actor: Actor) -> None:
        self._house = house
        self._actor = actor

    def practice_of(self, player: str) -> Services:
        """Return a player's use cases, as far as the actor may. Raises NotFoundError.

        What the actor may not is refused when it is asked for, with AccessError.
        """
        practice = self._house.practices.get(player)
        if practice is None:
            raise NotFoundError("There is no such player.", where=player)
        permitted = Permitted(practice, self._actor, player, Services.WHOLE)
        return cast(Services, permitted)


class House(Services):
    """What was opened: all use cases, and what they stand on. It belongs to whoever opened it."""

    def __init__(
        self,
        store: Store,
        take_files: TakeFiles,
        clock: Clock,
        care: Maintenance | None = None,
    ) -> None:
        super().__init__(store, take_files, clock, care)
        self.store = store
        self.take_files = take_files
        self.log = self._log
        self.player = OWN
        self.practices: dict[str, Services] = {OWN: self}  # by player: exactly one where embedded

    def as_(self, actor: Actor) -> Door:
        """Ask as somebody."""
        return Door(self, actor)

    def own(self, kind: Kind = Kind.PLAYER) -> Services:
        """Return the practice of the one player, as that player or somebody who acts for them."""
        return self.as_(Actor(kind, self.player)).practice_of(self.player)

    def append(
        self, *data: AnyData, at: datetime | None = None, day: date | None = None
    ) -> tuple[Event, ...]:
        """Append what happened, now by default, in one transaction."""
        return self._log.append(*data, at=at, day=day)

    def close(self) -> None:
        """Let go of files and connections."""
        self.jobs.close()
        self.what_if.close()
        self.judging.close()
        if self.care is not None:
            self.care.close()
        self.store.close()

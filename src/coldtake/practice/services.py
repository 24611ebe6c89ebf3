"""All use cases behind one object: what the web pages, the command line and the demo are given."""

from datetime import date, datetime

from coldtake.domain.events import AnyData, Event
from coldtake.domain.history.state import State
from coldtake.ports import Clock, Maintenance, Store, TakeFiles
from coldtake.practice.chances import Chances
from coldtake.practice.jobs import Jobs
from coldtake.practice.plans.appointments import Appointments
from coldtake.practice.plans.performances import Performances
from coldtake.practice.plans.plans import PlanService
from coldtake.practice.plans.told_days import ToldDays
from coldtake.practice.plans.what_if import WhatIfService
from coldtake.practice.reports.progress import LookingBack
from coldtake.practice.reports.reports import ReportService
from coldtake.practice.sessions.elsewhere import Elsewhere
from coldtake.practice.sessions.sessions import Sessions
from coldtake.practice.sessions.takes import Takes
from coldtake.practice.settings_service import ChosenSettings
from coldtake.practice.state.log import DaysNear, Log
from coldtake.practice.state.misdated import MisdatedEntries
from coldtake.practice.topics.importing import Importing
from coldtake.practice.topics.pile import Pile
from coldtake.practice.topics.triage import TriageService


class Services:
    """The use cases over one store. Safe to use from several threads."""

    def __init__(
        self,
        store: Store,
        take_files: TakeFiles,
        clock: Clock,
        care: Maintenance | None = None,
    ) -> None:
        self.store = store
        self.take_files = take_files
        self.care = care
        self.log = Log(store, clock)
        self.settings = ChosenSettings(self.log)
        self.pile = Pile(self.log)
        self.importing = Importing(self.log)
        self.evening = PlanService(self.log)
        self.told_days = ToldDays(self.log)
        self.sessions = Sessions(self.log, self.evening)
        self.elsewhere = Elsewhere(self.log)
        self.takes = Takes(self.log, take_files, self.pile.passages)
        self.performances = Performances(self.log)
        self.appointments = Appointments(self.log)
        self.looking = ReportService(self.log)
        self.chances = Chances(self.log, self.looking, self.performances)
        self.back = LookingBack(self.log)
        self.supposing = WhatIfService(self.log, self.looking)
        self.sorting = TriageService(self.log)
        self.misdated = MisdatedEntries(self.log)
        self.jobs = Jobs()  # long work: one at a time
        self.hearing = Jobs()  # a long take that is being heard: one at a time

    def state(self) -> State:
        """Return the present state; later events do not change what was returned."""
        return self.log.state()

    def append(
        self, *data: AnyData, at: datetime | None = None, day: date | None = None
    ) -> tuple[Event, ...]:
        """Append what happened, now by default, in one transaction."""
        return self.log.append(*data, at=at, day=day)

    def now(self) -> datetime:
        """Return the present instant in the player's zone."""
        return self.log.now()

    def today(self) -> date:
        """Return the practice day; the evening's goes on until a pause of several hours."""
        return self.log.today()

    def days_near(self) -> DaysNear:
        """Return what decides the practice day around now."""
        return self.log.days_near()

    def is_empty(self) -> bool:
        """Say whether nothing has happened yet, so that the demo can be offered."""
        return self.store.last_sequence() == 0

    def close(self) -> None:
        """Let go of files and connections."""
        self.jobs.close()
        self.supposing.close()
        self.hearing.close()
        if self.care is not None:
            self.care.close()
        self.store.close()

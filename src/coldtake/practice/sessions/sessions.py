"""Sessions: begun from a plan, then told by the page event by event.

Events may come in any order and any number of times. Nothing that arrives is lost: what cannot be
an event goes to the quarantine.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from coldtake.domain import events as ev
from coldtake.domain.history.state import State
from coldtake.domain.instants import Misdating
from coldtake.domain.plan import Plan
from coldtake.domain.session import SessionRun
from coldtake.errors import PlanError
from coldtake.practice import event_validation, lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.plans.plans import PlanService
from coldtake.practice.sessions.session_log import session_events, session_news
from coldtake.practice.state.log import Log

WHY_MOST = 300  # characters


@dataclass(frozen=True, slots=True)
class Receipt:
    """What became of events that were sent; none of them needs to be sent again.

    kept : ids that are in the log now; misdated : those of them that wait for their day
    refused : (id or "", why) of what could not become an event
    """

    kept: tuple[str, ...]
    refused: tuple[tuple[str, str], ...]
    misdated: tuple[tuple[str, Misdating], ...] = ()


class Sessions:
    """Use cases of a running session."""

    def __init__(self, log: Log, evening: PlanService) -> None:
        self._log = log
        self._evening = evening

    @needs(Action.PLAY)
    def start(self, day: date | None = None) -> SessionRun:
        """Begin a session with the plan of a day (default today), or return the running one.

        The session counts to today whatever day was planned. One left open on an earlier day is
        ended as it was. Raises PlanError when nothing can be planned.
        """
        plan = self._plan(day or self._log.today())
        with self._log.deciding() as state:
            running = state.running_session()
            if running and running.day == self._log.today():
                return running
            if running:
                self._log.append(
                    ev.SessionEnded(session_id=running.id, early=True), day=running.day
                )
            session_id = self._log.new_id()
            # By the clock as it is: its page tells what follows by the same clock.
            self._log.append(
                ev.SessionStarted(session_id=session_id, plan=plan), at=self._log.now()
            )
        return self.get(session_id)

    @needs(Action.SEE)
    def running(self) -> SessionRun | None:
        """Return the session that has not ended, None when there is none."""
        return self._log.state().running_session()

    @needs(Action.SEE)
    def get(self, session_id: str) -> SessionRun:
        """Return a session as it went. Raises NotFoundError."""
        return lookup.session(self._log.state(), session_id)

    @needs(Action.SEE)
    def events(self, session_id: str) -> list[ev.Event]:
        """Return what happened in a session, in order of arrival."""
        return session_events(self._log.store, session_id)

    @needs(Action.SEE)
    def news(self, session_id: str, after: int) -> tuple[int, list[ev.Event]]:
        """Return how far the log goes, and what happened in a session since it went to `after`."""
        return session_news(self._log.store, session_id, after)

    @needs(Action.SEE)
    def seen(self) -> int:
        """Return how far the log goes; what comes later is asked for from there."""
        return self._log.store.last_sequence()

    @needs(Action.PLAY)
    def record(self, events: Sequence[bytes | ev.Event]) -> Receipt:
        """Keep what a session page sends; sending again changes nothing.

        Raises StoreError or BusyError when nothing could be kept: then send all of it again.
        """
        sent: dict[str, ev.Event] = {}
        unfit, refused = [], []
        for raw in events:
            try:
                event = event_validation.read(raw)
                sent.setdefault(event.id, event)
            except ValueError as fault:
                why = str(fault)[:WHY_MOST]
                unfit.append((raw if isinstance(raw, bytes) else ev.to_json(raw), why))
                refused.append((event_validation.id_in(raw), why))
        self._log.refuse(unfit)  # in one transaction: each costs a writing to the disk
        misdated = self._keep(sent)
        return Receipt(kept=tuple(sent), refused=tuple(refused), misdated=misdated)

    def _keep(self, sent: Mapping[str, ev.Event]) -> tuple[tuple[str, Misdating], ...]:
        """Keep events, those that cannot have been when they say apart; return these."""
        with self._log.deciding() as state:
            new = [event for event in sent.values() if event.id not in state.passed_over]
            wrong = {e.id: why for e in sent.values() if (why := self._misdating(state, e))}
            self._log.keep(
                [self._log.as_misdated(e, wrong[e.id]) if e.id in wrong else e for e in new]
            )
        return tuple(wrong.items())

    def _misdating(self, state: State, event: ev.Event) -> Misdating | None:
        """Say why an event waits for its day, None where it counts or is settled."""
        if event.id in state.passed_over:
            known = state.misdated.get(event.id)
            return known.why if known else None
        why = self._log.misdating(event.at, event.day)
        # One that is in the log counts, also when this machine's clock was set back since.
        return why if why and self._log.store.event(event.id) is None else None

    def _plan(self, day: date) -> Plan:
        plan = self._evening.plan(day)
        if plan is None or self._evening.is_over(plan):
            number = self._evening.new_session(day)
            plan = self._evening.propose(self._evening.default_request(day, number))
        if not plan.slots:
            raise PlanError(" ".join(plan.remarks) or "This plan has no slots.")
        return plan

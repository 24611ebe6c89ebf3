"""Entries that wait for their day: shown in groups, given their day together, or deleted.

A clock that is wrong is wrong by the same amount for an evening. So a group is shifted as a whole:
the entry that was longest under way tells nothing, the one that came soonest tells by how much (as
the smallest delay does in clock synchronisation: Mills, RFC 5905, section 10, clock filter).
"""

from dataclasses import dataclass
from datetime import date, datetime

from coldtake.domain.events import (
    EntryMisdated,
    Event,
    MisdatedSettled,
    SlotEnded,
    TakeRecorded,
    TryAnswered,
)
from coldtake.domain.history.misdated import dated_id
from coldtake.domain.history.state import State
from coldtake.domain.instants import FIRST
from coldtake.errors import NotFoundError, RuleError
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log


@dataclass(frozen=True, slots=True)
class MisdatedGroup:
    """What a device sent on one day and dated alike, in the order in which it says it happened."""

    entries: tuple[EntryMisdated, ...]

    @property
    def id(self) -> str:
        """Name the group: the date that it claims, and the day on which it came."""
        return _group_of(self.entries[0])

    @property
    def arrived(self) -> EntryMisdated:
        """The entry that came soonest after it happened, by the device's clock."""
        return min(self.entries, key=lambda e: e.arrived - e.event.at)

    @property
    def first(self) -> datetime:
        """When it begins, as it claims."""
        return self.entries[0].event.at

    @property
    def last(self) -> datetime:
        """When it ends, as it claims."""
        return self.entries[-1].event.at

    @property
    def takes(self) -> int:
        """How many recordings are in it."""
        return sum(isinstance(e.event.data, TakeRecorded) for e in self.entries)

    @property
    def answers(self) -> int:
        """How many answers are in it."""
        return sum(isinstance(e.event.data, TryAnswered) for e in self.entries)

    @property
    def played_min(self) -> float:
        """How long slots were played in it [min]."""
        return sum(
            e.event.data.played_s / 60 for e in self.entries if isinstance(e.event.data, SlotEnded)
        )

    def dated(self, day: date) -> tuple[Event, ...]:
        """Return its entries as on a day: at the time of day at which they came, in their order."""
        came = self.arrived
        ends = came.arrived + (day - came.arrived_on)
        return tuple(
            Event(
                id=dated_id(e.event.id),
                at=ends - (came.event.at - e.event.at),
                day=day,
                data=e.event.data,
            )
            for e in self.entries
        )


class MisdatedEntries:
    """Use cases of entries that wait for their day."""

    def __init__(self, log: Log) -> None:
        self._log = log

    @needs(Action.SEE)
    def groups(self) -> tuple[MisdatedGroup, ...]:
        """Return what waits, the latest arrival first."""
        return _groups(self._log.state())

    @needs(Action.MANAGE_DATA)
    def give_day(self, group_id: str, day: date) -> int:
        """Let a group count on a day; return how many entries that is.

        Raises RuleError for a day that is still to come or that cannot be, NotFoundError.
        """
        with self._log.deciding() as state:
            group = _group(state, group_id)
            latest = max(self._log.today(), group.arrived.arrived_on)
            if not FIRST.date() <= day <= latest:
                raise RuleError(
                    f"{day.isoformat()} cannot be the day of what was played.",
                    where="Day",
                    remedy=f"Enter a date from {FIRST.date()} to {latest.isoformat()}.",
                )
            settled = MisdatedSettled(event_ids=tuple(e.event.id for e in group.entries))
            self._log.keep([*group.dated(day), self._log.event_of(settled)])
        return len(group.entries)

    @needs(Action.MANAGE_DATA)
    def delete(self, group_id: str) -> int:
        """Delete a group: it never counts, and stays in the log as it came."""
        with self._log.deciding() as state:
            ids = tuple(e.event.id for e in _group(state, group_id).entries)
            self._log.append(MisdatedSettled(event_ids=ids, deleted=True))
        return len(ids)


def _groups(state: State) -> tuple[MisdatedGroup, ...]:
    found: dict[str, list[EntryMisdated]] = {}
    for entry in sorted(state.misdated.values(), key=lambda e: (e.event.at, e.event.id)):
        found.setdefault(_group_of(entry), []).append(entry)
    groups = [MisdatedGroup(tuple(entries)) for entries in found.values()]
    return tuple(sorted(groups, key=lambda g: g.arrived.arrived, reverse=True))


def _group_of(entry: EntryMisdated) -> str:
    return f"{entry.event.at.date().isoformat()}_{entry.arrived_on.isoformat()}"


def _group(state: State, group_id: str) -> MisdatedGroup:
    for group in _groups(state):
        if group.id == group_id:
            return group
    raise NotFoundError("These entries have been handled already.", remedy="Reload the page.")

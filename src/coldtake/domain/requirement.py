"""What playing a step needs besides the player, and the appointments that offer it.

A requirement is a code, and a note for whose or which it is ("the other four", "the organ").
Something at hand without a note serves every requirement of its code; with one, those that have
the same note or none. Facts only: the sentences are made where they are shown.
"""

from collections.abc import Iterable
from datetime import date, time
from enum import StrEnum
from typing import Annotated

import msgspec
from msgspec import Meta

NOTE_MOST = 100
AT_ONCE = 40  # requirements of one step, topic, day or appointment
Note = Annotated[str, Meta(max_length=NOTE_MOST)]


class Resource(StrEnum):
    """What a step can need; an instrument is one that is not always there."""

    PEOPLE = "people"
    PLACE = "place"
    INSTRUMENT = "instrument"
    PIANO = "piano"
    QUIET = "quiet"
    RECORDER = "recorder"


class Requirement(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that is needed, or that is at hand."""

    what: Resource
    note: Note = ""

    def serves(self, wanted: "Requirement") -> bool:
        """Say whether this, being at hand, is what is wanted."""
        mine, asked = _plain(self.note), _plain(wanted.note)
        return self.what is wanted.what and (not mine or not asked or mine == asked)


Requirements = Annotated[tuple[Requirement, ...], Meta(max_length=AT_ONCE)]


def _plain(note: str) -> str:
    return " ".join(note.split()).casefold()


def missing(
    wanted: Iterable[Requirement], at_hand: Iterable[Requirement]
) -> tuple[Requirement, ...]:
    """Return what is wanted and not at hand, in the order in which it is wanted."""
    there = tuple(at_hand)
    return tuple(w for w in dict.fromkeys(wanted) if not any(h.serves(w) for h in there))


class AppointmentKind(StrEnum):
    """What an appointment is called."""

    REHEARSAL = "rehearsal"
    LESSON = "lesson"
    OTHER = "other"


class Appointment(msgspec.Struct, frozen=True, kw_only=True):
    """A date at which something is there that practice by oneself lacks.

    title : with whom or for what; may be empty
    starts_at, minutes : None where they are not known yet
    offers : what is there; topic_ids : whose steps are meant, none named: of all topics
    """

    id: str
    kind: AppointmentKind = AppointmentKind.REHEARSAL
    title: Annotated[str, Meta(max_length=200)] = ""
    on: date
    starts_at: time | None = None
    minutes: Annotated[int, Meta(ge=1, le=720)] | None = None
    offers: Requirements = ()
    topic_ids: Annotated[tuple[str, ...], Meta(max_length=40)] = ()

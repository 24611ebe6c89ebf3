"""What a step needs to be played, and what there is on a day: ticks of a form, and back."""

from collections.abc import Iterable
from dataclasses import dataclass

from starlette.datastructures import FormData

from coldtake.domain.history.appointments import in_use
from coldtake.domain.history.state import State
from coldtake.domain.plan import PlanRequest
from coldtake.domain.requirement import AT_ONCE, NOTE_MOST, Requirement, Resource, missing
from coldtake.planning.value.at_hand import at_hand_on, usually_at_hand
from coldtake.planning.value.at_hand_words import requirement_name
from coldtake.web.forms import form_fields

ASKED = "requires_asked"  # sent with the ticks: without it nothing was asked, and nothing changes


@dataclass(frozen=True, slots=True)
class Tick:
    """One line of the list: what it is called, whether it is ticked, and whose or which."""

    code: str
    name: str
    on: bool
    note: str


def ticks(known: Iterable[Requirement]) -> tuple[Tick, ...]:
    """Show every resource, with what is known of it."""
    notes = {r.what: r.note for r in known}
    return tuple(
        Tick(what, requirement_name(Requirement(what=what)), what in notes, notes.get(what, ""))
        for what in Resource
    )


def read(fields: FormData, known: tuple[Requirement, ...] = ()) -> tuple[Requirement, ...]:
    """Read the ticks; what is known stays where they were not asked. Raises InputError."""
    if ASKED not in fields:
        return known
    codes = [value for value in fields.getlist("requires") if isinstance(value, str)]
    notes = form_fields.text_fields(fields)
    return tuple(
        Requirement(
            what=form_fields.one_of(Resource, code, "what it needs"),
            note=" ".join(notes.get(f"note_{code}", "").split())[:NOTE_MOST],
        )
        for code in dict.fromkeys(codes)
    )


def at_hand_ticks(state: State, request: PlanRequest) -> tuple[Tick, ...]:
    """Show what any step needs, and whether it is there on the day. Empty where nothing is."""
    there = _at_hand(state, request)
    return tuple(
        Tick(str(n), requirement_name(need), not missing([need], there), "")
        for n, need in enumerate(in_use(state))
    )


def read_at_hand(
    fields: FormData, state: State, request: PlanRequest
) -> tuple[Requirement, ...] | None:
    """Read what is there; None, what usually is, where nothing else was said. InputError."""
    if ASKED not in fields:
        return request.at_hand
    usual, needed = _at_hand(state, request, usual=True), in_use(state)
    ticked = {value for value in fields.getlist("at_hand") if isinstance(value, str)}
    there = tuple(need for n, need in enumerate(needed) if str(n) in ticked)
    if {*there} == {need for need in needed if not missing([need], usual)}:
        return None
    other = (have for have in usual if not any(have.serves(need) for need in needed))
    return (*there, *other)[:AT_ONCE]


def _at_hand(state: State, request: PlanRequest, *, usual: bool = False) -> tuple[Requirement, ...]:
    return usually_at_hand(state) if usual else at_hand_on(state, request)

"""A plan as its page shows it: when each slot begins, where it may go, what could stand instead."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from coldtake.domain.history.state import State
from coldtake.domain.plan import LeftOut, Plan, Slot
from coldtake.domain.topic import Step, Topic
from coldtake.planning.value.at_hand_words import waits_for
from coldtake.settings import value_of
from coldtake.web.views.notation import notation_path


@dataclass(frozen=True, slots=True)
class SlotRow:
    """One slot. `first` and `last` say that it cannot go earlier or later.

    placed : the player gave it its place; else it may be in because they asked for its step
    """

    slot: Slot
    begins: datetime
    step: Step | None
    topic: Topic | None
    notation: str
    first: bool
    last: bool
    placed: bool


@dataclass(frozen=True, slots=True)
class PeriodView:
    """One period between two breaks; `break_min` 0 after the last."""

    number: int
    begins: datetime
    ends: datetime
    rows: tuple[SlotRow, ...]
    break_min: int


@dataclass(frozen=True, slots=True)
class Other:
    """A step outside the plan: spare, left out with the reason, or refused by the player.

    asked : the player asked for it, and it found no room
    """

    step: Step
    topic: Topic | None
    reason: str
    refused: bool
    asked: bool


def periods_of(state: State, plan: Plan) -> tuple[PeriodView, ...]:
    """Walk a plan along the clock."""
    begins = plan.request.starts + timedelta(minutes=plan.lead_min)
    views = []
    for number, period in enumerate(plan.periods, start=1):
        rest = plan.rules.break_min if number < len(plan.periods) else 0
        rows, at = [], begins
        for slot in period.slots:
            rows.append(_row(state, plan, slot, at))
            at += timedelta(minutes=slot.minutes)
        views.append(PeriodView(number, begins, at, tuple(rows), rest))
        begins = at + timedelta(minutes=rest)
    return tuple(views)


def free_words(plan: Plan) -> str:
    """Say why minutes at the end stay free: the break that is due leaves no room for a slot."""
    rules, last = plan.rules, plan.periods[-1].minutes if plan.periods else 0
    free = plan.request.minutes - plan.minutes
    full = last + rules.slot_least_min > rules.period_cap_min
    if not full or not 0 < free < rules.break_min + rules.slot_least_min:
        return ""
    return (
        f"{free} of your {plan.request.minutes} min stay free. After {last} min of playing "
        f"a break of {rules.break_min} min is due. No slot fits after it."
    )


def _row(state: State, plan: Plan, slot: Slot, begins: datetime) -> SlotRow:
    step = state.steps.get(slot.step_id)
    wish = None if slot.wish is None else plan.request.wishes[slot.wish]
    return SlotRow(
        slot=slot,
        begins=begins,
        step=step,
        topic=state.topics.get(slot.topic_id),
        notation=notation_path(step) if step else "",
        first=slot is plan.slots[0],
        last=slot is plan.slots[-1],
        placed=slot.pinned and (wish is None or wish.period is not None),
    )


def others_of(state: State, plan: Plan) -> tuple[Other, ...]:
    """List what is not in the plan: refused first, then spare, then left out, each once."""
    planned = {s.step_id for s in plan.slots}
    wishes = plan.request.wishes
    refused = {w.step_id for w in wishes if w.refused}
    asked = {w.step_id for w in wishes} - refused
    reasons = {o.step_id: _reason(state, plan, o) for o in plan.left_out}
    spare = {s.step_id: "Spare slot: used when a criterion is met early." for s in plan.spare}
    ids = dict.fromkeys([*sorted(refused), *spare, *reasons])
    return tuple(
        Other(
            step=step,
            topic=state.topics.get(step.topic_id),
            reason=reasons.get(step.id) or spare.get(step.id, "Removed by you."),
            refused=step.id in refused,
            asked=step.id in asked,
        )
        for step in (state.steps[i] for i in ids if i in state.steps)
        if step.id not in planned
    )


def _reason(state: State, plan: Plan, left: LeftOut) -> str:
    """Say why a step is left out; what it waits for is read anew, with rehearsals entered since."""
    step = state.steps.get(left.step_id)
    if step is None or not left.lacks:
        return left.reason
    return waits_for(state, step, left.lacks, plan.request.day)


@dataclass(frozen=True, slots=True)
class Again:
    """A met step that is asked back without a cold take in the plan, and when."""

    step: Step
    topic: Topic | None
    words: str


def asked_again(state: State, plan: Plan) -> tuple[Again, ...]:
    """List the met steps whose cold takes wait or come in the next days, the soonest first."""
    from coldtake.planning.day.keeping_words import when_words

    wanted = value_of(state.settings, "keep_chance")
    return tuple(
        Again(state.steps[a.step_id], state.topics.get(a.topic_id), when_words(a, plan, wanted))
        for a in plan.asked_again
        if a.step_id in state.steps
    )


def neighbour_place(plan: Plan, slot_id: str, by: int) -> tuple[int, int] | None:
    """Return (period, index) one place earlier (-1) or later (1); None at the ends.

    At the edge of a period the slot goes over the break: to the end of the period before, or to
    the start of the one after.
    """
    for number, period in enumerate(plan.periods):
        ids = [s.id for s in period.slots]
        if slot_id not in ids:
            continue
        to = ids.index(slot_id) + by
        if 0 <= to < len(ids):
            return number, to
        if to < 0 and number > 0:
            return number - 1, len(plan.periods[number - 1].slots)
        if to >= len(ids) and number + 1 < len(plan.periods):
            return number + 1, 0
    return None


@dataclass(frozen=True, slots=True)
class PrintRow:
    """One slot on the printed page; notation only where it stands for the first time."""

    row: SlotRow
    notation: str
    break_min: int

    @property
    def weight(self) -> int:
        """Share of the page that this row asks for."""
        return (3 if self.notation else 1) + (1 if self.break_min else 0)


def print_rows(periods: tuple[PeriodView, ...]) -> tuple[PrintRow, ...]:
    """List the slots for the page on the stand."""
    seen: set[str] = set()
    rows = []
    for period in periods:
        for row in period.rows:
            fresh = row.notation if row.notation not in seen else ""
            seen.add(row.notation)
            last = row is period.rows[-1]
            rows.append(PrintRow(row, fresh, period.break_min if last else 0))
    return tuple(rows)


def print_columns(rows: tuple[PrintRow, ...], dense_from: int) -> tuple[tuple[PrintRow, ...], ...]:
    """Set few slots in one column, many in two of about the same weight."""
    if len(rows) < dense_from:
        return (rows,)
    half, so_far = sum(r.weight for r in rows) / 2, 0
    for cut, row in enumerate(rows, start=1):
        so_far += row.weight
        if so_far >= half:
            return (rows[:cut], rows[cut:]) if cut < len(rows) else (rows,)
    return (rows,)

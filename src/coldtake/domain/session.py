"""A session as it really went, derived from its events."""

from datetime import date, datetime

import msgspec

from coldtake.domain.plan import Plan, Slot, SlotKind

BEFORE_WORK_S = (
    60.0  # a first try this soon after a work slot's start had no work before it; a guess
)


class SlotRun(msgspec.Struct, kw_only=True):
    """One slot's clock: when it began, what was planned, what was played."""

    slot_id: str
    step_id: str
    started_at: datetime
    planned_s: float
    played_s: float | None = None
    ended_at: datetime | None = None
    early: bool = False


class BreakRun(msgspec.Struct, kw_only=True):
    """One break's clock."""

    after_period: int
    started_at: datetime
    planned_s: float
    ended_at: datetime | None = None


class SessionRun(msgspec.Struct, kw_only=True):
    """One session. `ended_at` None while it runs; `try_ids` in order of answering."""

    id: str
    plan: Plan
    day: date
    started_at: datetime
    ended_at: datetime | None = None
    early: bool = False
    note: str = ""
    intentions: dict[str, str] = {}
    slots: list[SlotRun] = []
    breaks: list[BreakRun] = []
    added: list[Slot] = []
    try_ids: list[str] = []

    @property
    def played_s(self) -> float:
        """Seconds really played so far."""
        return sum(s.played_s or 0.0 for s in self.slots)

    def worked_before(self, step_id: str, at: datetime) -> bool:
        """Say whether a slot for work on a step had been going for a while at an instant.

        A slot that begins with the cold take leaves time for it: its player was told not to warm
        up, and a long passage is answered minutes later.
        """
        slots = {s.id: s for s in (*self.plan.slots, *self.added) if s.kind is SlotKind.WORK}
        return any(
            run.step_id == step_id
            and run.slot_id in slots
            and _worked(run, at, begins_cold=slots[run.slot_id].begins_cold)
            for run in self.slots
        )


def _worked(run: SlotRun, at: datetime, *, begins_cold: bool) -> bool:
    if begins_cold:
        return run.ended_at is not None and run.ended_at < at
    return (at - run.started_at).total_seconds() > BEFORE_WORK_S

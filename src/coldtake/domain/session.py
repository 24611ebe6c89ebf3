"""A session as it really went, derived from its events."""

from datetime import date, datetime

import msgspec

from coldtake.domain.plan import Plan, Slot


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

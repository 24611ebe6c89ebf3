"""Shared shapes of the day's optimisation, before anything is put into words."""

from dataclasses import dataclass

from coldtake.domain.plan import SlotKind


@dataclass(frozen=True, slots=True)
class PinnedSlot:
    """A slot the player insists on. None leaves minutes, place or time to the solver.

    at_min : minutes from the session's start to its beginning; number : of the wish in its request
    """

    step_id: str
    kind: SlotKind
    minutes: int | None = None
    period: int | None = None
    index: int | None = None
    at_min: int | None = None
    number: int = -1


@dataclass(frozen=True, slots=True)
class SlotDraft:
    """One slot to be placed: minutes decided, place not yet.

    gain : points; newness : 0 (safe already) to 1 (not there at all), new work goes earlier
    exercise : equal texts mean that the same thing is played ("" when nothing is written down)
    """

    step_id: str
    topic_id: str
    kind: SlotKind
    minutes: int
    gain: float = 0.0
    newness: float = 0.0
    exercise: str = ""
    wish: PinnedSlot | None = None

    @property
    def cold(self) -> bool:
        """Whether this is a cold take."""
        return self.kind is SlotKind.COLD

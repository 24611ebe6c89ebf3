"""What happened to one step so far, and the ways into all of it: by try, by take, in time."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from typing import Generic, TypeVar, overload
from zlib import crc32

import msgspec

from coldtake.domain.criterion import Criterion
from coldtake.domain.history.compressed_map import CompressedMap
from coldtake.domain.performance import StageTry
from coldtake.domain.progress import phase_changes, step_phase
from coldtake.domain.take import Answer, Judge, Take, Try, Work
from coldtake.domain.topic import StepPhase

T = TypeVar("T", Try, Take)


class StepHistory(msgspec.Struct, frozen=True, kw_only=True):
    """One step's tries, works and takes as they happened; `days` on which it was touched.

    A try that was taken back is gone, its day stays: the first try of that day was had.
    stage : what run-throughs and performances said of the step
    """

    tries: tuple[Try, ...] = ()
    works: tuple[Work, ...] = ()
    takes: tuple[Take, ...] = ()
    days: tuple[date, ...] = ()
    stage: tuple[StageTry, ...] = ()


NOTHING_YET = StepHistory()
Pasts = CompressedMap[str, StepHistory]


def touching(past: StepHistory, day: date) -> StepHistory:
    """Return a past in which the step was touched on that day."""
    if day in past.days:
        return past
    return msgspec.structs.replace(past, days=(*past.days, day))


class PhaseRecord(msgspec.Struct, frozen=True):
    """What follows from a step's tries: its phase now, and the days on which it changed."""

    phase: StepPhase
    changes: tuple[tuple[date, StepPhase], ...]


def answers_given(step_id: str, past: StepHistory) -> tuple[Try, ...]:
    """Return a step's tries and what runs of its piece said of it, oldest first.

    A piece that came out whole, in one chance from start to end, brought each of its steps: that is
    a clean cold try of them. Where it broke, it is one that was not clean.
    """
    if not past.stage:
        return past.tries
    said = [
        Try(
            id=f"{one.run_id}/{step_id}",
            step_id=step_id,
            at=one.at,
            day=one.day,
            answer=Answer.YES if one.clean else Answer.NO,
            judge=Judge.PLAYER,
            cold=True,
            run_id=one.run_id,
        )
        for one in past.stage
    ]
    return tuple(sorted((*past.tries, *said), key=lambda t: t.at))


def mark_of(criterion: Criterion, step_id: str, past: StepHistory) -> PhaseRecord:
    """Walk a step's answers once."""
    answers = answers_given(step_id, past)
    changes = phase_changes(criterion, answers)
    return PhaseRecord(
        step_phase(criterion, answers, bool(past.works)),
        tuple((attempt.day, phase) for attempt, phase in changes),
    )


class PhaseCache(dict[str, tuple[Criterion, PhaseRecord]]):
    """Marks known already, by step id. Says nothing that the state does not: always equal."""

    def copy(self) -> "PhaseCache":
        """Return one that goes its own way."""
        return PhaseCache(self)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, PhaseCache)

    __hash__ = None


class OwnerIndex:
    """To which steps the tries and takes of an id may belong. It only grows, so copies share it."""

    def __init__(self, told: Mapping[str, Sequence[int]] | None = None) -> None:
        self._steps: dict[int, str | tuple[str, ...]] = {}
        for step_id, keys in (told or {}).items():
            for key in keys:
                self._add(key, step_id)

    def add(self, thing_id: str, step_id: str) -> None:
        """Remember that a try or take of this id was given for a step."""
        self._add(crc32(thing_id.encode()), step_id)

    def of(self, thing_id: str) -> tuple[str, ...]:
        """Return the steps to look in: nearly always one, more where two ids have one sum."""
        known = self._steps.get(crc32(thing_id.encode()), ())
        return (known,) if isinstance(known, str) else known

    def told(self) -> dict[str, list[int]]:
        """Return all of it by step, for `OwnerIndex(told)`."""
        found: dict[str, list[int]] = {}
        for key, steps in self._steps.items():
            for step_id in (steps,) if isinstance(steps, str) else steps:
                found.setdefault(step_id, []).append(key)
        return found

    def _add(self, key: int, step_id: str) -> None:
        known = self._steps.setdefault(key, step_id)
        steps = (known,) if isinstance(known, str) else known
        if step_id not in steps:
            self._steps[key] = (*steps, step_id)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, OwnerIndex)

    __hash__ = None  # type: ignore[assignment]


class ById(Mapping[str, T], Generic[T]):
    """Tries or takes of all steps by id; going through all of them unpacks everything."""

    def __init__(
        self,
        pasts: Pasts,
        homes: OwnerIndex,
        count: int,
        read: Callable[[StepHistory], tuple[T, ...]],
    ) -> None:
        self._pasts, self._homes, self._count = pasts, homes, count
        self._read: Callable[[StepHistory], tuple[T, ...]] = read

    def __getitem__(self, key: str) -> T:
        for step_id in self._homes.of(key):
            past = self._pasts.get(step_id, NOTHING_YET)
            found = next((one for one in self._read(past) if one.id == key), None)
            if found is not None:
                return found
        raise KeyError(key)

    def __iter__(self) -> Iterator[str]:
        return (one.id for one in self.values())

    def values(self) -> list[T]:  # type: ignore[override]
        """Return all of them in the order of their instants."""
        every = [one for past in self._pasts.values() for one in self._read(past)]
        return sorted(every, key=lambda one: one.at)

    def __len__(self) -> int:
        return self._count


class Works(Sequence[Work]):
    """Work on all steps in the order of its instants; reading it unpacks everything."""

    def __init__(self, pasts: Pasts, any_work: bool) -> None:
        self._pasts, self._any = pasts, any_work

    def __bool__(self) -> bool:
        return self._any

    def __len__(self) -> int:
        return sum(len(past.works) for past in self._pasts.values())

    def __iter__(self) -> Iterator[Work]:
        every = [work for past in self._pasts.values() for work in past.works]
        return iter(sorted(every, key=lambda work: work.at))

    @overload
    def __getitem__(self, index: int) -> Work: ...
    @overload
    def __getitem__(self, index: slice) -> list[Work]: ...
    def __getitem__(self, index: int | slice) -> Work | list[Work]:
        return list(self)[index]

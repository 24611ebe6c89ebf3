"""The bars of a step that break by habit, and the next small step cut out of them.

Nothing is added by itself: an offer is a step that the player takes on with one touch.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.criterion import USUAL_TEMPO_ROOM, Criterion, NoStopsTest, NotesTest, TempoTest
from coldtake.domain.topic import PassageRef, Step
from coldtake.errors import RuleError
from coldtake.learning.breakdowns import BarOfTake, WeakBar, bars_of_take, weak_bars
from coldtake.music.theory.tempo import nearest_mark
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.music.passage import Passage
    from coldtake.practice.state.log import Log
    from coldtake.practice.topics.pile import Pile

TAKES_MOST = 12  # the last ones; what broke a year ago says nothing of today
SHOWN_MOST = 3
_SLOWER = 0.75  # of the step's own tempo (a guess, no source)
_MIN_A_BAR, _MIN_LEAST = 5, 10  # minutes of work for a stretch of bars: guesses, no source


class Cut(StrEnum):
    """How a step is cut out of a passage around a weak bar."""

    SLOWER = "slower"  # with the bar before and the bar after, at a lower tempo
    RHYTHM = "rhythm"  # the same bars, rhythm alone
    IN_TEMPO = "in_tempo"  # the bar with the way into it, at the step's own tempo


@dataclass(frozen=True, slots=True)
class Offer:
    """A step that could be taken on. first, last : bars of the whole passage as played, from 1."""

    cut: Cut
    first: int
    last: int
    mark: float | None
    step: Step


@dataclass(frozen=True, slots=True)
class WeakPlace:
    """A weak bar as printed, and what could be done about it."""

    bar: WeakBar
    label: str
    offers: tuple[Offer, ...]


class WeakBars:
    """Reads the last takes of a step bar by bar."""

    def __init__(self, log: Log, pile: Pile) -> None:
        self._log = log
        self._pile = pile

    @needs(Action.SEE)
    def of_step(self, step_id: str) -> tuple[WeakPlace, ...]:
        """Return a step's weak bars, most certain first. Raises NotFoundError, PassageError."""
        state = self._log.state()
        step = lookup.step(state, step_id)
        passage = self._pile.exercise_passage(step)
        if passage is None or step.exercise.passage is None:
            return ()
        weak = weak_bars(self._evidence(state, step, passage))[:SHOWN_MOST]
        if not weak:
            return ()
        whole = self._pile.passages.read(step.exercise.passage.passage_id)
        return tuple(
            WeakPlace(bar, passage.bars[bar.index].label, self._offers(state, step, bar, whole))
            for bar in weak
        )

    @needs(Action.CHANGE_TOPICS)
    def take_on(self, step_id: str, index: int, cut: Cut) -> Step:
        """Add the offered step before the one that it comes from. Raises RuleError."""
        offer = next(
            (
                offer
                for place in self.of_step(step_id)
                if place.bar.index == index
                for offer in place.offers
                if offer.cut is cut
            ),
            None,
        )
        if offer is None:
            raise RuleError(
                "This step is not suggested any more.", remedy="Look at the page of the step again."
            )
        new = msgspec.structs.replace(offer.step, id=self._log.new_id())
        with self._log.deciding() as state:
            order = [s.id for s in state.topic_steps(new.topic_id)]
            order.insert(order.index(step_id), new.id)
            self._log.append(
                ev.StepKept(step=new),
                ev.StepsOrdered(topic_id=new.topic_id, step_ids=tuple(order)),
            )
        return new

    def _evidence(self, state: State, step: Step, passage: Passage) -> list[dict[int, BarOfTake]]:
        takes = sorted(state.past(step.id).takes, key=lambda t: t.at)
        judged = [take for take in takes if take.verdict is not None][-TAKES_MOST:]
        whole = ((take, lookup.whole_verdict(self._log.store, take)) for take in judged)
        read = (bars_of_take(told, passage, cold=take.cold) for take, told in whole if told)
        return [bars for bars in read if bars]

    def _offers(self, state: State, step: Step, bar: WeakBar, whole: Passage) -> tuple[Offer, ...]:
        ref = step.exercise.passage
        assert ref is not None
        at = (ref.first_bar or 1) + bar.index  # in the whole passage, from 1
        around = (max(at - 1, 1), min(at + 1, len(whole.bars)))
        into = (max(at - 1, 1), at)
        unit = step.exercise.click.beat_unit_beats
        goal = step.exercise.tempo_bpm
        mark = goal / unit if goal else None
        slow = float(nearest_mark(_SLOWER * mark)) if mark else None
        made = [_offer(step, Cut.RHYTHM, around, mark, whole)] if bar.timing_only else []
        made.append(_offer(step, Cut.SLOWER, around, slow, whole))
        if mark:
            made.append(_offer(step, Cut.IN_TEMPO, into, mark, whole))
        own = (ref.first_bar or 1, ref.last_bar or len(whole.bars))
        there = {_asks(other) for other in state.topic_steps(step.topic_id)}
        return tuple(
            offer
            for offer in made
            if _asks(offer.step) not in there
            and not (offer.cut is Cut.IN_TEMPO and (offer.first, offer.last) == own)
        )


def _asks(step: Step) -> tuple[object, ...]:
    """What makes two steps the same work: bars, tempo, and whether pitches count."""
    return (step.exercise.passage, step.exercise.tempo_bpm, step.criterion.rhythm_only)


def _offer(
    step: Step, cut: Cut, bars: tuple[int, int], mark: float | None, whole: Passage
) -> Offer:
    first, last = bars
    unit = step.exercise.click.beat_unit_beats
    ref = step.exercise.passage
    assert ref is not None
    tempo = () if mark is None else (_tempo(mark, unit),)
    new = Step(
        id="offered",
        topic_id=step.topic_id,
        title=_title(whole, bars, cut, mark),
        criterion=Criterion(
            tests=(NotesTest(), NoStopsTest(), *tempo),
            times=step.criterion.times,
            rhythm_only=cut is Cut.RHYTHM or step.criterion.rhythm_only,
        ),
        exercise=msgspec.structs.replace(
            step.exercise,
            passage=PassageRef(passage_id=ref.passage_id, first_bar=first, last_bar=last),
            tempo_bpm=None if mark is None else mark * unit,
            clean_bpm=None,
            words="",
        ),
        need_min=max(_MIN_LEAST, _MIN_A_BAR * (last - first + 1)),
        requires=step.requires,
    )
    return Offer(cut, first, last, mark, new)


def _tempo(mark: float, unit: float) -> TempoTest:
    return TempoTest(mark=mark, beat_unit_beats=unit, within_percent=USUAL_TEMPO_ROOM)


def _title(whole: Passage, bars: tuple[int, int], cut: Cut, mark: float | None) -> str:
    """Such as "Bars 6 to 8, rhythm alone, at 72", by the numbers that are printed."""
    first, last = (whole.bars[i - 1].label for i in bars)
    name = f"Bar {first}" if first == last else f"Bars {first} to {last}"
    parts = [
        name,
        "rhythm alone" if cut is Cut.RHYTHM else "",
        f"at {mark:g}" if mark else "slowly",
    ]
    return ", ".join(part for part in parts if part)

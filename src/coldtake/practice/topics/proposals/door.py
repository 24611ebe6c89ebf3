"""Propose steps for a topic, and keep those that the player wants: all in one append, or none."""

from collections.abc import Collection
from typing import TYPE_CHECKING

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.events import AnyData
from coldtake.domain.history.state import State
from coldtake.domain.topic import PassageRef, Step
from coldtake.errors import RuleError
from coldtake.practice import lookup
from coldtake.practice.state.log import Log
from coldtake.practice.topics import rules
from coldtake.practice.topics.passages import Passages
from coldtake.practice.topics.proposals.asks import (
    AnyAsk,
    IntonationAsk,
    PieceAsk,
    PlainAsk,
    Proposal,
    ReadingAsk,
    RhythmAsk,
    TechniqueAsk,
    TuneAsk,
)
from coldtake.practice.validation import whole

if TYPE_CHECKING:
    from coldtake.practice.topics.proposals.own import OwnNeed


class Proposals:
    """Use cases of the break-down."""

    def __init__(self, log: Log, passages: Passages) -> None:
        self._log = log
        self._passages = passages

    def propose(self, topic_id: str, ask: AnyAsk) -> Proposal:
        """Lay out a topic's map; the same question gives the same answer. Raises InputError."""
        from coldtake.practice.topics.proposals import (
            intonation,
            piece,
            plain,
            reading,
            rhythm,
            technique,
            tune,
        )

        lookup.topic(self._log.state(), topic_id)
        ask = whole(ask)
        match ask:
            case PieceAsk():
                ref = PassageRef(
                    passage_id=ask.passage_id, first_bar=ask.first_bar, last_bar=ask.last_bar
                )
                self._passages.check(ref)
                return piece.propose(topic_id, ask, self._passages.selected(ref), self._own_need())
            case TechniqueAsk():
                return technique.propose(topic_id, ask)
            case TuneAsk():
                melody = self._passages.read(ask.passage_id) if ask.passage_id else None
                return tune.propose(topic_id, ask, melody, self._own_need())
            case RhythmAsk():
                return rhythm.propose(topic_id, ask)
            case IntonationAsk():
                return intonation.propose(topic_id, ask)
            case ReadingAsk():
                return reading.propose(topic_id, ask)
            case PlainAsk():
                return plain.propose(topic_id, ask)

    def _own_need(self) -> "OwnNeed":
        from coldtake.practice.topics.proposals.own import own_need

        return own_need(self._log.state(), self._passages.read)

    def keep(self, proposal: Proposal, step_ids: Collection[str] | None = None) -> tuple[Step, ...]:
        """Keep a proposal's steps, all or those named, at the end of their topic.

        A step that is there already stays as the player has made it. What waited for a step that is
        left out waits for what that one waited for. Raises RuleError, and then nothing is kept.
        """
        wanted = {s.id for s in proposal.steps} if step_ids is None else set(step_ids)
        steps = without(proposal.steps, wanted)
        if not steps:
            raise RuleError("No step was chosen.", remedy="Select the steps that you want.")
        with self._log.deciding() as state:
            new = tuple(step for step in steps if step.id not in state.steps)
            _check(state, new)
            used = {s.exercise.passage.passage_id for s in new if s.exercise.passage}
            data: list[AnyData] = [
                ev.PassageKept(passage=p)
                for p in proposal.passages
                if p.id in used and p.id not in state.passages
            ]
            data += [ev.StepKept(step=step) for step in new]
            if data:
                self._log.append(*data)
        return new


def without(steps: tuple[Step, ...], wanted: Collection[str]) -> tuple[Step, ...]:
    """The wanted steps, in order; needs lead past what was left out."""
    instead: dict[str, tuple[str, ...]] = {}
    kept = []
    for step in steps:  # what a step needs stands before it
        needs = tuple(dict.fromkeys(n for need in step.needs for n in instead.get(need, (need,))))
        if step.id in wanted:
            kept.append(msgspec.structs.replace(step, needs=needs))
        else:
            instead[step.id] = needs
    return tuple(kept)


def _check(state: State, steps: tuple[Step, ...]) -> None:
    """Every step must pass the rules of the map, with those before it in place."""
    trial = state.copy()
    for step in steps:
        whole(step, where=step.title)
        rules.check_step(trial, step)
        trial.steps[step.id] = step

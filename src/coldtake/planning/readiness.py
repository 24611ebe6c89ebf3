"""Whether a whole programme will come out on its day, and which steps it hangs on.

The days to the performance are lived as the outlook lives them, for possible players and possible
truths of every step; on the day each step's chance is moved by the stage effect and by the form of
the day, both the same for all pieces of a draw. So the programme's chance is no product of the
pieces' chances: a good day helps all of them. A piece is its last steps (`learning.stage_log`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from coldtake.domain.performance import Link, Performance, PieceOutlook, ProgrammeOutlook
from coldtake.domain.state import State
from coldtake.learning.beliefs import Beliefs, beliefs, cold_chances, enough
from coldtake.learning.law import Array
from coldtake.learning.stage import day_forms
from coldtake.learning.stage_log import effect_of, last_steps
from coldtake.planning.futures import Start, lived
from coldtake.planning.lookahead import begun, best_course, days_ahead, minutes_per_day, seeded
from coldtake.planning.on_the_day import chance_interval
from coldtake.planning.prospect import DAYS_MOST, ON_DATE
from coldtake.ports import Progress

DRAWS, BATCHES = 32, 4
TRIED = 12  # possible truths on which the courses are tried first


@dataclass(frozen=True, slots=True)
class Programme:
    """The steps that a programme hangs on: ids, and the row of each one's piece among `topics`."""

    topics: tuple[str, ...]
    steps: tuple[str, ...]
    piece: tuple[int, ...]


def programme_of(state: State, topic_ids: Sequence[str]) -> Programme:
    """Collect the last steps of the pieces that have any."""
    own = {t: [s.id for s in last_steps(state, t)] for t in topic_ids if t in state.topics}
    topics = tuple(t for t, steps in own.items() if steps)
    return Programme(
        topics,
        tuple(i for t in topics for i in own[t]),
        tuple(n for n, t in enumerate(topics) for _ in own[t]),
    )


def readiness(
    state: State,
    today: date,
    performance: Performance,
    *,
    minutes_per_day: float | None = None,
    progress: Progress | None = None,
) -> ProgrammeOutlook:
    """Look ahead to a performance that lies today or later.

    progress : asked after each batch of draws; when it says stop, those so far are the answer
    """
    programme = programme_of(state, performance.programme)
    ahead_days = min(max((performance.on - today).days, 0), DAYS_MOST + 1)
    on = today + timedelta(days=ahead_days)
    if not programme.steps:
        return _told(state, performance, programme, on, Futures.nothing(), ())
    ahead = _Ahead(state, today, programme, ahead_days, minutes_per_day)
    effect = effect_of(state, today)
    rooms: list[Array] = []
    for done in range(1, BATCHES + 1):
        rooms.append(ahead.room())
        words = f"{done * DRAWS} of {BATCHES * DRAWS} possible futures"
        if progress and not progress.step(done, BATCHES, words):
            break
    room = np.concatenate(rooms, axis=1)
    drawn, _ = effect.drawn(room.shape[1], np.random.default_rng(len(programme.steps)))
    return _told(state, performance, programme, on, futures(programme, room, drawn), ahead.known())


@dataclass(frozen=True, slots=True)
class Futures:
    """Chances on the day of each draw d, the form of the day integrated.

    steps : (S, D); pieces : (P, D); whole : (D,); if_sure : (S,) of the programme, that step sure
    """

    steps: Array
    pieces: Array
    whole: Array
    if_sure: Array

    @staticmethod
    def nothing() -> "Futures":
        """Return no step and no draw."""
        return Futures(np.zeros((0, 1)), np.zeros((0, 1)), np.zeros(1), np.zeros(0))


def futures(programme: Programme, room: Array, effect: Array) -> Futures:
    """Take the chances in the room (S, D) [logits] to the stage (effect (D,) [logits])."""
    forms, weights = day_forms()
    logit = room[:, :, None] + effect[None, :, None] + forms[None, None, :]
    clean = np.clip(1.0 / (1.0 + np.exp(-logit)), 1e-9, 1.0)
    member = np.equal(np.arange(len(programme.topics))[:, None], np.array(programme.piece)[None, :])
    logs = np.log(clean)
    pieces = np.exp(np.einsum("ps,sdk->pdk", member.astype(float), logs))
    whole = np.exp(logs.sum(axis=0))
    return Futures(
        clean @ weights,
        pieces @ weights,
        whole @ weights,
        ((whole[None] / clean) @ weights).mean(axis=1),
    )


class _Ahead:
    """The days to the performance, lived in batches."""

    def __init__(
        self, state: State, today: date, programme: Programme, days: int, per_day: float | None
    ) -> None:
        self.state, self.programme, self.ahead_days = state, programme, days
        self.tomorrow = today + timedelta(days=1)
        self.per_day = minutes_per_day(state, self.tomorrow) if per_day is None else per_day
        words = ("programme", *programme.topics, f"{self.per_day:.3f}")
        self.rng = seeded(state, self.tomorrow, *words)
        self.days = days_ahead(state, self.tomorrow, self.per_day)
        start = self._begun(TRIED)
        self.planned = {i: n for n, i in enumerate(start.steps.ids)}
        live = bool(start.steps.ids) and days > 1  # today and what was played today are known
        self.course = best_course(start, self.days, self.rng) if live else None
        self.own = beliefs(state, today, programme.steps)

    def _begun(self, draws: int) -> Start:
        start = begun(self.state, self.tomorrow, self.per_day, draws, self.rng)
        steps = start.steps
        mine = np.array([t in self.programme.topics for t in steps.topics], dtype=bool)
        dated = replace(
            steps,
            left=np.where(mine, max(self.ahead_days - 1, 0), steps.left),
            aim=np.where(mine, ON_DATE, steps.aim),
        )
        return replace(start, steps=dated)

    def room(self) -> Array:
        """Logits in the room on the day, (S, DRAWS); what is not planned is left alone."""
        alone = _left_alone(self.own, float(self.ahead_days), self.rng)
        found = {i: alone[row] for row, i in enumerate(self.own.step_ids)}
        if self.course is not None:
            start = self._begun(DRAWS)
            [future] = lived(start, [self.course], self.days, self.rng)
            found |= {i: future.final[n] for i, n in self.planned.items() if i in found}
        chance = np.stack([found[i] for i in self.programme.steps])
        chance = np.clip(chance, 1e-6, 1.0 - 1e-6)
        return np.asarray(np.log(chance / (1.0 - chance)))

    def known(self) -> tuple[str, ...]:
        """Topics of which enough is known to say something: of any of their steps."""
        steps = [s for t in self.programme.topics for s in self.state.topic_steps(t)]
        tried = {s.id for s in steps if self.state.past(s.id).days}
        b = beliefs(self.state, self.tomorrow, tried, types=self.own.types)
        known = {i for i, f in zip(b.step_ids, b.filters, strict=True) if enough(f)}
        return tuple({s.topic_id for s in steps if s.id in known})


def _left_alone(b: Beliefs, days: float, rng: np.random.Generator) -> Array:
    """Draw the chance of a clean cold take of each step, nothing of it being played till then."""
    chance = cold_chances(b, days)
    reached = np.cumsum(b.weight, axis=1)
    spot = (reached[:, None, :] < rng.random((len(chance), DRAWS))[:, :, None]).sum(axis=2)
    return np.take_along_axis(chance, np.minimum(spot, chance.shape[1] - 1), axis=1)


def _told(
    state: State,
    performance: Performance,
    programme: Programme,
    on: date,
    found: Futures,
    known: tuple[str, ...],
) -> ProgrammeOutlook:
    rows = {t: n for n, t in enumerate(programme.topics)}
    pieces = tuple(
        PieceOutlook(
            topic_id=t,
            chance=chance_interval(found.pieces[rows[t]] if t in rows else np.zeros(1)),
            enough=t in known,
        )
        for t in performance.programme
        if t in state.topics
    )
    links = [
        Link(
            step_id=step_id,
            topic_id=programme.topics[programme.piece[n]],
            chance=float(found.steps[n].mean()),
            programme_if_sure=float(found.if_sure[n]),
        )
        for n, step_id in enumerate(programme.steps)
    ]
    return ProgrammeOutlook(
        performance_id=performance.id,
        on=on,
        chance=chance_interval(found.whole),
        pieces=pieces,
        links=tuple(sorted(links, key=lambda link: -link.programme_if_sure)),
    )

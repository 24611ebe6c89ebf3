"""Whether a whole programme will be clean on stage, and which steps it hangs on.

The days to the performance are those of `forecast`: the same simulations, so that a step has one
chance in the practice room wherever it is asked for. On the day it is moved by the stage effect and
by the form of the day, both the same for all pieces of a draw. So the programme's chance is no
product of the pieces' chances: a good day helps all of them. A piece is its last steps
(`learning.stage_log`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from coldtake.domain.estimate import Interval
from coldtake.domain.history.state import State
from coldtake.domain.performance import Link, Performance, PieceOutlook, ProgrammeOutlook
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import beliefs, cold_chances, enough
from coldtake.learning.stage import day_forms
from coldtake.learning.stage_log import effect_of, last_steps
from coldtake.planning.value.day_outcomes import chance_interval, room_logits
from coldtake.planning.value.forecast import BATCHES, DRAWS, Forecast, forecasts
from coldtake.planning.value.step_arrays import DAYS_MOST
from coldtake.ports import Progress


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
        return _told(state, performance, programme, on, Futures.nothing(), frozenset())
    room = np.zeros((0, 0))
    for done, latest in enumerate(_rooms(state, today, programme, ahead_days, minutes_per_day), 1):
        room = latest
        words = f"{done * DRAWS} of {BATCHES * DRAWS} simulations"
        if progress and not progress.step(done, BATCHES, words):
            break
    found = futures(programme, room, _effect(state, today, room.shape[1]))
    return _told(state, performance, programme, on, found, _known(state, today, programme.topics))


def pieces_on_stage(state: State, ahead: Forecast) -> dict[str, Interval]:
    """Chance on stage of each topic that stands in a programme on the day looked at, by id."""
    dates = {t: ahead.on(t) for t in ahead.rows}
    staged = [
        t
        for t, on in dates.items()
        if any(p.on == on and t in p.programme for p in state.performances.values())
    ]
    if not staged:
        return {}
    row = {step_id: n for n, step_id in enumerate(ahead.steps.ids)}
    effect = _effect(state, ahead.today, ahead.logits.shape[1])
    found = {}
    for topic_id in staged:
        piece = programme_of(state, [topic_id])
        room = ahead.logits[[row[i] for i in piece.steps]]
        found[topic_id] = chance_interval(futures(piece, room, effect).pieces[0])
    return found


def _effect(state: State, today: date, draws: int) -> Array:
    """Draws of the stage effect [logits], the same for every programme (D,)."""
    drawn, _ = effect_of(state, today).drawn(BATCHES * DRAWS, np.random.default_rng(1))
    return drawn[:draws]


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


def _rooms(
    state: State, today: date, programme: Programme, ahead_days: int, per_day: float | None
) -> Iterator[Array]:
    """Logits in the practice room on the day, (S, D) with D growing; what is not planned is alone.

    Today itself is not looked ahead to: what was played today is known.
    """
    alone = _left_alone(state, today, programme, float(ahead_days))
    row = {step_id: n for n, step_id in enumerate(programme.steps)}
    if ahead_days < 1:
        yield alone
        return
    left = dict.fromkeys(programme.topics, ahead_days - 1)
    for done, ahead in enumerate(forecasts(state, today, minutes_per_day=per_day, left=left), 1):
        room = alone[:, : done * DRAWS].copy()
        if ahead is not None:
            for step_id, logits in zip(ahead.steps.ids, ahead.logits, strict=True):
                if step_id in row:
                    room[row[step_id]] = logits
        yield room


def _left_alone(state: State, today: date, programme: Programme, days: float) -> Array:
    """Draw the logit of each step, nothing of it being played till then (S, D)."""
    b = beliefs(state, today, programme.steps)
    chance = cold_chances(b, days)
    reached = np.cumsum(b.weight, axis=1)
    aims = np.random.default_rng(len(programme.steps)).random((len(chance), BATCHES * DRAWS))
    spot = (reached[:, None, :] < aims[:, :, None]).sum(axis=2)
    drawn = np.take_along_axis(chance, np.minimum(spot, chance.shape[1] - 1), axis=1)
    own = {step_id: drawn[n] for n, step_id in enumerate(b.step_ids)}
    topics = [programme.topics[n] for n in programme.piece]
    return room_logits(np.stack([own[i] for i in programme.steps]), topics)


def _known(state: State, today: date, topic_ids: Sequence[str]) -> frozenset[str]:
    """Steps of these topics that have takes enough to say something."""
    steps = [s for t in topic_ids for s in state.topic_steps(t)]
    tried = {s.id for s in steps if state.past(s.id).days}
    b = beliefs(state, today, tried)
    return frozenset(i for i, f in zip(b.step_ids, b.filters, strict=True) if enough(f))


def _told(
    state: State,
    performance: Performance,
    programme: Programme,
    on: date,
    found: Futures,
    known: frozenset[str],
) -> ProgrammeOutlook:
    topics = {state.steps[i].topic_id for i in known}
    rows = {t: n for n, t in enumerate(programme.topics)}
    pieces = tuple(
        PieceOutlook(
            topic_id=t,
            chance=chance_interval(found.pieces[rows[t]] if t in rows else np.zeros(1)),
            enough=t in topics,
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
            enough=step_id in known,
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

"""When a place comes free, and whose turn it is then.

A topic frees its place on the day when every step of it has been ready once, or when its date has
passed. Whoever waits takes the first free place, in the order of the queue, and holds it for the
days that its minutes take, longer where the player turns out to be slow; one whose date comes
before that lets the next one pass. Done for every possible future by itself, so that a turn has its
uncertainty.
"""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

import msgspec
import numpy as np

from coldtake.learning.law import Array
from coldtake.planning.prospect import DAYS_MOST


class Turn(msgspec.Struct, frozen=True, kw_only=True):
    """When a topic's turn comes: in 1, 5 and 9 of 10 possible futures; None: not in sight.

    date_first : share of the futures in which its date passes before its turn
    """

    early: date | None
    middle: date | None
    late: date | None
    date_first: float


def turns_of(
    ready: Mapping[str, Array],
    left: Mapping[str, int],
    spare: int,
    waiting: Sequence[tuple[str, float, float]],
    today: date,
) -> dict[str, Turn]:
    """Say when each waiting topic's turn comes.

    ready : for each current topic the first ready day of its steps (S, D), -1 for never
    left : days to the date of those that have one; spare : places free now
    waiting : (id, days that it would hold a place, days to its date, inf without), first turn first
    """
    busy = [_free_from(days, left.get(topic_id)) for topic_id, days in ready.items()]
    draws = next(iter(ready.values())).shape[1] if ready else 1
    places = np.stack([*busy, *(np.zeros(draws) for _ in range(spare))])
    pace = _pace(busy, draws)
    found: dict[str, Turn] = {}
    for topic_id, long, due in waiting:
        place = places.argmin(axis=0)
        turn = places[place, np.arange(draws)]
        passed = np.isfinite(due) & (turn >= due)
        end = np.minimum(turn + long * pace, due)
        places[place, np.arange(draws)] = np.where(passed, turn, end)
        found[topic_id] = _told(np.where(passed, np.inf, turn), float(passed.mean()), today)
    return found


def _free_from(ready: Array, left: int | None) -> Array:
    """Days until the place is free in each draw (D,); inf where that is not in sight."""
    whole = np.where((ready < 0).any(axis=0), np.inf, ready.max(axis=0))
    return whole if left is None else np.minimum(whole, left + 1.0)


def _pace(busy: Sequence[Array], draws: int) -> Array:
    """How slow the player is in each draw (D,), against the average of the draws."""
    if not busy:
        return np.ones(draws)
    days = np.minimum(np.stack(busy), DAYS_MOST).mean(axis=0)
    return np.asarray(days / max(float(days.mean()), 1.0))


def _told(turn: Array, date_first: float, today: date) -> Turn:
    ordered = np.sort(turn)
    spots = [min(int(np.ceil(len(ordered) * s)) - 1, len(ordered) - 1) for s in (0.1, 0.5, 0.9)]
    early, middle, late = (
        today + timedelta(days=int(ordered[p])) if np.isfinite(ordered[p]) else None for p in spots
    )
    return Turn(early=early, middle=middle, late=late, date_first=date_first)

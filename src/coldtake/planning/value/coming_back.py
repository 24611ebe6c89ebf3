"""Coming back after days away: less at first, and more each day by the player's own limit.

Days without playing count as away from `away_days` on (a setting), and from HURT_AWAY_DAYS on where
illness or pain was told for one of them. The first day back has half of the usual minutes, after
weeks away a third; each day played after it has more by the growth that the player allows
(`load_notice`), until the usual is reached. How much less and how fast is common practice, no
source; it is no medical statement.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from coldtake.domain.history.state import State
from coldtake.domain.history.told_days import minutes_told
from coldtake.domain.told_days import HURTS, DayKind
from coldtake.settings import value_of

HURT_AWAY_DAYS = 2
START, START_LONG = 1 / 2, 1 / 3  # of the usual minutes on the first day back
LONG_AWAY_DAYS = 28
LOOK_BACK = timedelta(days=120)


@dataclass(frozen=True, slots=True)
class ComingBack:
    """How a player comes back.

    share : of the usual minutes, below 1, for the day that was asked about
    away_days : days without playing; last : the last day played before them
    first : the first day back, which is the day that was asked about if none was played since
    why : what was told of the days away, in the order of its days
    """

    share: float
    away_days: int
    last: date
    first: date
    why: tuple[DayKind, ...]

    @property
    def hurt(self) -> bool:
        """Illness or pain was told."""
        return bool(HURTS.intersection(self.why))


def coming_back(state: State, day: date, today: date | None = None) -> ComingBack | None:
    """Say how the player comes back on a day, by the days played before it; None: as usual.

    today : from when on every day before `day` counts as played that is not told off, since nobody
        has been away on days that are still to come; None: `day` itself
    """
    growth = _growth(state)
    found: ComingBack | None = None
    played = _played_before(state, day)
    if played and today is not None and today < day:
        played = sorted({*played, *_to_come(state, today, day)})
    for last, now in pairwise([*played, day]):
        why = _why(state, last, now)
        away = (now - last).days - 1
        if is_away(state, away, why):
            found = ComingBack(start_of(away), away, last, now, why)
        elif found is not None:
            share = found.share * growth
            found = None if share >= 1 else ComingBack(share, *_rest(found))
    return found


def _rest(one: ComingBack) -> tuple[int, date, date, tuple[DayKind, ...]]:
    return one.away_days, one.last, one.first, one.why


def _growth(state: State) -> float:
    return 1.0 + value_of(state.settings, "load_notice") / 100.0


def is_away(state: State, days: int, why: Sequence[DayKind]) -> bool:
    """Say whether so many days without playing call for a gentle start."""
    hurt = bool(HURTS.intersection(why))
    return days >= (HURT_AWAY_DAYS if hurt else value_of(state.settings, "away_days"))


def start_of(away_days: int) -> float:
    """Return the share of the usual minutes on the first day back."""
    return START_LONG if away_days >= LONG_AWAY_DAYS else START


def _played_before(state: State, day: date) -> list[date]:
    """Days played before a day, the last one however long ago."""
    last = max((on for on in state.minutes_on if on < day), default=None)
    if last is None:
        return []
    return sorted(on for on in state.minutes_on if last - LOOK_BACK <= on <= last)


def _to_come(state: State, today: date, day: date) -> list[date]:
    """Days from today on and before a day on which there will be practice."""
    days = (today + timedelta(days=n) for n in range((day - today).days))
    return [on for on in days if minutes_told(state, on) != 0]


def _why(state: State, last: date, now: date) -> tuple[DayKind, ...]:
    if not state.days_told:
        return ()
    between = (last + timedelta(days=n) for n in range(1, (now - last).days))
    told = (state.days_told.get(d) for d in between)
    return tuple(dict.fromkeys(t.kind for t in told if t is not None and t.minutes == 0))


def shares_back(
    state: State, day: date, of_day: Sequence[float], told: Sequence[bool]
) -> list[float]:
    """Shorten the days ahead on which the player comes back, also from days that are told off.

    of_day : what each day from `day` on has of an average day; told : the player said its minutes,
        which stay
    """
    growth, found = _growth(state), coming_back(state, day)
    share = found.share if found else 1.0
    last = max((on for on in state.minutes_on if on < day), default=None)
    shares: list[float] = []
    for n, (usual, said) in enumerate(zip(of_day, told, strict=True)):
        now = day + timedelta(days=n)
        if n and usual > 0.0 and last is not None and last < now - timedelta(days=1):
            why = _why(state, last, now)
            away = (now - last).days - 1
            share = start_of(away) if is_away(state, away, why) else share
        shares.append(usual if said else usual * share)
        if usual > 0.0:
            last, share = now, min(share * growth, 1.0)
    return shares

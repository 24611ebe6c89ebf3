"""Topics go round: what part of the minutes each current topic is to have, whatever they are worth.

Two rules (design, section 3). With three or more topics that have something to do, none takes more
than `topic_share` of the minutes until the last seven days before its date, unless the others
together cannot use what it leaves. And more importance or a nearer date never means fewer minutes
over the week: each topic is to have a part of the minutes in proportion to its weight, which rises
with importance and the nearness of its date and has nothing to do with what minutes are thought to
be worth. What a topic had too little of in the last days is added to its part, so that a
week's sum is its part of the week's minutes, to a slot, in whatever order the days bring it. The
parts are filled like vessels of unlike width (water-filling), which is monotone in each weight;
what stands inside a part is chosen by worth (`choice`). A weight takes the need of a week ago: with
the need of today what a topic got on the first days would take from its part of all of them, and a
step met a day earlier could cost it more minutes than a nearer date had brought.

With more current topics than the largest limit that can be set on them (`MOST_TOPICS`), or where
the sessions of `touch_days` days cannot hold them, going round would be paid for by what matters
more: then worth alone decides, under the limit on a share. Where the largest share is set to all
of it, nobody goes round.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from coldtake.domain.history.state import State
from coldtake.domain.plan import PlanRules
from coldtake.domain.topic import Place, StepPhase
from coldtake.planning.value.at_hand import lacks

FREE_DAYS = 7  # days before its date in which a topic may take more than its share
WINDOW_DAYS = 6  # days before tonight that are made up for; with tonight, a week
NEAR_DAYS = 84.0  # a date so far ahead counts as none
NEAR_POWER = 0.5
NEED_POWER = 0.5
KEEPING = 0.2  # of the need of a step that is met
ANYTHING = 100  # share at which nobody goes round
MOST_TOPICS = 8  # the most that `current_topics` can be set to
LEAST_TOPICS = 3  # so many topics with something to do make the limit on a share

_DONE = frozenset({StepPhase.MET, StepPhase.HELD})
Reals = NDArray[np.float64]
Wholes = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Parts:
    """What each topic is to have of one evening's minutes.

    target : minutes, -1 where a topic takes no part; most : its limit
    exempt : minutes that may pass the share: one slot, and what the others cannot use
    insisted : minutes that the player insists on, which may pass it too
    """

    target: Wholes
    most: Wholes
    exempt: Wholes
    insisted: Wholes
    limited: NDArray[np.bool_]
    share_percent: int

    def counted(self, topic: int, size: int) -> Reals:
        """What 0 .. size - 1 minutes count, less than nothing (squares of minutes), from 0 on."""
        minutes = np.arange(size, dtype=np.float64)
        counted = np.zeros(size)
        if self.target[topic] >= 0:
            far = np.abs(minutes - self.target[topic])
            counted = far[0] ** 2 - far**2
        counted[int(self.most[topic]) + 1 :] = -np.inf
        return np.asarray(counted, dtype=np.float64)

    def exceeded(self, each: Mapping[int, int], used: int) -> bool:
        """Say whether a topic has more than its share of the minutes that were used."""
        return any(
            self.limited[i]
            and 100 * minutes > self.share_percent * used
            and minutes > max(self.exempt[i], self.insisted[i])
            for i, minutes in each.items()
        )

    def lower(self, used: int) -> "Parts":
        """The same with the limits that so many minutes have."""
        share = self.share_percent * used // 100
        free = np.maximum(self.exempt, self.insisted)
        lower = np.minimum(self.most, np.maximum(share, free))
        return replace(self, most=np.where(self.limited, lower, self.most))

    def freed(self, minutes: int, room: Mapping[int, int]) -> "Parts":
        """The same where only these topics (with their room) are in the session."""
        exempt, most = self.exempt.copy(), self.most.copy()
        for i, own in room.items():
            exempt[i] = max(exempt[i], minutes - (sum(room.values()) - own))
            most[i] = max(most[i], exempt[i])
        return replace(self, exempt=exempt, most=most)

    def bound(self, minutes: int) -> list[bool]:
        """Say for which topics the share is a limit on so many minutes, nothing being exempt."""
        most = self.share_percent * minutes // 100
        return [
            bool(on and free <= most) for on, free in zip(self.limited, self.exempt, strict=True)
        ]


@dataclass(frozen=True, slots=True)
class Rotation:
    """How topics go round, in the order of the choice's topics.

    weight : what a topic's part of the minutes is in proportion to, 0 where it takes no part
    owed : minutes by which it is behind its part of the last days
    busy : whether a step of it is still to be met and can be worked on
    limited : whether the limit on a share holds for it, where three topics are busy
    """

    weight: Reals
    owed: Reals
    busy: NDArray[np.bool_]
    limited: NDArray[np.bool_]
    share_percent: int

    @property
    def shares_out(self) -> bool:
        """Whether each topic is to have its part of the minutes, not only a limit."""
        return bool((self.weight > 0.0).any())

    def of(self, kept: Sequence[int]) -> "Rotation":
        """The same for some of the topics."""
        at = np.array(kept, dtype=int)
        return Rotation(
            weight=self.weight[at],
            owed=self.owed[at],
            busy=self.busy[at],
            limited=self.limited[at],
            share_percent=self.share_percent,
        )

    def parts(
        self,
        minutes: int,
        room: Sequence[int],
        least: Sequence[int],
        insisted: Sequence[int],
        topics_most: int,
    ) -> Parts:
        """Share an evening's minutes out.

        room : most minutes that each topic can use; least : fewest that it takes when it is in
        insisted : fewest that the player insists on
        """
        rooms, taking = np.array(room, dtype=np.int64), self.weight > 0.0
        limited = np.zeros(len(rooms), dtype=bool)
        if np.count_nonzero(self.busy) >= LEAST_TOPICS and topics_most > 1:
            limited = self.limited
        busy = np.where(self.busy, rooms, 0)
        others = [_largest(np.delete(busy, i), topics_most - 1) for i in range(len(rooms))]
        exempt = np.maximum(np.array(least), minutes - np.array(others, dtype=np.int64))
        share = self.share_percent * minutes // 100
        wanted = np.array(insisted, dtype=np.int64)
        most = np.where(limited, np.maximum(share, np.maximum(exempt, wanted)), minutes)
        room_left = np.where(taking, np.minimum(rooms, most), 0)
        target = np.where(taking, _rounded(self._filled(minutes, room_left)), -1)
        return Parts(target, most, exempt, wanted, limited, self.share_percent)

    def _filled(self, minutes: int, room: Wholes) -> Reals:
        """Fill each topic in proportion to its weight, from what it is behind, up to its room."""
        return filled(float(minutes), self.weight, self.owed, room.astype(np.float64))


def _largest(room: Wholes, count: int) -> int:
    return int(np.sort(room)[::-1][: max(count, 0)].sum())


def filled(minutes: float, weight: Reals, start: Reals, room: Reals) -> Reals:
    """Return x with x = clip(level * weight + start, 0, room) and the sum of x = minutes.

    The level is found between the bends of that sum, which is piecewise linear and never falls;
    where there is too little room, everything is full.
    """
    if room.sum() <= minutes:
        return room
    live = weight > 0.0
    bends = np.unique(
        np.concatenate([(-start[live]) / weight[live], (room - start)[live] / weight[live]])
    )
    sums = np.array([np.clip(b * weight + start, 0.0, room)[live].sum() for b in bends])
    after = int(np.searchsorted(sums, minutes))
    if after == 0:
        level = bends[0]
    else:
        low, high = bends[after - 1], bends[after]
        level = low + (high - low) * (minutes - sums[after - 1]) / (sums[after] - sums[after - 1])
    return np.where(live, np.clip(level * weight + start, 0.0, room), 0.0)


def _rounded(parts: Reals) -> Wholes:
    """Whole minutes of the same sum, the largest remainders rounded up; of equals the first."""
    whole = np.floor(parts + 1e-9).astype(np.int64)
    missing = round(float(parts.sum())) - int(whole.sum())
    order = np.argsort(-(parts - whole), kind="stable")
    whole[order[: max(missing, 0)]] += 1
    return whole


def near(days: int | None) -> float:
    """How much a date in so many days weighs, 1 for none; the nearer the more."""
    return 1.0 if days is None else math.pow(max(NEAR_DAYS / max(days, 1), 1.0), NEAR_POWER)


def rotation_of(
    state: State,
    day: date,
    rules: PlanRules,
    topics: Mapping[str, bool],
    minutes: int,
) -> Rotation | None:
    """Say how topics go round on a day; None where there are too many.

    topics : those with something to play, in the choice's order, and whether a step of each is
        still to be met
    """
    current = [state.topics[t].place is Place.CURRENT for t in topics]
    if rules.topic_share_percent == ANYTHING or sum(current) < 2:
        return None
    days = [days_left(state, t, day) for t in topics]
    limited = [
        on and (left is None or left > FREE_DAYS) for on, left in zip(current, days, strict=True)
    ]
    busy = [on and wanted for on, wanted in zip(current, topics.values(), strict=True)]
    weight, owed = np.zeros(len(topics)), np.zeros(len(topics))
    if all_go_round(rules, sum(current), minutes):
        week_ago = day - timedelta(days=WINDOW_DAYS)
        weight = np.array(
            [
                _weight(state, t, left, week_ago) * on
                for t, left, on in zip(topics, days, current, strict=True)
            ]
        )
        owed = _owed(state, day, topics, weight, rules.topic_share_percent)
    share = rules.topic_share_percent
    return Rotation(weight, owed, np.array(busy), np.array(limited), share)


def all_go_round(rules: PlanRules, topics: int, minutes: int) -> bool:
    """Say whether so many current topics can all be met again within their days."""
    return topics <= min(MOST_TOPICS, per_session(rules, minutes) * rules.touch_days)


def per_session(rules: PlanRules, minutes: int) -> int:
    """How many topics a session can hold."""
    return max(min(rules.topics_most, minutes // rules.slot_least_min), 1)


def days_left(state: State, topic_id: str, day: date) -> int | None:
    """Days until a topic must work, None where it has no date ahead."""
    on = state.topic_date(topic_id, day)
    return (on - day).days if on is not None and on >= day else None


def _weight(state: State, topic_id: str, left: int | None, since: date) -> float:
    need = max(_need_left(state, topic_id, since), 1.0)
    return state.topics[topic_id].importance * near(left) * math.pow(need, NEED_POWER)


def _need_left(state: State, topic_id: str, since: date) -> float:
    """Minutes by which a topic's steps were short of their own estimate on the morning of a day."""
    steps = [s for s in state.topic_steps(topic_id) if not lacks(state, s)]
    return sum(
        max(0.0 if done else s.need_min - minutes, KEEPING * s.need_min)
        for s in steps
        for done, minutes in [_stood(state, s.id, since)]
    )


def _stood(state: State, step_id: str, since: date) -> tuple[bool, float]:
    """Whether a step was met on the morning of a day, and its minutes until then."""
    before = [phase for day, phase in state.mark(step_id).changes if day < since]
    minutes = state.minutes_of.get(step_id, 0.0)
    if state.touched_since(step_id, since):
        minutes -= sum(w.minutes for w in state.past(step_id).works if w.day >= since)
    return bool(before) and before[-1] in _DONE, minutes


def _owed(
    state: State, day: date, topics: Collection[str], weight: Reals, share_percent: int
) -> Reals:
    """Minutes by which each topic is behind its part of the last days, since it was begun there."""
    taking = weight > 0.0
    most = np.where(taking, max(share_percent / 100.0, 1.0 / np.count_nonzero(taking)), 0.0)
    share = filled(1.0, weight, np.zeros(len(topics)), most)
    played = np.array(
        [_played(state, day, t) if on else _NO_DAYS for t, on in zip(topics, taking, strict=True)]
    )
    total = played.sum(axis=0)
    begun = np.cumsum(played, axis=1) > 0.0
    return np.asarray(((share[:, None] * total - played) * begun).sum(axis=1))


_NO_DAYS = [0.0] * WINDOW_DAYS


def _played(state: State, day: date, topic_id: str) -> list[float]:
    """Minutes played on a topic on each of the last days, the oldest first."""
    minutes = dict.fromkeys((day - timedelta(days=n) for n in range(WINDOW_DAYS, 0, -1)), 0.0)
    first = min(minutes)
    for step in state.topic_steps(topic_id):
        past = state.past(step.id)
        if past.days and max(past.days) >= first:
            for work in past.works:
                if work.day in minutes:
                    minutes[work.day] += work.minutes
    return list(minutes.values())


def due_topics(
    state: State, day: date, rules: PlanRules, topics: Sequence[str], minutes: int
) -> set[str]:
    """Topics that must be touched on a day, so that each is met again within `touch_days`.

    topics : those with a step to be met that can be worked on. The earliest deadlines come first,
    and as many of them as must be touched today so that the sessions of the days after hold the
    others in time.
    """
    current = [t for t in topics if state.topics[t].place is Place.CURRENT]
    each = per_session(rules, minutes)
    if not all_go_round(rules, _current_with_steps(state), minutes):
        return set()
    slack = {t: _slack(state, t, day, rules.touch_days) for t in current}
    must = max(
        (sum(s <= k for s in slack.values()) - each * k for k in range(rules.touch_days)), default=0
    )
    order = sorted(current, key=lambda t: slack[t])
    return set(order[: max(must, 0)])


def _current_with_steps(state: State) -> int:
    """How many topics are current and have steps, met ones too.

    Were only those counted that are still to be met, meeting some of many topics would make the
    others due, and minutes would go to what does not fit before its date.
    """
    current = (t.id for t in state.topics.values() if t.place is Place.CURRENT)
    return sum(bool(state.topic_steps(topic_id)) for topic_id in current)


def _slack(state: State, topic_id: str, day: date, touch_days: int) -> int:
    """Days that a topic can still wait, 0 where it is today's turn or was an earlier day's."""
    days = [d for s in state.topic_steps(topic_id) for d in state.past(s.id).days if d < day]
    return max(touch_days - (day - max(days)).days, 0) if days else 0

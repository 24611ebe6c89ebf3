"""What one change costs and brings: the days to come simulated twice, with it and without.

How things stand is the outlook's own number (`forecast`); what is found here is the difference, so
that this page and the outlook never say two numbers for one question. Of a topic that the outlook
does not look at, both numbers are from here.

Both ways meet the same possible players, the same possible truth of every step, the same missed
days and the same luck of every try, so that their difference shows the change and not the luck
(common random numbers: Glasserman and Yao 1992, Management Science 38:884; Law 2015, Simulation
Modeling and Analysis, 5th ed., ch. 11.2). In both, tonight's best course is chosen anew
(`priority_index.USUAL`), as the planner would. Like the forecast it is a shortcut of the planner.

Two uncertainties are told apart: the error of the computing, which falls with the draws (`error`,
a standard error), and what remains unknown of the player and the days (`low` to `high`). The latter
is the middle 80 % of the draws widened by SPREAD, fitted on some simulated players; on others 84 %
of what came lay within (bench/planning/RESULTS.md).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import msgspec
import numpy as np

from coldtake.domain.estimate import TopicOutlook
from coldtake.domain.history.state import State
from coldtake.domain.topic import Place
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import Posterior, enough_rows
from coldtake.planning.outlook.summary import outlook
from coldtake.planning.value.day_outcomes import day_chances, room_logits
from coldtake.planning.value.lookahead import DRAWS as TRIED
from coldtake.planning.value.lookahead import (
    begun,
    days_ahead,
    seeded,
)
from coldtake.planning.value.minutes_ahead import minutes_per_day
from coldtake.planning.value.needs import as_believed
from coldtake.planning.value.priority_index import USUAL, IndexPolicy, costs, fitting, topic_rows
from coldtake.planning.value.rollout import CalendarAssumptions, RolloutResult, Start, drawn, lived
from coldtake.planning.value.step_arrays import StepArrays, steps_ahead
from coldtake.planning.value.topic_queue import StartEstimate, TopicQueue, queue_of
from coldtake.planning.what_if.pile_needs import by_worth, candidates, open_topics
from coldtake.planning.what_if.what_if_scenario import (
    WhatIf,
    check,
    current,
    current_then,
    lent,
    supposed_state,
)
from coldtake.ports import Progress

BATCHES = 8
DRAWS = 32  # in a batch
SPREAD = 1.65  # a life has its own luck, the futures share theirs; fitted (bench/planning)


class Difference(msgspec.Struct, frozen=True, kw_only=True):
    """Then minus now. mean : with its standard error; low, high : 80 % interval."""

    mean: float
    error: float
    low: float
    high: float


class TopicThen(msgspec.Struct, frozen=True, kw_only=True):
    """One topic, now and then.

    on_now, on : day looked at (its date, or eight weeks ahead)
    current_now, current_then : tomorrow takes from it
    steps_now, steps_then : expected number of its `steps` that come out clean cold on that day
    whole_now, whole_then : chance that all of them do
    fits_now, fits_then : its minutes are there until its date beside what brings more for them;
        of what does not fit the plan leaves most
    lent : it has no steps yet and was lent some; enough : there are takes enough to say so
    """

    topic_id: str
    steps: int
    on_now: date
    on: date
    current_now: bool
    current_then: bool
    steps_now: float
    steps_then: float
    clean: Difference
    whole_now: float
    whole_then: float
    whole: Difference
    fits_now: bool
    fits_then: bool
    lent: bool
    enough: bool


class TurnThen(msgspec.Struct, frozen=True, kw_only=True):
    """When the turn of a topic that waits comes, now and then; None: it is current, or no place."""

    topic_id: str
    now: StartEstimate | None
    then: StartEstimate | None


class WhatIfFound(msgspec.Struct, frozen=True, kw_only=True):
    """What a change costs and brings, from so many simulations.

    others : steps clean on their dates, of all topics that are current both now and then and that
        the change does not name; all : of all topics that are current now or then
    waiting : the topics that wait now or then, the next turn first
    """

    draws: int
    topics: tuple[TopicThen, ...]
    waiting: tuple[TurnThen, ...]
    others: Difference
    all: Difference


@dataclass(frozen=True, slots=True)
class Way:
    """One way to go on: its steps (those of topics not current have no weight), its days.

    fits : ids of the topics whose minutes are there until their dates
    """

    current: frozenset[str]
    steps: StepArrays
    days: CalendarAssumptions
    per_day: float
    course: IndexPolicy
    fits: frozenset[str]

    def start(self, start: Start) -> Start:
        """Begin this way from a common start."""
        return replace(start, steps=self.steps, per_day=self.per_day)


@dataclass(frozen=True, slots=True)
class Pair:
    """Now and then over the same D draws, as lived so far."""

    now: RolloutResult
    then: RolloutResult


class Paired:
    """The two ways from one start. Equal states, days and suppositions give equal draws."""

    def __init__(
        self,
        state: State,
        today: date,
        what_if: WhatIf,
        ahead: Sequence[TopicOutlook] | None = None,
    ) -> None:
        check(state, what_if)
        self.state, self.today, self.what_if = state, today, what_if
        self.tomorrow = today + timedelta(days=1)
        self.rng = seeded(state, self.tomorrow, "what if")
        before, after = current(state), current_then(state, what_if)
        self.topics = before | after
        wide = supposed_state(state, self.topics, WhatIf())
        per_day = minutes_per_day(state, self.tomorrow)
        self.start = as_believed(wide, begun(wide, self.tomorrow, per_day, TRIED, self.rng))
        if not self.start.steps.ids:
            return
        known = outlook(state, today) if ahead is None else ahead
        self.outlook = {one.topic_id: one for one in known}
        days = days_ahead(state, self.tomorrow, per_day)
        then = supposed_state(state, self.topics, what_if)
        self.seed = int(self.rng.integers(2**62))
        self.now = self._way(wide, before, days, WhatIf())
        self.then = self._way(then, after, _days_then(days, what_if), what_if)
        self.queue_now = self._queue(self.now, WhatIf())
        self.queue_then = self._queue(self.then, what_if)

    @property
    def empty(self) -> bool:
        """There is no step to look at."""
        return not self.start.steps.ids

    @property
    def beliefs(self) -> Posterior:
        """What is believed of every step."""
        return self.start.beliefs

    def _way(
        self, state: State, topics: frozenset[str], days: CalendarAssumptions, supposed: WhatIf
    ) -> Way:
        steps = steps_ahead(state, self.tomorrow, self.beliefs)
        playing = np.array([t in topics for t in steps.topics], dtype=float)
        shares = steps.shares
        if supposed.free_from is not None:
            first = (supposed.free_from - self.tomorrow).days
            shares = shares.without(first, supposed.free_days)
        steps = replace(steps, weight=steps.weight * playing, shares=shares)
        start = replace(self.start, steps=steps, per_day=days.minutes * days.share)
        cost = costs(steps, start.need, start.played, USUAL.reach)
        fits = fitting(steps, cost, start.per_day) >= 1.0
        fitting_topics = frozenset(t for t, rows in topic_rows(steps).items() if fits[rows].all())
        return Way(topics, steps, days, start.per_day, USUAL, fitting_topics)

    def _queue(self, way: Way, supposed: WhatIf) -> TopicQueue:
        topics = self.state.topics.values()
        current = {t.id for t in topics if t.place is Place.CURRENT} - set(supposed.leave)
        bare = lent(self.state, current) - way.current  # nothing to play yet, and yet a place taken
        waiting = open_topics(self.state) - way.current - bare
        known = candidates(self.state, self.today, way.per_day, supposed, only=waiting)
        line = by_worth(known.values())
        return queue_of(
            self.state, self.today, way.steps, way.per_day, line, supposed.dates, len(bare)
        )

    def waiting(self, done: list[Pair]) -> tuple[TurnThen, ...]:
        """Say when the turn of each waiting topic comes, now and then."""
        now = self.queue_now.turns([pair.now for pair in done])
        then = self.queue_then.turns([pair.then for pair in done])
        ids = dict.fromkeys([*then, *now])
        return tuple(TurnThen(topic_id=i, now=now.get(i), then=then.get(i)) for i in ids)

    def live(self, draws: int, number: int) -> Pair:
        """Live both ways through the same further draws; `number` counts the batches."""
        rng = np.random.default_rng((self.seed, number))
        thin = drawn(self.beliefs, self.start.steps, draws, rng)
        luck = int(rng.integers(2**62))
        start = replace(self.start, thin=thin)
        now, then = (
            lived(way.start(start), [way.course], way.days, np.random.default_rng(luck))[0]
            for way in (self.now, self.then)
        )
        return Pair(now, then)


def what_if(
    state: State,
    today: date,
    supposed: WhatIf,
    *,
    ahead: Sequence[TopicOutlook] | None = None,
    progress: Progress | None = None,
) -> WhatIfFound:
    """Say what a change costs and brings. Raises InputError for a topic that is not there.

    ahead : the outlook as things stand, where it is known already
    progress : asked after every batch; when it says stop, the draws so far are the answer
    """
    found = WhatIfFound(draws=0, topics=(), waiting=(), others=_NOTHING, all=_NOTHING)
    for done, latest in enumerate(refined(state, today, supposed, ahead), start=1):
        found = latest
        words = f"{found.draws} of {BATCHES * DRAWS} simulations"
        if progress and not progress.step(done, BATCHES, words):
            break
    return found


def refined(
    state: State, today: date, supposed: WhatIf, ahead: Sequence[TopicOutlook] | None = None
) -> Iterator[WhatIfFound]:
    """Give the answer after each batch of draws, every time from all draws so far."""
    paired = Paired(state, today, supposed, ahead)
    if paired.empty:
        return
    done: list[Pair] = []
    for number in range(BATCHES):
        done.append(paired.live(DRAWS, number))
        yield told(paired, done)


def told(paired: Paired, done: list[Pair]) -> WhatIfFound:
    """Put the draws so far into numbers."""
    now, then = (
        day_chances(room_logits(np.concatenate(final, axis=1), paired.start.steps.topics))
        for final in ([pair.now.final for pair in done], [pair.then.final for pair in done])
    )
    rows = topic_rows(paired.start.steps)
    enough = np.array(enough_rows(paired.beliefs))[paired.start.steps.rows]
    topics = tuple(
        _topic(paired, topic_id, own, now[own], then[own], enough=bool(enough[own].any()))
        for topic_id, own in rows.items()
    )
    gain = {topic_id: (then[own] - now[own]).sum(axis=0) for topic_id, own in rows.items()}
    fixed = (paired.now.current & paired.then.current) - paired.what_if.named
    nothing = np.zeros(now.shape[1])
    return WhatIfFound(
        draws=now.shape[1],
        topics=topics,
        waiting=paired.waiting(done),
        others=difference(sum((gain[t] for t in rows if t in fixed), nothing)),
        all=difference(sum(gain.values(), nothing)),
    )


def difference(gain: Array) -> Difference:
    """Mean, standard error and 80 % interval of paired differences (D,), D > 1."""
    mean, error = gain.mean(), gain.std(ddof=1) / np.sqrt(gain.size)
    low, high = mean + SPREAD * (np.quantile(gain, (0.1, 0.9)) - mean)
    return Difference(mean=float(mean), error=float(error), low=float(low), high=float(high))


_NOTHING = Difference(mean=0.0, error=0.0, low=0.0, high=0.0)


def _days_then(days: CalendarAssumptions, supposed: WhatIf) -> CalendarAssumptions:
    return replace(days, minutes=max(days.minutes + supposed.more_min, 0.0))


def _topic(
    paired: Paired, topic_id: str, rows: list[int], now: Array, then: Array, *, enough: bool
) -> TopicThen:
    first = rows[0]
    whole_now, whole_then = now.prod(axis=0), then.prod(axis=0)
    clean, whole = difference((then - now).sum(axis=0)), difference(whole_then - whole_now)
    known = paired.outlook.get(topic_id)
    steps_now = known.expected_steps if known else float(now.sum(axis=0).mean())
    all_now = known.ready_chance if known else float(whole_now.mean())
    return TopicThen(
        topic_id=topic_id,
        steps=len(rows),
        on_now=paired.tomorrow + timedelta(days=int(paired.now.steps.left[first])),
        on=paired.tomorrow + timedelta(days=int(paired.then.steps.left[first])),
        current_now=topic_id in paired.now.current,
        current_then=topic_id in paired.then.current,
        steps_now=steps_now,
        steps_then=min(max(steps_now + clean.mean, 0.0), float(len(rows))),
        clean=clean,
        whole_now=all_now,
        whole_then=min(max(all_now + whole.mean, 0.0), 1.0),
        whole=whole,
        fits_now=topic_id in paired.now.fits,
        fits_then=topic_id in paired.then.fits,
        lent=topic_id in lent(paired.state, (topic_id,)),
        enough=enough,
    )

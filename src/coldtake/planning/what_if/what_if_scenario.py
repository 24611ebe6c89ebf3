"""What is supposed to be otherwise, and the state that would follow.

Nothing is kept: a supposed state is looked ahead from and thrown away. A topic that has no steps
yet is lent some, so that it can be weighed at all: as many as the player's other topics of its kind
have, with as many minutes each; who shows it says so.
"""

from collections.abc import Collection, Mapping
from datetime import date
from statistics import fmean, median

import msgspec

from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.history.state import State
from coldtake.domain.performance import Performance
from coldtake.domain.topic import Place, Step, Topic, TopicKind
from coldtake.errors import InputError
from coldtake.planning.value.step_arrays import plannable

LENT_STEPS = 6  # steps of a topic while no topic has any; a guess
LENT_MIN = 40  # their minutes, the default of a step


class WhatIf(msgspec.Struct, frozen=True, kw_only=True):
    """What is supposed; as it stands here, nothing is.

    take_on, leave : ids of topics that become current, and that wait or are laid aside
    more_min : minutes more on each day with a session, negative for fewer
    free_from, free_days : the first of so many days without playing
    dates : another date, None for no date; importances : 1 to 5; both by topic id
    """

    take_on: tuple[str, ...] = ()
    leave: tuple[str, ...] = ()
    more_min: int = 0
    free_from: date | None = None
    free_days: int = 0
    dates: Mapping[str, date | None] = msgspec.field(default_factory=dict[str, date | None])
    importances: Mapping[str, int] = msgspec.field(default_factory=dict[str, int])

    @property
    def named(self) -> set[str]:
        """Ids of the topics that it speaks of."""
        return {*self.take_on, *self.leave, *self.dates, *self.importances}


def check(state: State, what_if: WhatIf) -> None:
    """Raise InputError when a topic is not there, or an importance is none."""
    for topic_id in sorted(what_if.named):
        if topic_id not in state.topics:
            raise InputError(
                "This topic was not found.", where="what if", remedy="Choose one of your topics."
            )
    for topic_id, importance in what_if.importances.items():
        if not 1 <= importance <= 5:
            raise InputError(
                f"Importance {importance} is not possible.",
                where=state.topics[topic_id].title,
                remedy="Choose 1 (very low) to 5 (very high).",
            )


def current(state: State) -> frozenset[str]:
    """Ids of the topics that tomorrow takes from and that have steps."""
    return frozenset(i for i in plannable(state) if state.order.get(i))


def current_then(state: State, what_if: WhatIf) -> frozenset[str]:
    """Ids of the topics that tomorrow would take from."""
    topics = state.topics.values()
    now = {t.id for t in topics if t.place is Place.CURRENT and state.order.get(t.id)}
    then = (now | set(what_if.take_on)) - set(what_if.leave)
    return frozenset(then) if then else current(state) - frozenset(what_if.leave)


def lent(state: State, topic_ids: Collection[str]) -> frozenset[str]:
    """Ids of those of the topics that have no step of their own."""
    return frozenset(i for i in topic_ids if not state.topic_steps(i))


def supposed_state(state: State, topic_ids: Collection[str], what_if: WhatIf) -> State:
    """Return the state in which just these topics are current, dates and importances supposed."""
    topics = {
        i: msgspec.structs.replace(
            _changed(topic, what_if), place=Place.CURRENT if i in topic_ids else Place.LAID_ASIDE
        )
        for i, topic in state.topics.items()
    }
    steps, order = dict(state.steps), dict(state.order)
    for topic_id in sorted(lent(state, topic_ids)):
        guess = lent_to(state, topic_id)
        made = [_lent_step(topic_id, n, guess.minutes) for n in range(guess.steps)]
        steps |= {step.id: step for step in made}
        order[topic_id] = tuple(step.id for step in made)
    stage = {i: _without(known, what_if.dates) for i, known in state.performances.items()}
    return msgspec.structs.replace(
        state, topics=topics, steps=steps, order=order, performances=stage
    )


def _without(known: Performance, topic_ids: Collection[str]) -> Performance:
    """Take topics out of a programme: another date is supposed for them."""
    left = tuple(i for i in known.programme if i not in topic_ids)
    return msgspec.structs.replace(known, programme=left)


def _changed(topic: Topic, what_if: WhatIf) -> Topic:
    return msgspec.structs.replace(
        topic,
        performance_on=what_if.dates.get(topic.id, topic.performance_on),
        importance=what_if.importances.get(topic.id, topic.importance),
    )


class Lent(msgspec.Struct, frozen=True, kw_only=True):
    """Steps that a topic without any is lent: how many, with so many minutes each.

    like : the kind of the player's topics that they are taken from; None: from all of them
    of : how many topics that were; 0: there is none yet, it is a plain guess
    """

    steps: int
    minutes: int
    like: TopicKind | None
    of: int


def lent_to(state: State, topic_id: str) -> Lent:
    """Guess a topic's steps from the player's others: those of its kind, else all.

    Of counts the median. Of minutes the mean: a piece's short steps are many and its long ones few,
    so that many times the median would come to less than any of its pieces took.
    """
    laid_out = [t for t in state.topics.values() if state.topic_steps(t.id)]
    kind = state.topics[topic_id].kind
    alike = [t for t in laid_out if t.kind is kind]
    chosen = alike or laid_out
    steps = [state.topic_steps(t.id) for t in chosen]
    minutes = [step.need_min for own in steps for step in own]
    return Lent(
        steps=max(round(median([len(own) for own in steps] or [LENT_STEPS])), 1),
        minutes=round(fmean(minutes or [LENT_MIN])),
        like=kind if alike else None,
        of=len(chosen),
    )


def _lent_step(topic_id: str, number: int, minutes: int) -> Step:
    return Step(
        id=f"{topic_id}/{number}",
        topic_id=topic_id,
        title=f"Step {number + 1}",
        criterion=Criterion(tests=(NotesTest(),)),
        need_min=minutes,
    )

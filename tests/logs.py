"""Logs made by hand for the tests of learning and planning."""

from datetime import UTC, date, datetime, timedelta

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.history.projection import fold
from coldtake.domain.history.state import State
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place, Step, Topic

DAY = date(2026, 3, 2)


class Log:
    """Grows event by event; `state` folds it."""

    def __init__(self):
        self.events = []
        self.at = datetime(2026, 3, 2, 17, tzinfo=UTC)

    def put(self, data, day=0):
        instant = self.at + timedelta(days=day, seconds=len(self.events))
        event = ev.Event(
            id=f"e{len(self.events):06d}", at=instant, day=DAY + timedelta(days=day), data=data
        )
        self.events.append(event)
        return self

    def topic(self, topic_id, steps=1, *, on=None, importance=3, need=40, chain=False):
        topic = Topic(
            id=topic_id,
            title=topic_id,
            importance=importance,
            performance_on=on,
            place=Place.CURRENT,
        )
        self.put(ev.TopicKept(topic=topic))
        for n in range(steps):
            step = Step(
                id=f"{topic_id}.{n}",
                topic_id=topic_id,
                title=f"{topic_id} {n}",
                criterion=Criterion(tests=(NotesTest(),)),
                need_min=need,
                needs=(f"{topic_id}.{n - 1}",) if chain and n else (),
            )
            self.put(ev.StepKept(step=step))
        return self

    def answer(self, step_id, yes, day=0, judge=Judge.PLAYER):
        said = Answer.YES if yes else Answer.NO
        tried = ev.TryAnswered(
            try_id=f"t{len(self.events)}", step_id=step_id, answer=said, judge=judge
        )
        return self.put(tried, day)

    def work(self, step_id, minutes, day=0):
        ended = ev.SlotEnded(session_id="s", slot_id="x", step_id=step_id, played_s=60.0 * minutes)
        return self.put(ended, day)

    def practised(self, step_id, days, *, minutes=8, yes=True):
        """On each day a cold take, work, and a warm take."""
        for day in days:
            self.answer(step_id, yes, day).work(step_id, minutes, day).answer(step_id, yes, day)
        return self

    @property
    def state(self) -> State:
        return fold(self.events)

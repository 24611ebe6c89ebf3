from datetime import timedelta

import pytest

from coldtake.planning.outlook import BATCHES, DRAWS, outlook, refined
from logs import DAY, Log


def on(days):
    return DAY + timedelta(days=days)


@pytest.fixture(scope="module")
def log():
    made = Log().topic("a", 3, on=on(30)).topic("b", 2)
    return made.practised("a.0", [0, 2, 5]).practised("a.1", [1, 3, 6], yes=False)


def ordered(interval):
    return interval.low <= interval.mid <= interval.high


def test_an_empty_pile_has_no_outlook():
    assert outlook(Log().state, DAY) == ()


def test_each_topic_on_its_date_with_intervals(log):
    a, b = outlook(log.state, on(7))
    assert (a.topic_id, a.on) == ("a", on(30))
    assert b.on > on(50)  # no date: eight weeks
    for topic in (a, b):
        assert ordered(topic.clean_steps)
        assert topic.clean_steps.low >= 0.0
        assert topic.clean_steps.high <= len(topic.steps)
        assert 0.0 <= topic.ready_chance <= min(s.chance.mid for s in topic.steps) + 1e-9
        assert all(ordered(s.chance) for s in topic.steps)
    assert a.enough
    assert not b.enough
    assert [s.enough for s in a.steps] == [True, True, False]


def test_equal_logs_give_equal_outlooks(log):
    assert outlook(log.state, on(7)) == outlook(log.state, on(7))


def test_more_minutes_a_day_make_more_ready(log):
    little = outlook(log.state, on(7), minutes_per_day=5.0)
    much = outlook(log.state, on(7), minutes_per_day=60.0)
    for few, many in zip(little, much, strict=True):
        assert many.clean_steps.mid >= few.clean_steps.mid
        assert many.ready_chance >= few.ready_chance
    assert much[0].ready_chance > little[0].ready_chance + 0.05


def test_early_middle_and_late_come_in_order(log):
    a = outlook(log.state, on(7), minutes_per_day=60.0)[0]
    early, middle, late = a.ready_by
    assert early is not None
    known = [d for d in (early, middle, late) if d is not None]
    assert known == sorted(known)
    assert late is None or middle is not None


def test_it_can_be_stopped_and_tells_how_far_it_is(log):
    class Watch:
        seen = ()

        def step(self, done, total, words):
            self.seen = (*self.seen, (done, total, words))
            return done < 2

    watch = Watch()
    found = outlook(log.state, on(7), progress=watch)
    assert [s[:2] for s in watch.seen] == [(1, BATCHES), (2, BATCHES)]
    assert watch.seen[0][2].startswith(str(DRAWS))
    batches = list(refined(log.state, on(7)))
    assert len(batches) == BATCHES
    assert found == batches[1]

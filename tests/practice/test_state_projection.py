"""The state that is kept up as events come equals the state rebuilt from the whole log."""

import threading
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.domain import events as ev
from coldtake.domain.history.projection import fold, order_key
from coldtake.domain.ids import uuid7
from coldtake.domain.take import Answer, Judge
from coldtake.practice.state import state_projection
from coldtake.practice.state.state_projection import StateProjection
from making import NOON, event, step, topic

CHOICES = [
    *(
        ev.TryAnswered(try_id=f"t{n}", step_id="s", answer=Answer.NO, judge=Judge.PLAYER)
        for n in range(4)
    ),
    ev.AnswerTakenBack(try_id="t1"),
    ev.StepKept(step=step()),
    ev.StepDropped(step_id=step().id),
    ev.TopicKept(topic=topic()),
    ev.SettingChosen(name="a4_hz", value="442"),
    ev.SettingChosen(name="a4_hz", value="440"),
]
LOG = st.lists(
    st.tuples(st.sampled_from(CHOICES), st.integers(0, 30)), min_size=1, max_size=60
).map(
    lambda told: list(
        {
            e.id: e
            for n, (data, minute) in enumerate(told)
            for e in [event(data, at=NOON + timedelta(minutes=minute), name=str(n))]
        }.values()
    )
)


class Rows:
    """A store that can only be read."""

    def __init__(self, rows):
        self.rows = rows

    def events(self, after=0):
        return iter(row for row in self.rows() if row[0] > after)

    def last_sequence(self):
        return max((row[0] for row in self.rows()), default=0)

    def history(self):
        return iter(sorted(self.rows(), key=lambda row: order_key(row[1])))


@settings(max_examples=100, deadline=None)
@given(LOG, st.lists(st.integers(1, 12), min_size=1), st.integers(2, 10), st.integers(1, 6))
def test_kept_up_equals_rebuilt(log, sizes, recent, every):
    """Whatever comes late, in whatever portions, and however little is kept as recent."""
    rows = list(enumerate(log, start=1))
    before = state_projection.RECENT_MOST, state_projection.MARK_EVERY
    state_projection.RECENT_MOST, state_projection.MARK_EVERY = recent, every
    try:
        upto, turn = 0, 0
        kept = StateProjection(Rows(lambda: rows[:upto]))
        while upto < len(rows):
            portion = rows[upto : upto + sizes[turn % len(sizes)]]
            upto += len(portion)
            turn += 1
            kept.take_in(portion)
            assert kept.snapshot() == fold(log[:upto])
            assert kept.seen == upto
    finally:
        state_projection.RECENT_MOST, state_projection.MARK_EVERY = before


def test_rows_that_a_rebuild_has_read_already_are_not_doubled():
    """Another process appended while the whole log was read again."""
    worked = ev.SlotEnded(session_id="s", slot_id="x", step_id="s", played_s=60)
    later = event(CHOICES[0], at=NOON + timedelta(minutes=5))
    early = event(CHOICES[1], at=NOON)
    newest = event(worked, at=NOON + timedelta(minutes=9))
    rows = [(1, later), (2, early), (3, newest)]
    kept = StateProjection(Rows(lambda: rows))
    kept.take_in(rows[:1])
    kept._marks, kept._recent = (
        [state_projection._Mark(0, fold([later]))],
        [],
    )  # as if it were long ago
    kept.take_in(rows[1:2])
    kept.take_in(rows[2:])
    assert kept.snapshot() == fold([later, early, newest])


def test_a_snapshot_stays_as_it_was(services):
    services.pile.add("one")
    before = services.state()
    services.pile.add("two")
    assert len(before.topics) == 1
    assert len(services.state().topics) == 2
    assert services.state() is services.state()


def test_what_another_process_appends_is_seen(services, open_again):
    other = open_again()
    services.pile.add("one")
    assert other.state() == services.state()
    other.pile.add("two")
    assert [t.title for t in services.state().topics.values()] == ["one", "two"]


def test_events_of_one_moment_keep_their_order(services, clock, monkeypatch):
    """The clock stands still and its ids run backwards here; the last one must win all the same."""
    counted = iter(range(1000, 0, -1))
    monkeypatch.setattr(clock, "new_id", lambda: uuid7(0, next(counted).to_bytes(10, "big")))
    kept = topic()
    for title in "abcdefgh":
        services.append(ev.TopicKept(topic=topic(notes=title)))
    assert services.pile.topic(kept.id).notes == "h"
    assert fold(e for _, e in services.store.events()) == services.state()


def test_an_instant_without_zone_never_reaches_the_log(services):
    with pytest.raises(ValueError, match="needs a zone"):
        services.append(ev.AnswerTakenBack(try_id="t"), at=NOON.replace(tzinfo=None))
    assert services.is_empty()


def test_threads_writing_and_reading_agree_in_the_end(services):
    faults = []

    def work(number: int) -> None:
        try:
            for n in range(15):
                services.pile.add(f"{number} {n}")
                state = services.state()
                assert set(state.standings()) == set(state.topics)
        except Exception as fault:  # noqa: BLE001 - shown below
            faults.append(fault)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert len(services.state().topics) == 60
    assert services.state() == fold(e for _, e in services.store.events())

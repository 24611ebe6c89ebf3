"""What `ports.Store` guarantees, on every database: one suite for all."""

import threading
from datetime import datetime, timedelta, timezone

import msgspec
import pytest

from coldtake.domain import events as ev
from coldtake.domain.history.deleted_takes import emptied
from coldtake.domain.history.projection import fold
from coldtake.domain.ids import named_id
from coldtake.domain.instants import Misdating
from coldtake.domain.performance import Performance, RunKind, RunPart
from coldtake.domain.take import Answer
from coldtake.errors import StoreError
from making import NOON, event, plan, slot, step, topic


def words(text: str, minutes: float = 0) -> ev.Event:
    data = ev.IntentionSet(session_id="s", slot_id=None, words=text)
    return event(data, at=NOON + timedelta(minutes=minutes))


def read(store, after: int = 0) -> list[ev.Event]:
    return [one for _, one in store.events(after)]


def test_a_fresh_log_is_empty(store):
    assert store.last_sequence() == 0
    assert read(store) == []
    assert store.append([]) == 0


def test_events_come_back_as_they_were_in_order_of_arrival(store):
    awkward = ["", "é ♩ 音 \U0001f3bb", 'quote " \\ \n\t', "\x00 nul", "‮right to left", "a" * 5000]
    sent = [words(text, minutes=-n) for n, text in enumerate(awkward)]
    assert store.append(sent) == len(sent)
    assert read(store) == sent


def test_every_part_of_a_rich_event_survives(store):
    rich = event(ev.SessionStarted(session_id="s", plan=plan((slot(step()),))))
    store.append([rich, event(ev.TopicKept(topic=topic(importance=5)))])
    assert fold(read(store)).sessions["s"].plan == rich.data.plan


def test_a_performance_and_what_it_brought_survive(store):
    concert = Performance(id="c", title="Noon ♩", on=NOON.date(), programme=(topic().id,))
    part = RunPart(topic_id=topic().id, answer=Answer.NO, broke=(step().id,), words="the turn")
    told = ev.RunTold(
        run_id="r", run_kind=RunKind.STAGE, performance_id="c", parts=(part,), played_s=95.5
    )
    store.append([event(ev.PerformanceKept(performance=concert)), event(told)])
    state = fold(read(store))
    assert state.performances == {"c": concert}
    assert state.runs["r"].parts == (part,)


def test_instants_keep_their_zone_and_microseconds(store):
    zone = timezone(timedelta(hours=-9, minutes=-30))
    at = datetime(2027, 3, 1, 23, 59, 59, 999999, tzinfo=zone)
    store.append([event(ev.AnswerTakenBack(try_id="t"), at=at)])
    found = read(store)[0]
    assert (found.at, found.at.utcoffset(), found.day) == (at, at.utcoffset(), at.date())


def test_sending_twice_changes_nothing(store):
    sent = [words("one"), words("two")]
    assert store.append(sent) == 2
    assert store.append(sent) == 0
    assert store.append([words("three"), *sent]) == 1
    assert [e.data.words for e in read(store)] == ["one", "two", "three"]


def test_twice_in_one_delivery_is_kept_once(store):
    assert store.append([words("one"), words("one")]) == 1


def test_an_id_that_is_there_keeps_what_it_said(store):
    first = words("first")
    other = ev.Event(id=first.id, at=first.at, day=first.day, data=words("other").data)
    store.append([first])
    assert store.append([other]) == 0
    assert read(store) == [first]


def test_reading_on_from_a_sequence_number(store):
    store.append([words(str(n)) for n in range(5)])
    numbers = [number for number, _ in store.events()]
    assert numbers == sorted(set(numbers))
    assert [e.data.words for e in read(store, after=numbers[2])] == ["3", "4"]
    assert store.last_sequence() == numbers[-1]
    assert read(store, after=numbers[-1]) == []


def test_more_than_one_batch(store):
    sent = [words(str(n)) for n in range(1203)]
    assert store.append(sent) == 1203
    assert read(store) == sent


def test_reading_goes_on_into_what_is_appended_meanwhile(store):
    store.append([words(str(n)) for n in range(500)])
    reading = store.events()
    first = next(reading)
    store.append([words("late")])
    assert first[1].data.words == "0"
    assert [e.data.words for _, e in reading][-1] == "late"


def test_a_second_opening_sees_everything_at_once(open_store):
    one, two = open_store(), open_store()
    one.append([words("one")])
    two.append([words("two")])
    assert read(one) == read(two) == [words("one"), words("two")]
    assert open_store().last_sequence() == two.last_sequence()


def test_an_append_is_all_or_nothing(store):
    """The last event breaks a rule of the table after hundreds were written: none is kept."""
    good = [words(str(n)) for n in range(600)]
    unfit = ev.Event(id=None, at=NOON, day=NOON.date(), data=good[0].data)
    with pytest.raises(StoreError, match=r"IntegrityError|23502"):
        store.append([*good, unfit])
    assert store.last_sequence() == 0
    assert store.append(good) == 600  # and the store still works


def test_many_threads_and_openings_lose_and_double_nothing(open_store):
    stores = [open_store(), open_store()]
    shared = [words(f"shared {n}") for n in range(30)]
    counts = []

    def write(number: int) -> None:
        own = [words(f"{number}: {n}") for n in range(30)]
        for mine, ours in zip(own, shared, strict=True):
            counts.append(stores[number % 2].append([mine, ours]))

    threads = [threading.Thread(target=write, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    kept = [e.data.words for e in read(stores[0])]
    assert len(kept) == len(set(kept)) == 4 * 30 + 30
    assert sum(counts) == len(kept)


def test_several_may_open_a_fresh_database_at_once(open_store):
    """The tables are made once, and every one of them can write at once."""
    faults = []

    def open_and_write(number: int) -> None:
        try:
            open_store().append([words(str(number))])
        except Exception as fault:  # noqa: BLE001 - whatever goes wrong in the thread is shown
            faults.append(fault)

    threads = [threading.Thread(target=open_and_write, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert open_store().last_sequence() >= 6


def test_a_reader_never_misses_what_a_slower_writer_commits(open_store):
    """Sequence numbers become visible in order, or a reader would step over some."""
    writers, reader = [open_store(), open_store()], open_store()
    seen, after = [], 0
    threads = [
        threading.Thread(target=lambda s=s, k=k: [s.append([words(f"{k} {n}")]) for n in range(60)])
        for k, s in enumerate(writers)
    ]
    for thread in threads:
        thread.start()
    while len(seen) < 120:
        for number, one in reader.events(after):
            after = number
            seen.append(one.id)
        if not any(t.is_alive() for t in threads) and after == reader.last_sequence():
            break
    for thread in threads:
        thread.join()
    assert len(seen) == 120


def test_what_is_refused_is_kept_once_with_its_reason(store):
    raw = b'{"id": "\xff not even text'
    store.refuse(raw, "it is cut off", NOON)
    store.refuse(raw, "it is cut off", NOON + timedelta(minutes=1))
    store.refuse_all([(NOON, "it is empty", b""), (NOON, "again", raw), (NOON, "again", b"")])
    assert list(store.refused()) == [(NOON, "it is cut off", raw), (NOON, "it is empty", b"")]
    assert store.last_sequence() == 0


def test_entries_of_a_deleted_take_are_emptied_in_their_places(store):
    recorded = ev.TakeRecorded(
        take_id=named_id("take"), step_id="s", duration_s=2.0, sample_rate=8000, sha256="ab" * 32
    )
    other = msgspec.structs.replace(recorded, take_id=named_id("other"))
    waiting = ev.EntryMisdated(
        event=event(recorded, name="waits"),
        why=Misdating.AFTER,
        arrived=NOON,
        arrived_on=NOON.date(),
    )
    told = [event(data, name=str(n)) for n, data in enumerate((recorded, other, waiting))]
    store.append(told)
    store.put("state", "maker", 3, b"computed from the take")
    held = list(store.entries_of_takes({named_id("take")}))
    assert held == [told[0], told[2]]
    said = event(ev.TakeDeleted(take_id=named_id("take"), step_id="s"), name="said")
    store.empty([emptied(one) for one in held], [said])
    assert [e for _, e in store.events()] == [emptied(told[0]), told[1], emptied(told[2]), said]
    assert list(store.entries_of_takes({named_id("take")})) == []
    assert store.fetch("state", "maker") is None
    assert store.compact()
    assert [n for n, _ in store.events()] == [1, 2, 3, 4]
    assert store.append([event(recorded, name="0")]) == 0, "it came once more"

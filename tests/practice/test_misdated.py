"""Clocks that are wrong: nothing is lost, nothing overflows, nothing counts on a wrong day.

The years are those of real faults: 1970 is a clock that was never set, 1980 that of the oldest
personal computers, 9999 the last that a date here can have.
"""

import io
import json
import shutil
import zipfile
from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pytest
import soundfile

from coldtake.bootstrap import open_services
from coldtake.domain import events as ev
from coldtake.domain.history.projection import fold
from coldtake.domain.ids import made_at, named_id, uuid7
from coldtake.domain.instants import Misdating, possible
from coldtake.domain.take import Answer, Judge, NewTake
from coldtake.errors import NotFoundError, RuleError
from coldtake.practice.archive import Archive, export, restore
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import sqlite_url
from making import NOON, SteppingClock, plan, slot, step, topic

STEP = step()
TODAY = NOON.date()
LAST = datetime(9999, 12, 31, 23, 59, 59, 999999, tzinfo=UTC)
FIRST = datetime(1, 1, 1, tzinfo=UTC)
EAST, WEST = timezone(timedelta(hours=14)), timezone(timedelta(hours=-12))
WRONG = {
    "never set": datetime(1970, 1, 1, 0, 31, tzinfo=UTC),
    "an old default": datetime(1980, 1, 4, tzinfo=UTC),
    "before the log": NOON - timedelta(days=400),
    "two hours ahead": NOON + timedelta(hours=2),
    "a year ahead": NOON + timedelta(days=366),
    "far ahead": datetime(2200, 5, 5, 17, tzinfo=UTC),
    "the last instant": LAST,
    "the day before it": datetime(9999, 12, 30, 9, tzinfo=UTC),
    "the first instant": FIRST,
    "the last, east": LAST.replace(tzinfo=EAST),
    "the last, west": LAST.replace(tzinfo=WEST),
    "the first, east": FIRST.replace(tzinfo=EAST),
    "the first, west": FIRST.replace(tzinfo=WEST),
}


def answer(name: str = "a", *, session: str | None = None) -> ev.TryAnswered:
    return ev.TryAnswered(
        try_id=named_id("try", name),
        step_id=STEP.id,
        answer=Answer.YES,
        judge=Judge.PLAYER,
        session_id=session,
    )


def sent(at: datetime, *, name: str = "a", day: date | None = None, data=None) -> ev.Event:
    return ev.Event(
        id=named_id("sent", name, at.isoformat()),
        at=at,
        day=day or at.date(),
        data=data or answer(name),
    )


def wav() -> bytes:
    sound = io.BytesIO()
    soundfile.write(sound, np.sin(np.arange(4000) / 9), 8000, format="WAV")
    return sound.getvalue()


@pytest.fixture
def player(services):
    services.append(ev.TopicKept(topic=topic()), ev.StepKept(step=STEP))
    return services


def told(player, *events):
    return player.sessions.record([ev.to_json(one) for one in events])


@pytest.mark.parametrize("clock_says", WRONG)
def test_a_wrong_clock_spoils_nothing_and_loses_nothing(player, clock, clock_says):
    event = sent(WRONG[clock_says])
    for _ in range(2):  # it may come again
        receipt = told(player, event)
        assert receipt.kept == (event.id,)
        assert [one for one, _ in receipt.misdated] == [event.id]
    assert player.state().tries == {}
    [group] = player.misdated.groups()
    assert (group.answers, group.first, group.arrived.arrived_on) == (1, event.at, TODAY)
    clock.go_on(minutes=5)
    player.pile.keep_step(step(need_min=55))  # whatever is written later stands at its own time
    assert player.state().last[0] == clock.now()
    assert player.misdated.give_day(group.id, TODAY) == 1
    [tried] = player.state().tries.values()
    assert (tried.at, tried.day, tried.cold) == (NOON, TODAY, True)
    assert player.misdated.groups() == ()
    assert told(player, event).misdated == ()  # also now it may come again
    assert len(player.state().tries) == 1
    assert player.state() == fold(e for _, e in player.store.events())


def test_what_counts_and_what_waits_at_the_limits(player):
    hour, tick = timedelta(hours=1), timedelta(microseconds=1)
    month = timedelta(days=30)
    day = timedelta(days=1)
    cases = {
        (NOON + hour, 0): None,
        (NOON + hour + tick, 0): Misdating.AFTER,
        (NOON - month, 0): None,
        (NOON - month - tick, 0): Misdating.BEFORE,
        (NOON, 2): None,
        (NOON, -3): Misdating.APART,
        (NOON, 3): Misdating.APART,
    }
    for n, ((at, days), why) in enumerate(cases.items()):
        event = sent(at, name=str(n), day=at.date() + days * day)
        assert dict(told(player, event).misdated).get(event.id) == why, (at, days)
    assert len(player.state().tries) == 3


def test_an_evening_keeps_its_order_and_its_lengths(player, clock):
    """A tablet at 1970 tells a session as it goes; one entry is long under way."""
    began = datetime(1970, 1, 1, 3, 0, tzinfo=timezone(timedelta(hours=2)))
    run = {"session_id": "s", "slot_id": "x", "step_id": STEP.id}
    happened = [
        (0, ev.SessionStarted(session_id="s", plan=plan((slot(STEP),)))),
        (1, ev.SlotStarted(**run, planned_s=600)),
        (4, answer("b", session="s")),
        (11, ev.SlotEnded(**run, played_s=600)),
        (12, ev.SessionEnded(session_id="s")),
    ]
    for minute, data in happened:
        clock.instant = NOON + timedelta(minutes=minute, seconds=30 if minute == 4 else 1)
        event = sent(began + timedelta(minutes=minute), name=str(minute), data=data)
        assert told(player, event).misdated
    assert player.sessions.running() is None
    [group] = player.misdated.groups()
    assert (len(group.entries), group.answers, group.played_min) == (5, 1, 10)
    clock.go_on(days=3)
    player.misdated.give_day(group.id, TODAY)
    session = player.sessions.get("s")
    assert (session.day, session.started_at) == (TODAY, NOON + timedelta(seconds=1))
    assert session.ended_at - session.started_at == timedelta(minutes=12)
    [tried] = player.state().tries.values()
    assert tried.at == NOON + timedelta(minutes=4, seconds=1)
    assert player.state().minutes_on == {TODAY: 10}


def test_another_day_is_given_at_the_time_of_day_when_it_came(player):
    told(player, sent(WRONG["never set"]))
    [group] = player.misdated.groups()
    before = TODAY - timedelta(days=4)
    player.misdated.give_day(group.id, before)
    [tried] = player.state().tries.values()
    assert (tried.day, tried.at) == (before, NOON - timedelta(days=4))


@pytest.mark.parametrize("days", [1, 30, 3_000_000, -400_000])
def test_a_day_that_cannot_be_is_not_given(player, days):
    told(player, sent(WRONG["far ahead"]))
    [group] = player.misdated.groups()
    day = date.fromordinal(min(max(TODAY.toordinal() + days, 1), date.max.toordinal()))
    with pytest.raises(RuleError, match="cannot be the day") as fault:
        player.misdated.give_day(group.id, day)
    assert "2000-01-01 to 2027-01-12" in fault.value.remedy
    assert player.misdated.groups() == (group,)


def test_what_is_deleted_never_counts_and_stays_in_the_log(player):
    event = sent(WRONG["never set"])
    told(player, event)
    [group] = player.misdated.groups()
    assert player.misdated.delete(group.id) == 1
    assert player.misdated.groups() == ()
    assert told(player, event).kept == (event.id,)
    assert player.misdated.groups() == ()
    assert player.state().tries == {}
    assert any(getattr(e.data, "event", None) == event for _, e in player.store.events())
    with pytest.raises(NotFoundError):
        player.misdated.give_day(group.id, TODAY)


def test_evenings_that_claim_one_date_stay_apart_by_when_they_came(player, clock):
    """A clock without a battery begins at the same date each time."""
    for day in range(2):
        clock.instant = NOON + timedelta(days=day)
        told(player, sent(WRONG["never set"] + timedelta(seconds=day), name=str(day)))
    assert [g.arrived.arrived_on.day for g in player.misdated.groups()] == [13, 12]


@pytest.mark.parametrize("clock_says", ["never set", "far ahead", "the last instant"])
def test_a_take_under_a_wrong_clock_is_kept_and_judged_once_it_has_its_day(player, clock_says):
    at, take_id = WRONG[clock_says], named_id("the take")
    for _ in range(2):
        take = player.takes.keep(wav(), NewTake(step_id=STEP.id, take_id=take_id, at=at, day=TODAY))
    assert (take.id, player.takes.is_misdated(take_id)) == (take_id, True)
    assert player.state().takes == {}
    assert not player.take_files.damaged(take_id, take.sha256)
    [group] = player.misdated.groups()
    assert (len(group.entries), group.takes) == (1, 1)
    player.misdated.give_day(group.id, TODAY)
    assert player.takes.get(take_id).cold
    assert player.takes.judge(take_id).answer is Answer.CANNOT_TELL  # it has no passage
    assert not player.takes.is_misdated(take_id)


def test_a_machine_whose_own_clock_is_wrong_goes_on_where_the_log_was(player, clock, open_again):
    for wrong in (WRONG["never set"], WRONG["far ahead"], LAST):
        clock.instant = wrong
        services = open_again() if wrong != LAST else player
        assert services.today() == TODAY
        services.pile.add(f"written at {wrong.year}")
        assert told(services, sent(wrong, name=str(wrong.year))).misdated
    clock.instant = NOON + timedelta(days=1)
    services = open_again()
    assert len(services.state().topics) == 4
    assert services.today() == TODAY + timedelta(days=1)
    assert services.state().last[0] < clock.instant


def test_a_machine_that_never_knew_the_time_keeps_what_is_written(clock, open_again):
    clock.instant = WRONG["never set"]
    services = open_again()
    services.pile.add("before the clock was set")
    assert services.today() == date(2000, 1, 2)
    clock.instant = NOON
    services.pile.add("after it")
    assert [t.title for t in open_again().state().topics.values()] == [
        "before the clock was set",
        "after it",
    ]


def spoilt(folder, wrong: datetime) -> tuple[list[ev.Event], list[ev.Event]]:
    """A log as an earlier version left it; return what is right in it, and what a device sent.

    After the wrong entry Coldtake dated each decision a microsecond after it.
    """
    clock = SteppingClock()
    store = SqlStore(sqlite_url(folder))

    def own(data, at: datetime) -> ev.Event:
        clock.go_on(minutes=1)
        return ev.Event(id=clock.new_id(), at=at, day=TODAY, data=data)

    tick = timedelta(microseconds=1)
    right = [own(ev.TopicKept(topic=topic()), NOON), own(ev.StepKept(step=STEP), NOON + tick)]
    device = [sent(wrong, name="one"), sent(wrong - tick)]
    store.append([*right, *device])
    pulled = max(wrong, NOON + tick)
    if pulled < LAST:
        later = [ev.SettingChosen(name="a4_hz", value=v) for v in ("441", "442")]
        right += [own(data, pulled + n * tick) for n, data in enumerate(later, start=1)]
        store.append(right[2:])
    store.close()
    return right, device


SPOILT = ("never set", "a year ahead", "far ahead", "the last instant", "the day before it")


@pytest.mark.parametrize("clock_says", SPOILT)
def test_a_log_that_is_spoilt_already_is_put_right_at_its_opening(tmp_path, clock_says):
    right, device = spoilt(tmp_path, WRONG[clock_says])
    before = [*right[:2], *device, *right[2:]]
    clock = SteppingClock(NOON + timedelta(hours=3))
    for _ in range(2):  # the second opening has nothing to do
        services = open_services(tmp_path, clock=clock)
        kept = [e for _, e in services.store.events()]
        assert kept[: len(before)] == before  # nothing is taken out
        state = services.state()
        assert set(state.topics) == {topic().id}
        if len(right) > 2:
            assert state.settings == {"a4_hz": "442"}
            assert state.last[0] <= clock.now() + timedelta(seconds=1)
        assert state.tries == {}
        assert state == fold(kept)
        [group] = services.misdated.groups()
        assert {e.event.id for e in group.entries} == {e.id for e in device}
        assert NOON <= group.arrived.arrived <= clock.now()
        services.close()
    assert len(kept) == len(before) + 2 + (3 if right[-1].at > clock.now() else 0)
    services = open_services(tmp_path, clock=clock)
    services.misdated.give_day(group.id, TODAY)
    assert {t.day for t in services.state().tries.values()} == {TODAY}
    services.pile.add("and it goes on")
    assert services.state().last[0] <= clock.now() + timedelta(seconds=1)
    services.close()


def test_a_day_that_cannot_be_is_set_aside_although_the_instant_can(tmp_path):
    """Earlier versions took a take's day as it was sent."""
    clock = SteppingClock()
    services = open_services(tmp_path, clock=clock)
    services.append(ev.TopicKept(topic=topic()), ev.StepKept(step=STEP))
    services.store.append([sent(NOON, name=str(day), day=day) for day in (date.max, date.min)])
    services.close()
    services = open_services(tmp_path, clock=clock)
    assert services.state().tries == {}
    for group in services.misdated.groups():
        services.misdated.give_day(group.id, TODAY)
    assert [t.day for t in services.state().tries.values()] == [TODAY, TODAY]
    services.close()


def test_a_clock_that_is_behind_is_no_reason_to_doubt_the_log(tmp_path):
    """A machine that starts in 2015 must not set aside what was practised since."""
    clock = SteppingClock()
    services = open_services(tmp_path, clock=clock)
    for number in range(30):
        services.pile.add(f"topic {number}")
        clock.go_on(days=1)
    services.close()
    clock.instant = datetime(2015, 1, 1, tzinfo=UTC)
    services = open_services(tmp_path, clock=clock)
    assert len(services.state().topics) == 30
    assert services.misdated.groups() == ()
    services.close()


def test_an_archive_of_an_earlier_version_is_restored_and_put_right(tmp_path):
    """Written as that version wrote it: the lines as they are in its log."""
    (tmp_path / "old").mkdir()
    right, device = spoilt(tmp_path / "old", WRONG["far ahead"])
    lines = b"".join(ev.to_json(e) + b"\n" for e in [*right[:2], *device, *right[2:]])
    released = shutil.copy("tests/upgrade/released/archive-2.zip", tmp_path / "released.zip")
    with zipfile.ZipFile(released) as known:
        manifest = json.loads(known.read("manifest.json"))
    from hashlib import sha256

    manifest |= {"events": 6, "takes": 0, "passages": 0}
    manifest["sha256"] = {"log.jsonl": sha256(lines).hexdigest()}
    with zipfile.ZipFile(tmp_path / "all.zip", "w") as made:
        made.writestr("log.jsonl", lines)
        made.writestr("manifest.json", json.dumps(manifest))
    clock = SteppingClock(NOON + timedelta(hours=3))
    services = open_services(tmp_path / "new", clock=clock)
    with Archive(tmp_path / "all.zip") as archive:
        assert restore(services, archive).events == 6
    assert services.state().settings == {"a4_hz": "442"}
    assert len(services.misdated.groups()) == 1
    services.close()


def test_what_waits_goes_into_an_archive_and_comes_back(player, tmp_path, clock):
    told(player, sent(WRONG["never set"]))
    player.takes.keep(wav(), NewTake(step_id=STEP.id, take_id=named_id("t"), at=LAST, day=TODAY))
    export(player, tmp_path / "all.zip")
    other = open_services(tmp_path / "other", clock=clock)
    with Archive(tmp_path / "all.zip") as archive:
        assert archive.take_ids == {named_id("t")}
        restore(other, archive)
    assert other.misdated.groups() == player.misdated.groups()
    for group in other.misdated.groups():
        other.misdated.give_day(group.id, TODAY)
    assert len(other.state().tries) == len(other.state().takes) == 1
    assert other.takes.sound(named_id("t")).exists()
    other.close()


def test_what_an_earlier_version_refused_for_its_date_waits_now(tmp_path, clock):
    event = sent(LAST, day=TODAY)
    services = open_services(tmp_path, clock=clock)
    services.append(ev.TopicKept(topic=topic()), ev.StepKept(step=STEP))
    why = f"its day {TODAY} is far from its instant {LAST.isoformat()}"
    services.store.refuse(ev.to_json(event), why, NOON)
    services.store.refuse(b"{cut off", "it is cut off", NOON)
    services.close()
    for _ in range(2):
        services = open_services(tmp_path, clock=clock)
        [group] = services.misdated.groups()
        assert [e.event for e in group.entries] == [event]
        services.close()


def test_an_id_tells_when_it_was_made():
    """RFC 9562, appendix A.6: an example of version 7, 22 February 2022, 19:22:22 UTC."""
    assert made_at("017F22E2-79B0-7CC3-98C4-DC0C0C07398F") == datetime(
        2022, 2, 22, 19, 22, 22, tzinfo=UTC
    )
    assert made_at(named_id("x")) is None
    assert made_at("no id") is None
    assert made_at(uuid7((1 << 48) - 1, bytes(10))) is None or not possible(
        made_at(uuid7((1 << 48) - 1, bytes(10)))
    )

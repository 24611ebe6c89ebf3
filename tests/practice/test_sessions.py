"""A session as its page tells it: in any order, any number of times, and nothing is lost."""

import random
from datetime import timedelta

import msgspec
import pytest

from coldtake.domain import events as ev
from coldtake.domain.history.projection import fold
from coldtake.domain.ids import named_id
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place
from coldtake.errors import NotFoundError
from making import NOON, event, plan, slot, step, topic


@pytest.fixture
def run(services):
    """A session over one step, begun."""
    made = services.pile.add("Scales")
    services.pile.place(made.id, Place.CURRENT)
    services.pile.keep_step(msgspec.structs.replace(step(), topic_id=made.id))
    return services.sessions.start()


def told(run, count: int = 12) -> list[bytes]:
    """What the page of this session sends: a slot, tries, a break, the end."""
    step_id, slot_id = run.plan.slots[0].step_id, run.plan.slots[0].id
    own = {"session_id": run.id}
    answers = [
        ev.TryAnswered(
            **own, try_id=f"t{n}", step_id=step_id, answer=Answer.YES, judge=Judge.PLAYER
        )
        for n in range(count)
    ]
    data = [
        ev.IntentionSet(**own, slot_id=None, words="calm hands"),
        ev.SlotStarted(**own, slot_id=slot_id, step_id=step_id, planned_s=300),
        *answers,
        ev.AnswerTakenBack(try_id="t3"),
        ev.SlotEnded(**own, slot_id=slot_id, step_id=step_id, played_s=280.5, early=True),
        ev.BreakStarted(**own, after_period=0, planned_s=300),
        ev.BreakEnded(**own, after_period=0),
        ev.SlotAdded(**own, slot=run.plan.slots[0]),
        ev.SessionEnded(**own, note="slow was right"),
    ]
    return [
        ev.to_json(event(datum, at=NOON + timedelta(minutes=n + 1))) for n, datum in enumerate(data)
    ]


def test_it_starts_with_its_own_copy_of_the_plan(services, run):
    assert run.plan == services.plans.plan(services.today())
    assert (run.day, run.started_at.replace(microsecond=0)) == (services.today(), NOON)
    assert services.sessions.running() == run == services.sessions.get(run.id)


def test_starting_twice_is_one_session(services, run, open_again):
    assert services.sessions.start() == run
    assert open_again().sessions.start().id == run.id


def test_one_left_open_yesterday_is_ended_as_it_was(services, run, clock):
    clock.go_on(days=1)
    fresh = services.sessions.start()
    assert fresh.id != run.id
    old = services.sessions.get(run.id)
    assert (old.early, old.ended_at is not None, old.day) == (True, True, run.day)
    assert services.sessions.running() == fresh


def test_a_session_after_midnight_is_the_same_evening(services, run, clock):
    clock.instant = NOON.replace(hour=23)
    services.append(ev.IntentionSet(session_id=run.id, slot_id=None, words="one line"))
    clock.go_on(hours=2)
    assert services.sessions.start().id == run.id
    clock.go_on(hours=4)
    assert services.sessions.start().id != run.id


def test_there_is_no_such_session(services):
    with pytest.raises(NotFoundError, match="session was not found"):
        services.sessions.get("x")


def test_what_the_page_tells_becomes_the_session(services, run):
    sent = told(run)
    receipt = services.sessions.record(sent)
    assert receipt.refused == ()
    assert receipt.kept == tuple(ev.from_json(raw).id for raw in sent)
    after = services.sessions.get(run.id)
    assert after.note == "slow was right"
    assert after.played_s == 280.5
    assert after.intentions == {"": "calm hands"}
    assert after.try_ids == [f"t{n}" for n in range(12) if n != 3]
    assert services.sessions.running() is None
    assert services.state().tries["t0"].cold
    assert not services.state().tries["t1"].cold


@pytest.mark.parametrize("seed", range(5))
def test_order_portions_and_repetition_change_nothing(services, run, open_again, seed):
    chance = random.Random(seed)
    sent = told(run)
    delivered = sent + chance.sample(sent, 10)
    chance.shuffle(delivered)
    pages = [services, open_again()]  # two processes on one folder
    while delivered:
        size = chance.randint(1, 6)
        receipt = chance.choice(pages).sessions.record(delivered[:size])
        assert len(receipt.kept) == len(set(delivered[:size]))
        del delivered[:size]
    rebuilt = fold(e for _, e in services.store.events())
    assert services.state() == rebuilt == pages[1].state()
    assert rebuilt.sessions[run.id].try_ids == [f"t{n}" for n in range(12) if n != 3]
    ids = [e.id for _, e in services.store.events()]
    assert len(ids) == len(set(ids))


def changed(raw: bytes, **fields: object) -> bytes:
    whole = msgspec.json.decode(raw)
    for name, value in fields.items():
        place = whole["data"] if name in whole["data"] else whole
        place[name] = value
    return msgspec.json.encode(whole)


FIT = ev.to_json(
    event(
        ev.TryAnswered(
            try_id="t", step_id="s", answer=Answer.NO, judge=Judge.PLAYER, session_id="x"
        )
    )
)
ENDED = ev.to_json(event(ev.SlotEnded(session_id="x", slot_id="y", step_id="z", played_s=1)))
BROKE = ev.to_json(event(ev.BreakEnded(session_id="x", after_period=1)))
UNFIT = {
    "not JSON": (b"{cut off", ""),
    "not text": (b"\xff\xfe", ""),
    "empty": (b"", ""),
    "a list": (b"[]", ""),
    "no id": (changed(FIT, id=None), "id"),
    "an id that is no UUID": (changed(FIT, id="1"), "not a UUID"),
    "an id in capitals": (changed(FIT, id="A" * 8 + "-AAAA-AAAA-AAAA-" + "A" * 12), "UUID"),
    "an unknown kind": (changed(FIT, kind="fell_asleep"), "fell_asleep"),
    "an unknown answer": (changed(FIT, answer="perhaps"), "perhaps"),
    "the tool's answer": (changed(FIT, judge="tool"), "only the player"),
    "an instant without zone": (changed(FIT, at="2027-01-12T12:00:00"), "no zone"),
    "a number beyond any limit": (changed(BROKE, after_period=2**80), "beyond any number"),
    "negative seconds": (changed(ENDED, played_s=-1), "-1 seconds"),
    "days in one slot": (changed(ENDED, played_s=1e9), "1e+09 seconds"),
    "a topic": (
        ev.to_json(event(ev.TopicKept(topic=topic()))),
        "“topic_kept” does not come from a session page",
    ),
    "a take": (
        ev.to_json(
            event(
                ev.TakeRecorded(
                    take_id="t", step_id="s", duration_s=1, sample_rate=8000, sha256="0" * 64
                )
            )
        ),
        "does not come from a session page",
    ),
    "a novel": (
        ev.to_json(event(ev.IntentionSet(session_id="x", slot_id=None, words="x" * 4001))),
        "more than 4000 characters",
    ),
}


@pytest.mark.parametrize("name", UNFIT)
def test_what_is_unfit_is_reported_and_kept_apart(services, run, name):
    raw, why = UNFIT[name]
    before = services.state()
    receipt = services.sessions.record([raw, FIT, raw])
    assert receipt.kept == (ev.from_json(FIT).id,)
    assert len(receipt.refused) == 2
    assert why in receipt.refused[0][1]
    [(_, reason, kept)] = services.store.refused()
    assert (kept, reason) == (raw, receipt.refused[0][1])
    assert len(services.state().tries) == len(before.tries) + 1


def test_a_refused_event_is_named_by_its_id(services, run):
    raw = changed(FIT, judge="tool")
    assert services.sessions.record([raw]).refused[0][0] == ev.from_json(FIT).id


def test_records_may_come_as_events_too(services, run):
    own = ev.from_json(FIT)
    bad = event(ev.TopicKept(topic=topic()))
    receipt = services.sessions.record([own, bad])
    assert receipt.kept == (own.id,)
    assert services.store.refused()[0][2] == ev.to_json(bad)


def test_a_session_begun_on_a_tablet_without_the_server(services):
    began = ev.SessionStarted(session_id=named_id("offline"), plan=plan((slot(step()),)))
    assert services.sessions.record([ev.to_json(event(began))]).refused == ()
    assert services.sessions.get(named_id("offline")).plan == began.plan


def test_events_of_a_session_that_ended_long_ago_still_arrive(services, run, clock):
    """An offline tablet sends its evening a month later, after much else has happened."""
    sent = told(run)
    clock.go_on(days=30)
    for n in range(30):
        services.pile.add(f"later {n}")
    services.sessions.record(sent[::-1])
    assert services.sessions.get(run.id).note == "slow was right"
    assert services.state() == fold(e for _, e in services.store.events())

"""Old logs with impossible instants, corrected by adding entries; nothing is changed in place.

Nothing is taken out of the log. Where Coldtake itself gave the wrong instant (it never dates a
decision before what is known, so one wrong entry pulled the later ones along), the right one is in
the id, and the entry follows with it. What came from a device waits for its day.

A log that seems to lie ahead of the clock tells of a wrong clock when most of its latest entries
do: then only what no clock can say is set aside.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta

import msgspec

from coldtake.domain.events import EntryMisdated, Event, MisdatedSettled, from_json
from coldtake.domain.history.misdated import dated_id, waiting_id
from coldtake.domain.ids import made_at, named_id
from coldtake.domain.instants import DAY_MOST, END, FIRST, Misdating, misdating, possible
from coldtake.ports import Store
from coldtake.practice import event_validation

AHEAD = timedelta(days=2)  # of the clock: one that was wrong for a day is no reason
LATEST = 200  # entries that tell whether the clock is right
_NEAR = 50  # entries before one that tell about when it came
_TICK = timedelta(microseconds=1)
_REFUSED = "is far from its instant"  # why an earlier version refused what waits now


def put_right(store: Store, now: datetime) -> int:
    """Put a log right; return how many of its entries were set aside. Raises StoreError.

    now : the present instant, as far as the clock can be believed
    """
    outside = store.outside(FIRST, now + AHEAD)
    found = [one for one in outside if not _known(store, one[1], in_log=True)]
    if any(_some_clock_says(event) for _, event in found) and not _clock_is_right(store, now):
        found = [one for one in found if not _some_clock_says(one[1])]
    own = [event for _, event in found if _is_own(event, now)]
    told = [one for one in found if one[1] not in own]
    waiting = [_wrapped(e, now, _arrived(store, n, e, now), in_log=True) for n, e in told]
    new = [*_mended(own, now), *waiting, *_refused_before(store, now)]
    if new:
        store.append(new)
    return len(found)


def _known(store: Store, event: Event, *, in_log: bool) -> bool:
    ids = (waiting_id(event.id, in_log=in_log), dated_id(event.id))
    return any(store.event(one) for one in ids)


def _some_clock_says(event: Event) -> bool:
    return possible(event.at) and FIRST.date() <= event.day < END.date()


def _clock_is_right(store: Store, now: datetime) -> bool:
    latest = [event for _, event in store.events(after=max(0, store.last_sequence() - LATEST))]
    ahead = sum((made_at(event.id) or event.at) > now + AHEAD for event in latest)
    return 2 * ahead <= len(latest)


def _can_be(at: datetime | None, now: datetime) -> bool:
    return at is not None and possible(at) and at <= now + AHEAD


def _is_own(event: Event, now: datetime) -> bool:
    """Say whether this machine made an entry: its id tells when, and its day is of then."""
    made = made_at(event.id)
    if made is None or not _can_be(made, now):
        return False
    return abs(event.day - made.astimezone(now.tzinfo).date()) <= DAY_MOST


def _mended(own: list[Event], now: datetime) -> Iterator[Event]:
    """Give the entries again at the instants in their ids, in their order."""
    before = FIRST
    for event in own:
        made = made_at(event.id)
        assert made is not None
        before = max(made.astimezone(now.tzinfo), before + _TICK)
        yield Event(id=dated_id(event.id), at=before, day=event.day, data=event.data)
    if own:
        ids = tuple(event.id for event in own)
        data = MisdatedSettled(event_ids=ids)
        yield Event(id=named_id("settled", *ids), at=now, day=now.date(), data=data)


def _wrapped(event: Event, now: datetime, arrived: datetime, *, in_log: bool) -> Event:
    data = EntryMisdated(
        event=event,
        why=misdating(event.at, event.day, now=now) or Misdating.APART,
        arrived=arrived,
        arrived_on=arrived.date(),
        in_log=in_log,
    )
    return Event(id=waiting_id(event.id, in_log=in_log), at=now, day=now.date(), data=data)


def _arrived(store: Store, number: int, event: Event, now: datetime) -> datetime:
    """Return about when an entry of the log came: by its id, else by those that came before it."""
    near = store.events(after=max(0, number - _NEAR))
    before = [made_at(e.id) or e.at for n, e in near if n < number]
    made = made_at(event.id)
    known = [at for at in ([made] if _can_be(made, now) else before) if _can_be(at, now)]
    return min(max(at for at in known if at), now).astimezone(now.tzinfo) if known else now


def _refused_before(store: Store, now: datetime) -> Iterator[Event]:
    """Give what an earlier version refused because its day and its instant do not fit."""
    for at, _why, raw in store.refused(because=_REFUSED):
        try:
            event = from_json(raw)
        except msgspec.MsgspecError:
            continue
        if not event_validation.fault_of(event) and not _known(store, event, in_log=False):
            yield _wrapped(event, now, min(at, now), in_log=False)

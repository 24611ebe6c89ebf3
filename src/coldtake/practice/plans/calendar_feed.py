"""What a calendar program subscribes to: sessions, rehearsals, lessons and performances (RFC 5545).

Times are those of the player's zone, described in the object (section 3.6.5), where the zone has a
name; else instants in UTC. How often to ask again and what the calendar is called are said by RFC
7986. Alarms only where the player set them, and only before what has a time.
"""

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from icalendar import Alarm, Event

from coldtake.domain.history.state import State
from coldtake.domain.performance import Performance
from coldtake.domain.plan import Plan
from coldtake.practice.plans.calendar import appointment_event, new_calendar, session_event
from coldtake.settings import value_of

NAME = "Coldtake"
BACK = timedelta(days=31)  # what lies further back stays out
AGAIN = timedelta(hours=1)  # a program may ask so often


def feed_of(state: State, today: date, now: datetime) -> bytes:
    """Write everything from a month back on; `now` is aware, in the zone of the player's clock."""
    since, zone = today - BACK, now.tzinfo
    meetings = (a for a in state.appointments.values() if a.on >= since)
    events = [
        *(session_event(plan, state, now) for plan in _plans(state, since)),
        *(appointment_event(a, state, now) for a in sorted(meetings, key=lambda a: (a.on, a.id))),
        *(_performance(p, state, now) for p in state.performances.values() if p.on >= since),
    ]
    calendar = new_calendar()
    calendar.add("name", NAME)
    calendar.add("x-wr-calname", NAME)
    calendar.add("refresh-interval", AGAIN, parameters={"VALUE": "DURATION"})
    alarm = value_of(state.settings, "calendar_alarm")
    for event in events:
        if isinstance(zone, ZoneInfo):
            _in_zone(event, zone)
        if alarm and isinstance(event.DTSTART, datetime):
            event.add_component(_alarm(event, alarm))
        calendar.add_component(event)
    if isinstance(zone, ZoneInfo):
        calendar.add_missing_timezones()
    return bytes(calendar.to_ical())


def _plans(state: State, since: date) -> Iterable[Plan]:
    days = (day for day in state.days_planned() if day >= since)
    return (plan for day in days for plan in state.plans_on(day))


def _performance(performance: Performance, state: State, now: datetime) -> Event:
    event = Event()
    event.add("uid", f"{performance.id}@coldtake")
    event.add("dtstamp", now.astimezone(UTC))
    event.add("dtstart", performance.on)
    event.add("summary", performance.title)
    if performance.place:
        event.add("location", performance.place)
    if programme := state.topic_titles(performance.programme):
        event.add("description", programme)
    return event


def _in_zone(event: Event, zone: ZoneInfo) -> None:
    starts, ends = event.DTSTART, event.DTEND
    if isinstance(starts, datetime):
        event.DTSTART = starts.astimezone(zone)
    if isinstance(ends, datetime):
        event.DTEND = ends.astimezone(zone)


def _alarm(event: Event, minutes: int) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", str(event["summary"]))
    alarm.add("trigger", timedelta(minutes=-minutes))
    return alarm

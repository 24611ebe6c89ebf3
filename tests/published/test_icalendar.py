"""The calendar against RFC 5545.

B. Desruisseaux (ed.), Internet Calendaring and Scheduling Core Object Specification (iCalendar),
IETF, 2009. Sections are named beside each check. The text is taken apart here by hand, from the
RFC's own rules, not by the library that wrote it.
"""

import re
from datetime import UTC, date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

import msgspec
import pytest
from icalendar import Calendar

from coldtake.domain.history.state import State, plan_key
from coldtake.domain.performance import Performance
from coldtake.domain.plan import SlotKind
from coldtake.domain.requirement import Appointment
from coldtake.practice.plans.calendar import calendar_of
from coldtake.practice.plans.calendar_feed import feed_of
from making import plan, slot, step, topic

BERLIN = ZoneInfo("Europe/Berlin")
NOW = datetime(2027, 1, 11, 21, 30, tzinfo=BERLIN)
TRICKY = topic("tune", notes="")
AWKWARD = "Slow; low, \\ clear: “für Elise”\U0001f3bb — 音"
ONE, TWO = step("one"), step("two", of="tune")
PERIODS = (
    (slot(TWO, kind=SlotKind.COLD, minutes=2), slot(ONE, minutes=12), slot(TWO, minutes=10)),
    (slot(ONE, minutes=9, name="again"),),
)


def state_of(title: str = AWKWARD) -> State:
    named = msgspec.structs.replace(topic(), title=title)
    return State(topics={named.id: named, TRICKY.id: TRICKY}, steps={s.id: s for s in (ONE, TWO)})


def written(title: str = AWKWARD, day: date | None = None, now: datetime = NOW) -> bytes:
    made = plan(*PERIODS)
    if day:
        request = msgspec.structs.replace(made.request, day=day, starts_at=time(17))
        made = msgspec.structs.replace(made, request=request)
    return calendar_of([made], state_of(title), now)


def unfolded(raw: bytes) -> list[str]:
    """Section 3.1: a CRLF followed by one space or tab is taken out before anything else."""
    return re.sub(rb"\r\n[ \t]", b"", raw).decode("utf-8").split("\r\n")[:-1]


def values(raw: bytes, name: str) -> list[str]:
    return [line.partition(":")[2] for line in unfolded(raw) if re.match(rf"{name}[;:]", line)]


def unescaped(text: str) -> str:
    r"""Section 3.3.11: \\ \; \, \n and \N."""
    return re.sub(r"\\(.)", lambda m: "\n" if m[1] in "nN" else m[1], text)


def test_lines_end_with_crlf_and_hold_at_most_75_octets():
    """Section 3.1; and no fold inside a character of UTF-8."""
    for title in (AWKWARD, "ü" * 200, "\U0001f3bb" * 90, "x" * 74, "x" * 75, "x" * 76):
        raw = written(title)
        assert raw.endswith(b"\r\n")
        assert b"\n" not in raw.replace(b"\r\n", b"")
        lines = raw.split(b"\r\n")
        assert max(len(line) for line in lines) <= 75
        for line in lines:
            line.decode("utf-8")
        assert title in unescaped(values(raw, "SUMMARY")[0])


def test_the_example_of_section_3_1_unfolds_as_printed():
    folded = b"DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\n"
    assert unfolded(folded) == [
        "DESCRIPTION:This is a long description that exists on a long line."
    ]


def test_text_is_escaped_as_section_3_3_11_says():
    raw = written()
    [summary] = values(raw, "SUMMARY")
    assert "Slow\\; low\\, \\\\ clear: “für Elise”" in summary
    assert "\\:" not in summary  # a colon shall not be escaped
    assert AWKWARD in unescaped(summary)


def test_a_line_break_in_a_title_cannot_begin_a_new_property():
    raw = written("One\r\nATTENDEE:mailto:x@example.com\nEND:VEVENT")
    assert [line for line in unfolded(raw) if line.startswith("ATTENDEE")] == []
    assert len(values(raw, "END")) == 2


def test_what_an_icalendar_object_must_have():
    """Sections 3.4, 3.6, 3.6.1, 3.7.3 and 3.7.4."""
    raw = written()
    lines = unfolded(raw)
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    assert values(raw, "VERSION") == ["2.0"]
    for name in ("PRODID", "UID", "DTSTAMP", "DTSTART", "DTEND"):
        assert len(values(raw, name)) == 1, name
    assert values(raw, "DURATION") == []  # DTEND and DURATION exclude each other
    assert values(raw, "METHOD") == []
    assert re.fullmatch(r"\d{8}T\d{6}Z", values(raw, "DTSTAMP")[0])  # in UTC


@pytest.mark.parametrize(
    ("day", "start", "end"),
    [
        (date(2027, 1, 12), "20270112T160000Z", "20270112T163800Z"),  # winter time, UTC+1
        (date(2027, 7, 12), "20270712T150000Z", "20270712T153800Z"),  # summer time, UTC+2
        (date(2027, 3, 28), "20270328T150000Z", "20270328T153800Z"),  # the day it changes
    ],
)
def test_instants_are_in_utc_whatever_season_the_plan_was_made_in(day, start, end):
    """Section 3.3.5, form 2; so no VTIMEZONE is needed (3.2.19). 33 + 5 minutes from 17:00."""
    raw = written(day=day)
    assert values(raw, "DTSTART") == [start]
    assert values(raw, "DTEND") == [end]
    assert b"TZID" not in raw


def test_the_example_event_of_section_3_6_1_lasts_eleven_hours():
    """The RFC's own event, read by the same rules as above."""
    raw = b"DTSTART:19970714T170000Z\r\nDTEND:19970715T040000Z\r\n"
    instants = [
        datetime.strptime(values(raw, n)[0], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
        for n in ("DTSTART", "DTEND")
    ]
    assert instants[1] - instants[0] == timedelta(hours=11)


def test_the_description_tells_the_session_by_the_clock():
    [described] = values(written("Scales"), "DESCRIPTION")
    lines = unescaped(described).split("\n")
    assert [line[:5] for line in lines] == ["17:00", "17:02", "17:14", "17:24", "17:29"]
    assert "cold take: tune - two, 2 min" in lines[0]
    assert "break, 5 min" in lines[3]


def test_a_changed_plan_is_the_same_event_of_that_day():
    """Section 3.8.4.7: the UID is persistent; another day is another event."""
    one = values(written(), "UID")
    assert one == values(written("another title", now=NOW + timedelta(hours=1)), "UID")
    assert one != values(written(day=date(2027, 1, 13)), "UID")


def fed(zone, **settings) -> tuple[bytes, State]:
    state = state_of()
    state.settings |= settings
    made = plan(*PERIODS)
    request = msgspec.structs.replace(made.request, day=date(2027, 3, 27), starts_at=time(17))
    later = msgspec.structs.replace(request, day=date(2027, 3, 28), session=2)  # summer time began
    state.plans[request.day] = msgspec.structs.replace(made, request=request)
    state.more_plans[plan_key(later.day, 2)] = msgspec.structs.replace(made, request=later)
    state.appointments["a"] = Appointment(
        id="a", on=date(2027, 4, 1), starts_at=time(19, 30), minutes=90, title="quartet"
    )
    hall = Performance(
        id="p", title="Spring; concert", on=date(2027, 4, 9), place="Hall, 2nd floor"
    )
    state.performances["p"] = hall
    return feed_of(state, date(2027, 3, 20), NOW.astimezone(zone)), state


def parts(raw: bytes, name: str) -> list[list[str]]:
    """Section 3.6: components stand between BEGIN and END."""
    lines, found = unfolded(raw), []
    for at, line in enumerate(lines):
        if line == f"BEGIN:{name}":
            found.append(lines[at + 1 : lines.index(f"END:{name}", at)])
    return found


def test_the_address_for_a_calendar_has_all_dates_in_the_player_s_zone():
    """Sections 3.2.19 and 3.6.5: a local time with TZID, and the zone described."""
    raw, _ = fed(BERLIN)
    starts = [line for line in unfolded(raw) if line.startswith("DTSTART") and "2027" in line]
    assert starts == [
        "DTSTART;TZID=Europe/Berlin:20270327T170000",
        "DTSTART;TZID=Europe/Berlin:20270328T170000",
        "DTSTART;TZID=Europe/Berlin:20270401T193000",
        "DTSTART;VALUE=DATE:20270409",
    ]
    assert values(raw, "TZID") == ["Europe/Berlin"]
    [zone] = parts(raw, "VTIMEZONE")
    assert {"BEGIN:STANDARD", "BEGIN:DAYLIGHT"} <= set(zone)
    offsets = {line for line in zone if line.startswith("TZOFFSETTO")}
    assert {"TZOFFSETTO:+0100", "TZOFFSETTO:+0200"} <= offsets
    assert len(set(values(raw, "UID"))) == 4
    assert r"Hall\, 2nd floor" in values(raw, "LOCATION")[0]
    assert values(raw, "REFRESH-INTERVAL") == ["PT1H"]  # RFC 7986, section 5.7
    assert not parts(raw, "VALARM")


def test_a_second_reader_finds_the_same_instants():
    """The library reads what this file's own rules read, over the change to summer time."""
    raw, _ = fed(BERLIN)
    read = Calendar.from_ical(raw)
    found = {str(e["uid"]): e["dtstart"].dt for e in read.walk("VEVENT")}
    own = {}
    for event in parts(raw, "VEVENT"):
        fields = {re.split("[;:]", line)[0]: line.partition(":")[2] for line in event}
        text = fields["DTSTART"]
        form = "%Y%m%dT%H%M%S" if "T" in text else "%Y%m%d"
        wall = datetime.strptime(text, form)
        own[fields["UID"]] = wall.replace(tzinfo=BERLIN) if "T" in text else wall.date()
    assert found == own
    hours = sorted(d.astimezone(UTC).hour for d in found.values() if isinstance(d, datetime))
    assert hours == [15, 16, 17]  # 17:00 in winter and in summer time, and 19:30


def test_alarms_are_by_setting_and_only_before_what_has_a_time():
    """Section 3.6.6: a DISPLAY alarm needs ACTION, TRIGGER and DESCRIPTION."""
    raw, _ = fed(BERLIN, calendar_alarm="15")
    alarms = parts(raw, "VALARM")
    assert len(alarms) == 3
    for alarm in alarms:
        assert {"ACTION:DISPLAY", "TRIGGER:-PT15M"} <= set(alarm)
        assert any(line.startswith("DESCRIPTION:") for line in alarm)


def test_a_zone_without_a_name_gives_instants():
    raw, _ = fed(timezone(timedelta(hours=1)))
    assert "DTSTART:20270327T160000Z" in unfolded(raw)
    assert not parts(raw, "VTIMEZONE")


def test_what_is_long_past_is_not_in_it():
    _, state = fed(BERLIN)
    assert not parts(feed_of(state, date(2027, 8, 1), NOW), "VEVENT")

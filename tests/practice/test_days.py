"""Practice days by the player's own clock: after midnight, summer time, flights, wrong clocks.

Offsets and changes of summer time come from the tz database (zoneinfo), not from us.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from coldtake.domain import events as ev
from coldtake.domain.days import clock_on, day_of, held_day
from coldtake.domain.following import fold
from coldtake.domain.take import Answer, Judge
from making import plan, slot, step, topic

VIENNA, TOKYO, HONOLULU = (
    ZoneInfo(name) for name in ("Europe/Vienna", "Asia/Tokyo", "Pacific/Honolulu")
)
STEP = step()


class Traveller:
    """A player whose device shows the local time, right or wrong."""

    def __init__(self, services, clock):
        self.services, self.clock = services, clock
        self.tries = 0
        services.append(ev.TopicKept(topic=topic()), ev.StepKept(step=STEP))

    def at(self, zone, *parts):
        self.clock.instant = datetime(*parts, tzinfo=zone)
        return self

    def session(self, session_id="s"):
        """Begin a session as its page does, and try the step once."""
        self.day = self.services.today()
        self.tell(ev.SessionStarted(session_id=session_id, plan=plan((slot(STEP),))))
        return self.tried(session_id)

    def tried(self, session_id="s"):
        self.tries += 1
        self.clock.go_on(seconds=20)
        name = f"try {self.tries}"
        answer = {"answer": Answer.NO, "judge": Judge.PLAYER}
        self.tell(ev.TryAnswered(try_id=name, step_id=STEP.id, session_id=session_id, **answer))
        return self.services.state().tries[name]

    def tell(self, data):
        event = ev.Event(id=self.clock.new_id(), at=self.clock.now(), day=self.day, data=data)
        assert self.services.sessions.record([ev.to_json(event)]).refused == ()


@pytest.fixture
def player(services, clock):
    return Traveller(services, clock)


@pytest.mark.parametrize(
    ("changed", "before", "after"),
    [
        # 28 March 2027: 02:00 becomes 03:00; 31 October 2027: 03:00 becomes 02:00.
        ("spring", datetime(2027, 3, 28, 3, 59), datetime(2027, 3, 28, 4, 0)),
        ("autumn", datetime(2027, 10, 31, 3, 59), datetime(2027, 10, 31, 4, 0)),
    ],
)
def test_the_day_turns_by_the_wall_clock_when_summer_time_does(changed, before, after):
    old, new = before.replace(tzinfo=VIENNA), after.replace(tzinfo=VIENNA)
    assert old.utcoffset() == new.utcoffset(), changed  # both after the change itself
    assert day_of(old) == before.date() - timedelta(days=1)
    assert day_of(new) == after.date()


def test_the_hour_that_comes_twice_stays_in_the_evening_before():
    """02:30 on 31 October 2027 is twice, an hour apart; both are still the night."""
    first = datetime(2027, 10, 31, 2, 30, tzinfo=VIENNA)
    second = first.replace(fold=1)
    assert second.astimezone(UTC) - first.astimezone(UTC) == timedelta(hours=1)
    assert day_of(first) == day_of(second) == date(2027, 10, 30)


def test_every_minute_of_two_changes_of_summer_time_in_order():
    """Going through the true minutes, the day never falls back and turns once a date."""
    for first in (datetime(2027, 3, 27, tzinfo=UTC), datetime(2027, 10, 30, tzinfo=UTC)):
        minutes = (first + timedelta(minutes=n) for n in range(3 * 1440))
        days = [day_of(at.astimezone(VIENNA)) for at in minutes]
        assert days == sorted(days)
        assert len(set(days)) == (days[-1] - days[0]).days + 1


def test_the_hour_is_a_setting(services, clock):
    clock.instant = datetime(2027, 1, 12, 5, 30, tzinfo=VIENNA)
    assert services.today() == date(2027, 1, 12)
    services.settings.choose("day_turns_hour", "6")
    clock.go_on(minutes=1)
    assert services.today() == date(2027, 1, 12), "what was reached is not taken back"
    clock.instant = datetime(2027, 1, 13, 5, 30, tzinfo=VIENNA)
    assert services.today() == date(2027, 1, 12)
    services.settings.choose("day_turns_hour", "0")
    assert services.today() == date(2027, 1, 13)


def test_after_midnight_counts_to_the_evening_before_and_is_no_first_try(player):
    evening = player.at(VIENNA, 2027, 1, 12, 22).session()
    night = player.at(VIENNA, 2027, 1, 13, 1).session("night")
    morning = player.at(VIENNA, 2027, 1, 13, 9).session("morning")
    assert [t.day.day for t in (evening, night, morning)] == [12, 12, 13]
    assert [t.cold for t in (evening, night, morning)] == [True, False, True]


def test_flight_to_the_west_over_the_date_line_goes_on_with_the_day_that_was_reached(player):
    """Wednesday morning in Tokyo; the same evening it is Tuesday in Honolulu."""
    tokyo = player.at(TOKYO, 2027, 1, 13, 10).session("tokyo")
    honolulu = player.at(HONOLULU, 2027, 1, 12, 20).session("honolulu")
    assert honolulu.at - tokyo.at == timedelta(hours=5)
    assert honolulu.at.date() == date(2027, 1, 12)
    next_day = player.at(HONOLULU, 2027, 1, 14, 10).session("thursday")
    assert [t.day.day for t in (tokyo, honolulu, next_day)] == [13, 13, 14]
    assert [t.cold for t in (tokyo, honolulu, next_day)] == [True, False, True]


def test_flight_to_the_east_over_the_date_line_leaves_out_a_date(player):
    monday = player.at(HONOLULU, 2027, 1, 11, 18).session("monday")
    wednesday = player.at(TOKYO, 2027, 1, 13, 18).session("wednesday")
    assert wednesday.at - monday.at == timedelta(hours=29)
    assert [t.day.day for t in (monday, wednesday)] == [11, 13]
    assert monday.cold
    assert wednesday.cold
    assert len(player.services.state().sessions_on) == 2


def test_a_page_that_did_not_know_of_the_flight_makes_no_second_first_try(player):
    """An offline tablet says Tuesday; Wednesday's try has the earlier instant."""
    assert player.at(TOKYO, 2027, 1, 13, 10).session("tokyo").cold
    player.at(HONOLULU, 2027, 1, 12, 20)
    player.day = date(2027, 1, 12)
    assert not player.tried().cold


def test_clock_an_hour_back_in_mid_session(player, clock):
    """As the page does it: its own time never falls, so what follows lies after what was."""
    first = player.at(VIENNA, 2027, 1, 12, 17).session()
    assert first.cold
    clock.go_on(hours=-1)
    second = player.tried()
    assert second.day == first.day
    player.services.pile.keep_step(step(need_min=55))  # decided now: it counts, whatever the clock
    assert player.services.pile.step(STEP.id).need_min == 55
    state = player.services.state()
    assert state.sessions_on == {first.day: ("s",)}
    assert sum(t.cold for t in state.step_tries(STEP.id)) == 1
    assert state == fold(e for _, e in player.services.store.events())


def test_clock_a_day_ahead_then_put_right(player):
    """What was told under the wrong clock stands tomorrow; today goes on as if it were not."""
    wrong = player.at(VIENNA, 2027, 1, 13, 18).session("wrong")
    player.services.pile.keep_step(step(need_min=50))
    player.at(VIENNA, 2027, 1, 12, 19)
    assert player.services.today() == date(2027, 1, 12), "a wrong clock does not hold the day"
    player.services.pile.keep_step(step(need_min=55))
    assert player.services.pile.step(STEP.id).need_min == 55, "a change made now counts"
    right = player.session("right")
    assert right.cold
    assert (wrong.day.day, right.day.day) == (13, 12)
    tomorrow = player.at(VIENNA, 2027, 1, 13, 20).session("tomorrow")
    assert tomorrow.day.day == 13
    state = player.services.state()
    assert {day.day: ids for day, ids in state.sessions_on.items()} == {
        12: ("right",),
        13: ("wrong", "tomorrow"),
    }
    by_day = [t.day.day for t in state.step_tries(STEP.id) if t.cold]
    assert sorted(by_day) == [12, 13], "one first try a day, none twice"


def test_held_day_only_over_one_day_that_was_before_now():
    now, day = datetime(2027, 1, 12, 20, tzinfo=UTC), date(2027, 1, 12)
    hour = timedelta(hours=1)
    assert held_day(day, now, None) == day
    assert held_day(day, now, (now - hour, date(2027, 1, 13))) == date(2027, 1, 13)
    assert held_day(day, now, (now + hour, date(2027, 1, 13))) == day
    assert held_day(day, now, (now - hour, date(2027, 1, 14))) == day
    assert held_day(day, now, (now - hour, date(2027, 1, 11))) == day


def test_a_plan_at_night_begins_a_date_later(services, clock):
    """Half past midnight belongs to the evening before: the calendar must not send it back."""
    assert clock_on(date(2027, 1, 12), time(0, 30)) == datetime(2027, 1, 13, 0, 30)
    assert clock_on(date(2027, 1, 12), time(17)) == datetime(2027, 1, 12, 17)
    assert clock_on(date(2027, 1, 12), time(0, 30), 0) == datetime(2027, 1, 12, 0, 30)
    clock.instant = datetime(2027, 1, 13, 0, 32, tzinfo=VIENNA)
    assert services.today() == date(2027, 1, 12)
    late = services.evening.default_request(services.today())
    assert late.starts_at == time(0, 35)


def test_a_plan_over_the_change_of_summer_time_takes_its_true_minutes():
    """28 March 2027, from 01:50: after ten minutes it is three."""
    first, second = (slot(step(n), minutes=m) for n, m in (("slow", 10), ("fast", 5)))
    start = datetime(2027, 3, 28, 1, 50, tzinfo=VIENNA)
    along = [(f"{m.begins:%H:%M}", m.minutes) for m in plan((first,), (second,)).along(start)]
    assert along == [("01:50", 10), ("03:00", 5), ("03:05", 5)]

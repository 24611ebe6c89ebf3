"""Practice days by the player's own clock: after midnight, summer time, flights, wrong clocks.

Offsets and changes of summer time come from the tz database (zoneinfo), not from us.
"""

import json
import random
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
import pytest

from coldtake.domain import events as ev
from coldtake.domain.days import day_at, start_of
from coldtake.domain.history.projection import fold
from coldtake.domain.plan import PlanRequest
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place
from making import plan, slot, step, topic

VIENNA, TOKYO, HONOLULU = (
    ZoneInfo(name) for name in ("Europe/Vienna", "Asia/Tokyo", "Pacific/Honolulu")
)
STEP = step()
FILE = Path(__file__).parents[1] / "cases" / "days.json"
CASES = json.loads(FILE.read_text(encoding="utf-8"))


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


@pytest.mark.parametrize("case", CASES, ids=[c["name"] for c in CASES])
def test_the_practice_day_of_an_instant(case):
    now = datetime.fromisoformat(case["now"])
    local = now.astimezone(ZoneInfo(case["zone"]))
    assert local.utcoffset() == now.utcoffset(), "as the tz database has it"
    acted = {date.fromisoformat(d): datetime.fromisoformat(t) for d, t in case["acted"].items()}
    spans = {
        date.fromisoformat(d): tuple(map(datetime.fromisoformat, span))
        for d, span in case.get("planned", {}).items()
    }
    assert day_at(local, acted, spans.get) == date.fromisoformat(case["day"])


def test_whatever_is_done_the_day_never_goes_back_and_is_at_most_one_behind():
    """Random nights of a year in Vienna, by the true minutes, changes of summer time included."""
    rng = random.Random(5)
    at, acted, days = datetime(2027, 1, 1, tzinfo=UTC), {}, []
    while at.year == 2027:
        now = at.astimezone(VIENNA)
        days.append(day_at(now, acted))
        assert now.date() - days[-1] in (timedelta(0), timedelta(days=1))
        acted[days[-1]] = now
        at += timedelta(minutes=rng.choice([5, 30, 90, 200, 300, 600, 900]))
    assert days == sorted(days)


def test_after_midnight_counts_to_the_evening_before_and_is_no_first_try(player):
    evening = player.at(VIENNA, 2027, 1, 12, 22).session()
    night = player.at(VIENNA, 2027, 1, 13, 1).session("night")
    morning = player.at(VIENNA, 2027, 1, 13, 9).session("morning")
    assert [t.day.day for t in (evening, night, morning)] == [12, 12, 13]
    assert [t.cold for t in (evening, night, morning)] == [True, False, True]


def test_a_player_of_the_night_has_one_day_each_night(player):
    """From 23:00 to about 03:00, asleep until noon, the afternoon without music."""
    days = []
    for n in range(4):
        night = [
            player.at(VIENNA, 2027, 1, 12 + n, 23).session(f"late {n}"),
            player.at(VIENNA, 2027, 1, 13 + n, 1, 30).session(f"later {n}"),
            player.at(VIENNA, 2027, 1, 13 + n, 2, 50).session(f"last {n}"),
        ]
        assert len({t.day for t in night}) == 1
        assert [t.cold for t in night] == [True, False, False]
        days.append(night[0].day.day)
    assert days == [12, 13, 14, 15]


def test_early_risers_begin_their_day_before_four(player):
    evening = player.at(VIENNA, 2027, 1, 12, 21).session()
    early = player.at(VIENNA, 2027, 1, 13, 3, 30).session("early")
    assert [t.day.day for t in (evening, early)] == [12, 13]
    assert early.cold


def test_a_session_goes_on_after_midnight_in_its_day(player):
    player.at(VIENNA, 2027, 1, 12, 23, 30).session()
    player.clock.go_on(minutes=60)
    assert player.services.today() == date(2027, 1, 12)
    assert player.services.sessions.start().day == date(2027, 1, 12), "the running one"
    assert player.tried().day == date(2027, 1, 12)


def test_what_the_tool_says_by_night_keeps_no_evening_going(player):
    """Judging old takes again goes on for hours; ending a session that was left open is no act."""
    player.at(VIENNA, 2027, 1, 12, 22).session()
    services = player.services
    player.at(VIENNA, 2027, 1, 13, 1)
    said = {"answer": Answer.YES, "judge": Judge.TOOL}
    services.append(ev.TryAnswered(try_id="by the tool", step_id=STEP.id, **said))
    assert services.today() == date(2027, 1, 12)
    player.at(VIENNA, 2027, 1, 13, 3)
    assert services.today() == date(2027, 1, 13)
    started = services.sessions.start()
    assert started.day == date(2027, 1, 13)
    assert services.state().sessions["s"].ended_at is not None


def test_planning_and_laying_out_are_part_of_the_evening(player):
    player.at(VIENNA, 2027, 1, 12, 18).session()
    player.at(VIENNA, 2027, 1, 12, 21, 30).services.pile.keep_step(step(need_min=50))
    assert player.at(VIENNA, 2027, 1, 13, 1).services.today() == date(2027, 1, 12)


def test_tomorrow_is_the_day_after_the_night(services, player):
    player.at(VIENNA, 2027, 1, 12, 22).session()
    for at in ((2027, 1, 12, 23), (2027, 1, 13, 0, 40)):  # before midnight and after it
        player.at(VIENNA, *at)
        assert services.plans.tomorrow() == date(2027, 1, 13)
    # Nothing for hours, and still up at three: the date has begun, its day is to come.
    player.at(VIENNA, 2027, 1, 13, 3)
    assert services.today() == date(2027, 1, 13)
    assert services.plans.tomorrow() == date(2027, 1, 13)
    assert player.at(VIENNA, 2027, 1, 13, 8).services.plans.tomorrow() == date(2027, 1, 14)


def test_older_logs_keep_their_days(open_again, clock):
    """Written when the day turned at an hour: 05:30 counted to the day before with six chosen."""
    services = open_again()
    services.append(ev.TopicKept(topic=topic()), ev.StepKept(step=STEP))
    night = datetime(2027, 1, 6, 5, 30, tzinfo=VIENNA)
    chosen = ev.SettingChosen(name="day_turns_hour", value="6")
    services.append(chosen, at=night - timedelta(days=1), day=date(2027, 1, 4))
    started = ev.SessionStarted(session_id="old", plan=plan((slot(STEP),)))
    old = {"at": night, "day": date(2027, 1, 5)}
    said = {"session_id": "old", "answer": Answer.NO, "judge": Judge.PLAYER}
    services.append(started, ev.TryAnswered(try_id="old", step_id=STEP.id, **said), **old)
    request = PlanRequest(day=date(2027, 1, 5), starts_at=time(5), minutes=60)
    kept = msgspec.structs.replace(plan((slot(STEP),)), request=request)
    services.append(ev.PlanKept(plan=kept), **old)
    again = open_again()
    assert again.state().tries["old"].day == date(2027, 1, 5)
    assert again.state().sessions_on == {date(2027, 1, 5): ("old",)}
    assert again.state().plans[date(2027, 1, 5)].request.starts == datetime(2027, 1, 6, 5)
    clock.instant = datetime(2027, 1, 8, 5, 30, tzinfo=VIENNA)
    assert again.today() == date(2027, 1, 8), "and nothing turns by that hour any more"
    assert "day_turns_hour" not in again.settings.all()


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


@pytest.mark.parametrize(
    ("now", "day", "clock", "on"),
    [
        ((12, 20), 12, (17, 0), 12),  # three hours ago: as it was said
        ((12, 23), 12, (17, 0), 12),
        ((12, 20), 12, (0, 30), 13),  # this night
        ((13, 0), 12, (0, 45), 13),  # the evening goes on
        ((13, 0), 12, (23, 30), 12),
        ((13, 0), 13, (0, 45), 13),  # the new date has begun
        ((12, 20), 13, (0, 30), 13),  # tomorrow by its date
        ((12, 20), 13, (7, 0), 13),
    ],
)
def test_on_which_date_a_plan_begins(now, day, clock, on):
    at = datetime(2027, 1, *now, 5, tzinfo=VIENNA)
    starts = start_of(date(2027, 1, day), time(*clock), at)
    assert starts == datetime(2027, 1, on, *clock)


def test_a_plan_at_night_begins_a_date_later(services, clock, player):
    """Half past midnight belongs to the evening before: the calendar must not send it back."""
    player.at(VIENNA, 2027, 1, 12, 23, 50).session()
    clock.instant = datetime(2027, 1, 12, 23, 58, tzinfo=VIENNA)
    assert services.plans.default_request(services.today()).starts == datetime(2027, 1, 13)
    clock.instant = datetime(2027, 1, 13, 0, 32, tzinfo=VIENNA)
    assert services.today() == date(2027, 1, 12)
    late = services.plans.default_request(services.today())
    assert late.starts == datetime(2027, 1, 13, 0, 35)
    services.pile.place(STEP.topic_id, Place.CURRENT)
    assert services.plans.propose(late).request.starts == datetime(2027, 1, 13, 0, 35)
    written = services.plans.calendar(date(2027, 1, 12))
    assert b"DTSTART:20270112T233500Z" in written, "in UTC, an hour before Vienna"
    # Asked for by its time alone, as the page does: the date that was decided stays.
    bare = msgspec.structs.replace(late, starts_on=None)
    assert services.plans.propose(bare).request.starts == datetime(2027, 1, 13, 0, 35)


def test_a_plan_that_runs_over_midnight_is_still_today_s(services, clock, player):
    """Planned at six for half past eleven, begun after midnight."""
    services.pile.place(STEP.topic_id, Place.CURRENT)
    clock.instant = datetime(2027, 1, 12, 18, tzinfo=VIENNA)
    asked = PlanRequest(day=date(2027, 1, 12), starts_at=time(23, 55), minutes=60)
    made = services.plans.propose(asked)
    assert made.minutes > 6
    clock.instant = datetime(2027, 1, 13, 0, 1, tzinfo=VIENNA)
    assert services.today() == date(2027, 1, 12)
    assert services.sessions.start().plan == services.plans.plan(date(2027, 1, 12))


def test_a_plan_over_the_change_of_summer_time_takes_its_true_minutes():
    """28 March 2027, from 01:50: after ten minutes it is three."""
    first, second = (slot(step(n), minutes=m) for n, m in (("slow", 10), ("fast", 5)))
    start = datetime(2027, 3, 28, 1, 50, tzinfo=VIENNA)
    along = [(f"{m.begins:%H:%M}", m.minutes) for m in plan((first,), (second,)).along(start)]
    assert along == [("01:50", 10), ("03:00", 5), ("03:05", 5)]

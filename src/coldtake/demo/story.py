"""Six weeks of the invented player: evenings that plan, days that are played, missed or cut short.

The story is told day by day through the same services that the pages use, on a draft of the log;
only when it is whole does it go to the player's own log, sound first, in one append.
"""

from datetime import date, datetime, time, timedelta, tzinfo

import msgspec
import numpy as np

from coldtake.demo import on_stage
from coldtake.demo.groundwork import d_major, dotted, over_the_break, reading, triplets
from coldtake.demo.laying import Laid, topic_id
from coldtake.demo.material import MATERIAL
from coldtake.demo.repertoire import air, movement, tune
from coldtake.demo.seeded import StoryClock
from coldtake.demo.session_play import SessionPlay
from coldtake.demo.takes import TakeBook
from coldtake.domain import events as ev
from coldtake.domain.plan import Wish
from coldtake.domain.topic import Place, StepPhase
from coldtake.learning.simulated import SimulatedPlayer
from coldtake.practice.services import House

DAYS = 42
GROWS_ON = -2  # the day on which each current topic is given its next step
KEEPS_UP_FROM = -12  # from this day on the player insists on what D major still lacks
AT_FIRST = ("break", "d major", "triplets")
MOVES: dict[int, tuple[tuple[str, Place], ...]] = {
    -35: (("movement", Place.CURRENT),),  # the quintet has settled its programme
    -26: (("triplets", Place.LAID_ASIDE), ("tune", Place.CURRENT)),  # and its encore
}
EVENING = time(21, 10)
LIFE_BEGINS = date(2001, 1, 1) + timedelta(days=DAYS)  # day 0 of the simulated player's own life
USUAL_MIN, LONG_MIN, SHORT_MIN = 45, 60, 30
WISHED_MIN = 10
MISSED_SHARE = 0.2  # of the days
READY_TO_START = timedelta(minutes=10)  # to look around first
QUARTER_MIN = 15
LATEST_START = time(22)


def start_today(opened_at: datetime, today: date, usual: time) -> time | None:
    """When today's session starts, so that nobody who opens the example is late for it.

    The usual time while it lies ahead, else a quarter of an hour that comes soon; None late in the
    evening and at night.
    """
    soon = opened_at.replace(tzinfo=None, second=0, microsecond=0) + READY_TO_START
    if datetime.combine(today, usual) >= soon:
        return usual
    start = soon + timedelta(minutes=-soon.minute % QUARTER_MIN)
    in_time = start.date() == today and start.time() <= LATEST_START
    return start.time() if in_time else None


class Story:
    """The telling. `services` write to a draft under `clock`; `today` is the day after the last.

    opened_at : when the example is asked for, in the player's own zone
    """

    def __init__(
        self,
        services: House,
        clock: StoryClock,
        today: date,
        seed: int,
        *,
        opened_at: datetime,
    ) -> None:
        self._services = services
        self._clock = clock
        self._today = today
        self._opened_at = opened_at
        self._laid = laid_out(today)
        self._player = SimulatedPlayer(seed, missed_share=MISSED_SHARE)
        self._rng = np.random.default_rng([seed, 3])
        self._takes = TakeBook(services, clock, seed)

    def lay_out(self) -> None:
        """Put the pile in, the evening before the first day."""
        self._services.settings.choose("session_minutes", str(USUAL_MIN))
        for material in MATERIAL:
            self._services.append(ev.PassageKept(passage=material.stored()))
        for laid in self._laid:
            self._clock.wait(40)
            self._services.pile.keep_topic(laid.topic)
            for step in laid.steps:
                self._services.pile.keep_step(step)
        for name in AT_FIRST:
            self._services.pile.place(topic_id(name), Place.CURRENT)
        on_stage.announce(self._services, self._today)
        on_stage.rehearse(self._services, self._today)

    def day(self, index: int) -> None:
        """Plan a day on the evening before, then play it; index -42 is the first, -1 yesterday."""
        day = self._today + timedelta(days=index)
        for name, place in MOVES.get(index, ()):
            self._services.pile.place(topic_id(name), place)
        for laid in self._laid if index == GROWS_ON else ():
            for step in laid.later:
                self._services.pile.keep_step(step)
        self._plan(day, _minutes(index), self._wishes() if index >= KEEPS_UP_FROM else ())
        if index % 7 == 0:  # as a player who looks ahead on Sundays; what is said is kept
            self._services.reports.outlook()
        own_day = LIFE_BEGINS + timedelta(days=index)
        if not self._player.comes(own_day):
            return
        late_s = float(self._rng.uniform(-600, 1500))
        self._clock.instant = at(day, time(17), self._clock) + timedelta(seconds=late_s)
        run = self._services.sessions.start(day)
        play = SessionPlay(
            self._services,
            self._clock,
            self._player,
            self._rng,
            lambda slot, run: self._takes.in_slot(index, slot, run),
        )
        play.play(run, own_day)
        on_stage.run_through(self._services, self._clock, self._player, index, own_day)

    def finish(self) -> None:
        """Bring home what is left, and plan what is left of today, and tomorrow."""
        self._clock.instant = at(self._today - timedelta(days=1), time(20), self._clock)
        self._takes.at_home()
        usual = self._services.plans.default_request(self._today).starts_at
        start = start_today(self._opened_at, self._today, usual)
        if start is not None:
            self._plan(self._today, USUAL_MIN, starts_at=start)
        self._plan(self._today + timedelta(days=1), USUAL_MIN)

    def _wishes(self) -> tuple[Wish, ...]:
        """Insist on the first step of the scale that is not met (any more)."""
        state = self._services.state()
        steps = state.topic_steps(topic_id("d major"))
        left = [s for s in steps if state.phase(s.id) not in (StepPhase.MET, StepPhase.HELD)]
        return tuple(Wish(step_id=s.id, minutes=WISHED_MIN) for s in left[:1])

    def _plan(
        self,
        day: date,
        minutes: int,
        wishes: tuple[Wish, ...] = (),
        starts_at: time | None = None,
    ) -> None:
        eve = at(min(day, self._today) - timedelta(days=1), EVENING, self._clock)
        self._clock.instant = max(eve, self._clock.instant + timedelta(seconds=30))
        request = self._services.plans.default_request(day)
        self._services.plans.propose(
            msgspec.structs.replace(
                request,
                minutes=minutes,
                wishes=wishes,
                starts_at=starts_at or request.starts_at,
            )
        )


def _minutes(index: int) -> int:
    """Minutes offered on a day: a long one each week, a short one, the rest as usual."""
    return {5: LONG_MIN, 2: SHORT_MIN}.get(index % 7, USUAL_MIN)


def at(day: date, clock_time: time, clock: StoryClock) -> datetime:
    """Return an instant of the story in the player's own zone."""
    zone: tzinfo | None = clock.now().tzinfo
    return datetime.combine(day, clock_time, zone)


def laid_out(today: date) -> tuple[Laid, ...]:
    """Return the eight topics with their steps, dates counted from `today`."""
    return (
        movement(today),
        tune(today),
        over_the_break(),
        d_major(),
        triplets(),
        air(today),
        dotted(),
        reading(),
    )

"""The example's concert: its programme, and the run-throughs that the player has had so far."""

from datetime import date, time, timedelta

from coldtake.demo.laying import topic_id
from coldtake.demo.repertoire import CONCERT_IN_DAYS, FOUR, REHEARSAL_IN_DAYS
from coldtake.demo.seeded import StoryClock
from coldtake.domain.history.state import State
from coldtake.domain.ids import named_id
from coldtake.domain.performance import RunPart
from coldtake.domain.requirement import Appointment
from coldtake.domain.take import Answer
from coldtake.learning.simulated import SimulatedPlayer
from coldtake.learning.stage_log import last_steps
from coldtake.practice.services import Services

PROGRAMME = ("movement", "tune")
RUN_ON = {-9: "Do not stop, whatever the second theme does.", -3: "Play to the back of the room."}
RUN_S = 380.0  # both pieces, as the example's own run-through takes


def announce(services: Services, today: date) -> None:
    """Put the concert in, with its programme in order."""
    services.performances.add(
        "Quintet at the town library",
        today + timedelta(days=CONCERT_IN_DAYS),
        place="the reading room, upstairs",
        programme=[topic_id(name) for name in PROGRAMME],
    )


def rehearse(services: Services, today: date) -> None:
    """Enter the quintet's next rehearsal."""
    services.appointments.keep(
        Appointment(
            id=named_id("demo", "rehearsal"),
            title="the quintet",
            on=today + timedelta(days=REHEARSAL_IN_DAYS),
            starts_at=time(19, 30),
            minutes=120,
            offers=(FOUR,),
            topic_ids=(topic_id("movement"),),
        )
    )


def run_through(
    services: Services, clock: StoryClock, player: SimulatedPlayer, index: int, own_day: date
) -> None:
    """Run the programme through on the evenings that the story says, and tell what came out."""
    if index not in RUN_ON:
        return
    [concert] = services.performances.upcoming()
    clock.wait(600)
    run = services.performances.begin(
        concert.programme, performance_id=concert.id, intention=RUN_ON[index]
    )
    clock.wait(RUN_S)
    state = services.state()
    first = index == min(RUN_ON)  # the story's first one breaks, at the hardest that was tried
    parts = [_part(state, player, topic, own_day, breaks=first) for topic in concert.programme]
    clock.wait(40)
    services.performances.tell(run.id, parts, played_s=RUN_S)


def _part(
    state: State, player: SimulatedPlayer, topic: str, own_day: date, *, breaks: bool
) -> RunPart:
    """Try the steps that the piece hangs on so far; it breaks where one does not come out."""
    steps = last_steps(state, topic)
    tried = [s for s in steps if state.played(s.id)] or list(state.topic_steps(topic))[:2]
    broke = tuple(s.id for s in tried if player.try_warm(s, own_day) is not Answer.YES)
    broke = broke or ((tried[-1].id,) if breaks else ())
    return RunPart(topic_id=topic, answer=Answer.NO if broke else Answer.YES, broke=broke)

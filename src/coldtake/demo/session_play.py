"""One session of the story, played from its plan by the simulated player.

Every event goes through the door that the session page uses. What a slot's answer is comes from
the simulated player, or, where the story has a take ready, from the real listener.
"""

from collections.abc import Callable
from datetime import date

import numpy as np

from coldtake.demo import words
from coldtake.demo.laying import topic_id
from coldtake.demo.seeded import StoryClock
from coldtake.domain import events as ev
from coldtake.domain.criterion import passed
from coldtake.domain.plan import Slot, SlotKind
from coldtake.domain.session import SessionRun
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Step, StepPhase
from coldtake.learning.simulated import SimulatedPlayer
from coldtake.practice.services import Services

COLD_S = 50.0  # what a cold take costs, with getting ready
TRY_S = 25.0
READY_S = 6.0  # from the bell to the first note
QUIET_S = 20.0
RESTED_DAYS = 4
LEAVES_SHARE = 0.25  # how often the first yes ends a slot; else it is played on to its end
LEAST_S = 60.0  # nobody starts a slot with less than this left

WAS_MET = (StepPhase.MET, StepPhase.HELD, StepPhase.SLIPPED)
SLOT_INTENTIONS = {topic_id(name): said for name, said in words.SLOT_INTENTIONS.items()}

TakePlayer = Callable[[Slot, SessionRun], bool]


class SessionPlay:
    """Plays one session.

    story_day : the day in the simulated player's own life, the same whatever today is
    take_player : asked at each slot; True when it recorded a take there
    """

    def __init__(
        self,
        services: Services,
        clock: StoryClock,
        player: SimulatedPlayer,
        rng: np.random.Generator,
        take_player: TakePlayer,
    ) -> None:
        self._services = services
        self._clock = clock
        self._player = player
        self._rng = rng
        self._take_player = take_player
        self._run: SessionRun
        self._day: date
        self._stops: float

    def play(self, run: SessionRun, story_day: date) -> None:
        """Play a session that has just been started, from its first slot to its end."""
        self._run, self._day = run, story_day
        planned_s = run.plan.minutes * 60.0
        stays_s = self._player.stays(story_day, run.plan.minutes) * 60.0
        self._stops = self._clock.now().timestamp() + stays_s + QUIET_S + LEAST_S
        self._clock.wait(8)
        self._intend(None, self._choose(words.SESSION_INTENTIONS))
        self._clock.wait(QUIET_S)
        whole = all(self._period(number) for number in range(len(run.plan.periods)))
        cut = stays_s < planned_s and not whole
        note = self._choose(words.CUT_SHORT_NOTES if cut else words.NOTES)
        self._tell(ev.SessionEnded(session_id=run.id, note=note, early=not whole))

    def _period(self, number: int) -> bool:
        """Play one period; False when the player left."""
        if number and not self._break(number - 1):
            return False
        before = None
        for slot in self._run.plan.periods[number].slots:
            if self._left_s() < LEAST_S:
                return False
            if slot.topic_id != before:
                self._intend(slot.id, self._slot_words(slot))
            before = slot.topic_id
            self._slot(slot)
        return True

    def _break(self, after: int) -> bool:
        if self._left_s() < LEAST_S:
            return False
        planned_s = self._run.plan.rules.break_min * 60.0
        self._tell(
            ev.BreakStarted(session_id=self._run.id, after_period=after, planned_s=planned_s)
        )
        self._clock.wait(planned_s)
        self._tell(ev.BreakEnded(session_id=self._run.id, after_period=after))
        return True

    def _slot(self, slot: Slot) -> None:
        planned_s = slot.minutes * 60.0
        started = self._clock.now()
        self._tell(
            ev.SlotStarted(
                session_id=self._run.id, slot_id=slot.id, step_id=slot.step_id, planned_s=planned_s
            )
        )
        step = self._services.state().steps[slot.step_id]
        play = self._cold if slot.kind is SlotKind.COLD else self._work
        play(slot, step, min(planned_s, self._left_s()))
        played_s = (self._clock.now() - started).total_seconds()
        self._tell(
            ev.SlotEnded(
                session_id=self._run.id,
                slot_id=slot.id,
                step_id=slot.step_id,
                played_s=min(played_s, planned_s),
                early=played_s < planned_s - 1.0,
            )
        )

    def _cold(self, slot: Slot, step: Step, _most_s: float) -> None:
        self._clock.wait(READY_S)
        if self._take_player(slot, self._run):
            self._player.practise(step, 0.5, self._day)
            return
        self._clock.wait(COLD_S - READY_S)
        self._answer(slot, step, self._player.try_cold(step, self._day))

    def _work(self, slot: Slot, step: Step, most_s: float) -> None:
        """Play what was met once before anything else; work, try, work on, try at the end."""
        end = self._clock.now().timestamp() + most_s
        if self._wants_to_know(step):
            self._clock.wait(READY_S + TRY_S)
            self._answer(slot, step, self._player.try_cold(step, self._day))
        for share in (0.6, 0.4):
            tries_s = min(2, step.criterion.times.wanted) * TRY_S
            left_s = end - self._clock.now().timestamp()
            work_s = max(min(share * most_s, left_s) - tries_s, 0.0)
            self._clock.wait(work_s)
            self._player.practise(step, work_s / 60.0, self._day)
            if self._tries(slot, step, end) and self._rng.random() < LEAVES_SHARE:
                return
        self._clock.wait(max(end - self._clock.now().timestamp(), 0.0))

    def _wants_to_know(self, step: Step) -> bool:
        """Say whether the player begins with a cold take: on a step once met and then left."""
        state = self._services.state()
        played = max((w.day for w in state.past(step.id).works), default=None)
        rested = played is not None and (self._run.day - played).days >= RESTED_DAYS
        return rested and state.phase(step.id) in WAS_MET

    def _tries(self, slot: Slot, step: Step, end: float) -> bool:
        """Try until the criterion has come out or a try was no; True when it came out."""
        answers: tuple[bool, ...] = ()
        while self._clock.now().timestamp() + TRY_S <= end + 1.0:
            if self._take_player(slot, self._run):
                return False
            self._clock.wait(TRY_S)
            answer = self._player.try_warm(step, self._day)
            self._answer(slot, step, answer)
            answers = (*answers, answer is Answer.YES)
            if passed(step.criterion.times, answers):
                return True
            if answer is Answer.NO:
                return False
        return False

    def _answer(self, slot: Slot, step: Step, answer: Answer) -> None:
        self._tell(
            ev.TryAnswered(
                try_id=self._clock.new_id(),
                step_id=step.id,
                answer=answer,
                judge=Judge.PLAYER,
                session_id=self._run.id,
                slot_id=slot.id,
                tempo_bpm=step.exercise.tempo_bpm,
            )
        )

    def _intend(self, slot_id: str | None, said: str) -> None:
        self._tell(ev.IntentionSet(session_id=self._run.id, slot_id=slot_id, words=said))

    def _slot_words(self, slot: Slot) -> str:
        said = SLOT_INTENTIONS.get(slot.topic_id, ())
        return self._choose(said) if said and self._rng.random() < 0.7 else ""

    def _choose(self, said: tuple[str, ...]) -> str:
        return said[int(self._rng.integers(len(said)))]

    def _left_s(self) -> float:
        return self._stops - self._clock.now().timestamp()

    def _tell(self, data: ev.AnyData) -> None:
        now = self._clock.wait(0.25)
        event = ev.Event(id=self._clock.new_id(), at=now, day=self._run.day, data=data)
        self._services.sessions.record((event,))

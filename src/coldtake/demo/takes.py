"""Which takes the story holds, and how each comes into the log: sound, then the real listener.

Nothing here says what the verdict is. A test says which verdict each fault should lead to.
"""

from dataclasses import dataclass

from coldtake.demo.laying import step_id
from coldtake.demo.seeded import StoryClock
from coldtake.demo.sounds import TakeFault, take_sound
from coldtake.domain import events as ev
from coldtake.domain.plan import Slot
from coldtake.domain.session import SessionRun
from coldtake.domain.take import Answer, Judge, NewTake
from coldtake.domain.topic import Step
from coldtake.practice.services import House

SETTLE_S = 3.0  # from the last note to the verdict on the page


@dataclass(frozen=True, slots=True)
class Recipe:
    """One take: of which step, from which day of the story on, with which fault.

    tempo_share : played tempo over the exercise's; own_answer : what the player says to it
    """

    step: str
    from_day: int
    fault: TakeFault = TakeFault.NONE
    tempo_share: float = 1.0
    own_answer: Answer | None = None


RECIPES: tuple[Recipe, ...] = (
    Recipe("opening", -12),
    Recipe("run 72", -10, TakeFault.WRONG_NOTE, own_answer=Answer.NO),
    Recipe("second", -9, TakeFault.LATE_ENTRY),
    Recipe("break 84", -11, tempo_share=0.88),
    Recipe("leaps 60", -7, TakeFault.NOISE, own_answer=Answer.YES),
)


class TakeBook:
    """Records each recipe's take once: in the first slot of its step, or at home at the end."""

    def __init__(self, services: House, clock: StoryClock, seed: int) -> None:
        self._services = services
        self._clock = clock
        self._seed = seed
        self._left = list(RECIPES)

    def in_slot(self, story_index: int, slot: Slot, run: SessionRun) -> bool:
        """Record the take that is due in a slot; False when none is."""
        for recipe in self._left:
            if step_id(recipe.step) == slot.step_id and story_index >= recipe.from_day:
                self._left.remove(recipe)
                self._record(recipe, run, slot)
                return True
        return False

    def at_home(self) -> None:
        """Record what no slot has asked for, outside a session."""
        for recipe in self._left:
            self._clock.wait(90)
            self._record(recipe, None, None)
        self._left.clear()

    def _record(self, recipe: Recipe, run: SessionRun | None, slot: Slot | None) -> None:
        step = self._services.state().steps[step_id(recipe.step)]
        began = self._clock.now()
        day = run.day if run else self._services.today()
        new = NewTake(
            step_id=step.id,
            take_id=self._clock.new_id(),
            at=began,
            day=day,
            session_id=run.id if run else None,
            slot_id=slot.id if slot else None,
            source="microphone" if run else "file",
        )
        take = self._services.takes.keep(self._sound(recipe, step), new)
        self._clock.wait(take.duration_s + SETTLE_S)
        self._services.takes.judge(take.id)
        if recipe.own_answer:
            self._clock.wait(8)
            self._own_answer(take.id, step, recipe.own_answer, run, slot)

    def _sound(self, recipe: Recipe, step: Step) -> bytes:
        passage = self._services.pile.exercise_passage(step)
        assert passage is not None, step.title
        bpm = (step.exercise.tempo_bpm or 60.0) * recipe.tempo_share
        a4_hz = float(self._services.settings.all()["a4_hz"])
        seed = (self._seed, 2, RECIPES.index(recipe))
        return take_sound(passage, bpm, recipe.fault, seed=seed, a4_hz=a4_hz)

    def _own_answer(
        self, take_id: str, step: Step, answer: Answer, run: SessionRun | None, slot: Slot | None
    ) -> None:
        data = ev.TryAnswered(
            try_id=take_id,
            step_id=step.id,
            answer=answer,
            judge=Judge.PLAYER,
            session_id=run.id if run else None,
            slot_id=slot.id if slot else None,
            take_id=take_id,
        )
        self._services.append(data, day=run.day if run else self._services.today())

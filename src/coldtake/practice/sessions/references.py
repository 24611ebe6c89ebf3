"""Reference takes: the player says of one take of a step without notation that it is right."""

from coldtake.domain.events import ReferenceChosen
from coldtake.domain.history.state import State
from coldtake.domain.take import Take
from coldtake.domain.topic import Step
from coldtake.errors import RuleError
from coldtake.ports import TakeFiles
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log


class References:
    """Which take the others of a step are compared with. The takes stay what they are."""

    def __init__(self, log: Log, files: TakeFiles) -> None:
        self._log = log
        self._files = files

    @needs(Action.SEE)
    def may_be(self, step: Step) -> bool:
        """Say whether a take can be the reference of a step."""
        return not why_none(step)

    @needs(Action.CHANGE_TOPICS)
    def choose(self, take_id: str) -> Take:
        """Compare the other takes of a step with this one from now on.

        It is listened to first. Raises NotFoundError, SoundError, RuleError where it cannot serve.
        """
        state = self._log.state()
        take = lookup.take(state, take_id)
        step = lookup.step(state, take.step_id)
        why = why_none(step)
        if why:
            raise RuleError(why, remedy="Nothing was changed.")
        from coldtake.listening.judging_request import ReferenceTake
        from coldtake.listening.worker_client import unfit_reference

        path = str(self._files.path(take.id))
        asked = ReferenceTake(take.id, path, take.click, take.click_bpm)
        unfit = unfit_reference(asked, duration_s=take.duration_s)
        if unfit is not None:
            raise RuleError(unfit[0], remedy=unfit[1])
        if _chosen(state, step) != take.id:
            self._log.append(ReferenceChosen(step_id=step.id, take_id=take.id))
        return take

    @needs(Action.CHANGE_TOPICS)
    def remove(self, step_id: str) -> None:
        """Compare the takes of a step with none any more. Raises NotFoundError."""
        state = self._log.state()
        step = lookup.step(state, step_id)
        if _chosen(state, step) is not None:
            self._log.append(ReferenceChosen(step_id=step.id, take_id=None))


def _chosen(state: State, step: Step) -> str | None:
    return state.references.get(step.id)


def why_none(step: Step) -> str:
    """Say why a step can have no reference take; empty where it can."""
    criterion = step.criterion
    if step.exercise.passage is not None:
        return "This step has notation, so its takes are compared with that."
    if not criterion.heard:
        return "Only you can answer the criterion of this step."
    if criterion.changes is not None:
        return "An improvisation cannot be compared with a reference take."
    if criterion.rhythm_only:
        return "Rhythm alone cannot be compared with a reference take."
    return ""

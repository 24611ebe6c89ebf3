"""An answer that was given wrongly, put right: both stay in the log, the later one counts."""

from coldtake.domain import events as ev
from coldtake.domain.take import Answer, Judge, Take, Try
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log


class Answers:
    """Use cases of the player's answers."""

    def __init__(self, log: Log) -> None:
        self._log = log

    @needs(Action.ANSWER)
    def give(self, take: Take, answer: Answer) -> None:
        """Keep the player's answer to a take, or put theirs right."""
        if take.id in self._log.state().tries:
            self.correct(take.id, answer)
            return
        # At the take's own instant, so that "first try of the day" stays what it was.
        self._log.append(_said(take, answer), at=take.at, day=take.day)

    @needs(Action.ANSWER)
    def correct(self, try_id: str, answer: Answer) -> None:
        """Put an answer right; where it is that already nothing happens. Raises NotFoundError.

        Of a try that only the tool has answered it is the player's first answer, which is told at
        the try's own instant. One that is put right is told now.
        """
        with self._log.deciding() as state:
            known = lookup.attempt(state, try_id)
            if known.judge is Judge.TOOL:
                self._log.append(_said(known, answer), at=known.at, day=known.day)
            elif known.answer is not answer:
                self._log.append(_said(known, answer))


def _said(known: Try | Take, answer: Answer) -> ev.TryAnswered:
    return ev.TryAnswered(
        try_id=known.id,
        step_id=known.step_id,
        answer=answer,
        judge=Judge.PLAYER,
        session_id=known.session_id,
        slot_id=known.slot_id,
        take_id=known.take_id if isinstance(known, Try) else known.id,
    )

"""Practice away from the tool: minutes on a step, and what they came to, told afterwards."""

from datetime import date, time

from coldtake.domain import events as ev
from coldtake.domain.ids import named_id
from coldtake.domain.instants import FIRST
from coldtake.domain.take import Answer, Judge
from coldtake.errors import RuleError
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log

EVENING = time(21)  # when what was played on an earlier day is taken to have ended
MOST_MIN = 600


class Elsewhere:
    """Writes practice away from the tool into the log."""

    def __init__(self, log: Log) -> None:
        self._log = log

    @needs(Action.ADD_ELSEWHERE)
    def keep(self, step_id: str, minutes: int, day: date, answer: Answer | None = None) -> None:
        """Keep minutes played on a day, and the answer that they ended with.

        minutes : 1 to MOST_MIN; answer : None where nothing was answered; it is a warm try, since
            work came before it

        Raises NotFoundError for a step, RuleError for minutes out of range or a day to come.
        """
        if not 1 <= minutes <= MOST_MIN:
            raise RuleError(
                f"{minutes} minutes cannot be.",
                where="Minutes",
                remedy=f"Enter a number from 1 to {MOST_MIN}.",
            )
        today = self._log.today()
        if not FIRST.date() <= day <= today:
            raise RuleError(
                f"{day.isoformat()} cannot be the day of what was played.",
                where="Day",
                remedy=f"Enter a date from {FIRST.date()} to {today.isoformat()}.",
            )
        with self._log.deciding() as state:
            lookup.step(state, step_id)
            entry = self._log.new_id()
            played = ev.SlotEnded(
                session_id=named_id("elsewhere", entry),
                slot_id=entry,
                step_id=step_id,
                played_s=60.0 * minutes,
            )
            tried = [] if answer is None else [self._try(step_id, answer)]
            self._log.append(played, *tried, at=self._log.past_at(day, EVENING), day=day)

    def _try(self, step_id: str, answer: Answer) -> ev.TryAnswered:
        return ev.TryAnswered(
            try_id=self._log.new_id(), step_id=step_id, answer=answer, judge=Judge.PLAYER
        )

"""All that is said of one step's chances, each under its name; pages and commands read it here."""

from dataclasses import dataclass
from datetime import date, timedelta

from coldtake.domain.estimate import Interval, StepOutlook, TopicOutlook
from coldtake.domain.history.state import State
from coldtake.domain.performance import Link
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.plans.performances import Performances
from coldtake.practice.reports.reports import ReportService
from coldtake.practice.state.log import Log

OPEN = timedelta(weeks=8)  # how far is looked ahead without a date


@dataclass(frozen=True, slots=True)
class StepChances:
    """Chances of a clean first try of one step.

    tomorrow : on the next day; alone : on the day `on`, both if nothing of it is played before
    planned : on that day if practice goes on as planned; None where no plan works on its topic
    stage : on stage that day, as planned, for the last steps of a piece in a programme
    dated : `on` is the topic's date, else it is eight weeks ahead
    """

    step_id: str
    on: date
    dated: bool
    next_day: date
    tomorrow: Interval
    alone: Interval
    planned: StepOutlook | None
    stage: Link | None
    enough: bool


class Chances:
    """Puts together what the models say of a step."""

    def __init__(self, log: Log, looking: ReportService, performances: Performances) -> None:
        self._log, self._looking, self._performances = log, looking, performances

    @needs(Action.SEE)
    def of_step(self, step_id: str) -> StepChances:
        """Return the chances of a step. Raises NotFoundError. It may take seconds."""
        state, today = self._log.state(), self._log.today()
        topic_id = lookup.step(state, step_id).topic_id
        tomorrow = today + timedelta(days=1)
        ahead = next((t for t in self._looking.ahead() if t.topic_id == topic_id), None)
        when = state.topic_date(topic_id, tomorrow)
        dated = when is not None and when >= tomorrow
        on = ahead.on if ahead else (when if when and dated else tomorrow + OPEN)
        return self._put_together(state, step_id, on, dated=dated, ahead=ahead)

    def _put_together(
        self, state: State, step_id: str, on: date, *, dated: bool, ahead: TopicOutlook | None
    ) -> StepChances:
        from coldtake.planning.value.left_alone import LeftAlone

        tomorrow = self._log.today() + timedelta(days=1)
        with self._log.learned.used():
            alone = LeftAlone(state, tomorrow, (step_id,))
        planned = next((s for s in ahead.steps if s.step_id == step_id), None) if ahead else None
        return StepChances(
            step_id=step_id,
            on=on,
            dated=dated,
            next_day=tomorrow,
            tomorrow=alone.chance(step_id, tomorrow),
            alone=alone.chance(step_id, on),
            planned=planned,
            stage=self._link(state, step_id, on),
            enough=alone.enough(step_id),
        )

    def _link(self, state: State, step_id: str, on: date) -> Link | None:
        topic_id = state.steps[step_id].topic_id
        for known in state.performances.values():
            if known.on == on and topic_id in known.programme:
                links = self._performances.readiness(known.id).links
                return next((link for link in links if link.step_id == step_id), None)
        return None

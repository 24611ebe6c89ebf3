"""Why this slot, and why not that step: one plain sentence with its numbers.

Numbers come from the values the plan was solved with, from the log, and from the solved choice
itself (what more minutes would have brought in); none is made for show.
"""

from datetime import date

from coldtake.domain.plan import PlanRules, SlotKind
from coldtake.domain.state import State
from coldtake.domain.take import Answer, Try
from coldtake.domain.topic import Step, StepPhase, Topic
from coldtake.planning.options import work_worth
from coldtake.planning.values import StepValue
from coldtake.planning.words import counted, on_day, percent, points

_HARDLY = 0.05  # points; less is shown as 0.0


class Reasons:
    """Writes the sentences of one plan. `day` is the day planned for."""

    def __init__(self, state: State, rules: PlanRules, day: date) -> None:
        self.state, self.rules, self.day = state, rules, day

    def tries(self, step_id: str) -> tuple[Try, ...]:
        """Tries of one step, as the log has them."""
        return self.state.step_tries(step_id)

    def fresh(self, step_id: str) -> bool:
        """Say whether a step was never played."""
        return not self.state.played(step_id)

    def slot(self, value: StepValue, kind: SlotKind, minutes: int, before: int = 0) -> str:
        """Say why this slot, and why so long; `before` are minutes of an earlier slot on it."""
        step = self.state.steps[value.step_id]
        if kind is SlotKind.COLD:
            said = self._cold(value)
        elif self.fresh(value.step_id):
            said = self._unknown(step)
        else:
            said = f"{self._lift(value, minutes, before)}; {self._length(value, minutes, before)}"
        return f"{said}. {self._due(value)}".strip()

    def _topic(self, step_id: str) -> Topic | None:
        return self.state.topics.get(self.state.steps[step_id].topic_id)

    def _date(self, step_id: str) -> date | None:
        when = self.state.topic_date(self.state.steps[step_id].topic_id, self.day)
        return when if when is not None and when >= self.day else None

    def _cold(self, value: StepValue) -> str:
        clean = [t.day for t in self.tries(value.step_id) if t.answer is Answer.YES]
        ago = (self.day - max(clean)).days if clean else None
        last = f"last clean {counted(ago, 'day')} ago" if ago is not None else "never clean yet"
        if value.chance_today is None:
            return f"Does it hold? {last.capitalize()}"
        return f"Does it hold? {last.capitalize()}, about {percent(value.chance_today)} expected"

    def _unknown(self, step: Step) -> str:
        topic, when = self._topic(step.id), self._date(step.id)
        importance = f"importance {topic.importance} of 5" if topic else "its importance"
        ahead = f", {counted((when - self.day).days, 'day')} to {on_day(when)}" if when else ""
        guess = counted(step.need_min, "minute")
        return f"Not played yet: it goes by {importance}{ahead} and your estimate of {guess}"

    def _lift(self, value: StepValue, minutes: int, before: int) -> str:
        without = percent(_chance_after(value, before))
        with_it = percent(_chance_after(value, before + minutes))
        when = self._date(value.step_id)
        if with_it == without:
            more = work_worth(value, before + minutes) - work_worth(value, before)
            return f"Adds {points(more)} points to about {without}{self._ahead(when)}"
        if when is None:
            return f"Left alone after this, clean later: {with_it}; without it {without}"
        return f"Left alone after this, clean{self._ahead(when)}: {with_it}; without it {without}"

    def _ahead(self, when: date | None) -> str:
        """Say the date and how far it is: “ on 2 March, in 49 days”."""
        if when is None:
            return ""
        return f" on {on_day(when)}, in {counted((when - self.day).days, 'day')}"

    def _length(self, value: StepValue, minutes: int, before: int) -> str:
        need = round(value.need_left_min) - before
        long = counted(minutes, "minute")
        if need <= 0:
            return f"{long} to keep it"
        if minutes >= self.rules.slot_most_min and need > minutes:
            return f"{long}, your longest slot, of about {need} still needed"
        return f"{long} of about {need} still needed"

    def _due(self, value: StepValue) -> str:
        if not value.due:
            return ""
        topic = self._topic(value.step_id)
        mine = self.state.topic_steps(topic.id) if topic else ()
        days = [day for step in mine for day in self.state.past(step.id).days]
        if topic is None or not days:
            return ""
        ago = (self.day - max(days)).days
        return f"“{topic.title}” was last met {counted(ago, 'day')} ago."

    def blocked(self, step: Step) -> str:
        """Say what a step waits for."""
        phases = self.state.phases(step.needs)
        first = next(
            (n for n in step.needs if phases.get(n) not in (StepPhase.MET, StepPhase.HELD)), None
        )
        if first is None or first not in self.state.steps:
            return "It waits for another step."
        return f"It waits until “{self.state.steps[first].title}” is met."


def _chance_after(value: StepValue, minutes: int) -> float:
    """Chance on the date after so many minutes, in step with their points."""
    most = max(value.work_value, default=0.0)
    share = work_worth(value, minutes) / most if most > 0 else 0.0
    return value.chance_without + share * (value.chance_with - value.chance_without)


def left_out(
    value: StepValue, minutes: int, per_minute: float, extra: int | None, limit: int | None
) -> str:
    """Say what it would take to get in.

    minutes : of its best slot; per_minute : points that the last minutes of the plan bring
    extra : so many more minutes of playing would bring it in, None when an hour would not
    limit : the limit on topics where that keeps it out
    """
    worth = work_worth(value, minutes)
    if worth < _HARDLY:
        return "Minutes on it would add next to nothing for its date now."
    adds = f"{counted(minutes, 'minute')} would add {points(worth)} points"
    elsewhere = f"the plan brings {points(per_minute * minutes)} with as many"
    if limit is not None:
        topics = counted(limit, "topic")
        return f"{adds}; {topics} a session is your limit, so another would have to go."
    if extra is not None:
        return f"{adds}; with about {counted(extra, 'more minute', 'more minutes')} it is in."
    return f"{adds}; {elsewhere}."

"""Why this slot, and why not that step: plain sentences with their numbers.

A point is 0.01 of the chance that a step comes out clean at the first try on its topic's date. What
a slot adds is that chance after exactly its minutes, less that without them, nothing following
(`StepValue.chances`): the model's own figure for this slot. What decides whose turn it is are the
terms of the planner's index (`turns`): days since it was played, the steps that wait for it, and
whether its topic fits until its date. What it would take to get in comes from solving the choice
again with more minutes. No number is made for show.
"""

from collections.abc import Sequence
from datetime import date

from coldtake.domain.plan import PlanRules, SlotKind
from coldtake.domain.requirement import Requirement
from coldtake.domain.state import State
from coldtake.domain.take import Answer, Try
from coldtake.domain.topic import Step, StepPhase, Topic
from coldtake.planning.at_hand import lacks
from coldtake.planning.at_hand_words import waits_for
from coldtake.planning.values import StepValue
from coldtake.planning.words import counted, on_day, percent

_DONE = frozenset({StepPhase.MET, StepPhase.HELD})
_HARDLY = 0.0005  # of a chance: less is shown as nothing


class Reasons:
    """Writes the sentences of one plan. `day` is the day planned for.

    at_hand : what there is that day, None: what the player usually has
    """

    def __init__(
        self,
        state: State,
        rules: PlanRules,
        day: date,
        at_hand: Sequence[Requirement] | None = None,
    ) -> None:
        self.state, self.rules, self.day, self.at_hand = state, rules, day, at_hand

    def tries(self, step_id: str) -> tuple[Try, ...]:
        """Tries of one step, as the log has them."""
        return self.state.step_tries(step_id)

    def fresh(self, step_id: str) -> bool:
        """Say whether a step was never played."""
        return not self.state.played(step_id)

    def slot(self, value: StepValue, kind: SlotKind, minutes: int, before: int = 0) -> str:
        """Say why this slot, and why so long; `before` are minutes of an earlier slot on it."""
        if kind is SlotKind.COLD:
            return self._cold(value)
        adds = self._adds(value, minutes, before)
        said = [f"{adds}; {self._length(value, minutes, before)}.", self._now(value, before)]
        return " ".join(sentence for sentence in said if sentence)

    def _topic(self, step_id: str) -> Topic | None:
        return self.state.topics.get(self.state.steps[step_id].topic_id)

    def _when(self, step_id: str) -> str:
        """Say the day that the chances are for."""
        when = self.state.topic_date(self.state.steps[step_id].topic_id, self.day)
        if when is None or when <= self.day:
            return "in eight weeks"
        return f"on {on_day(when)}"

    def _cold(self, value: StepValue) -> str:
        clean = [t.day for t in self.tries(value.step_id) if t.answer is Answer.YES]
        ago = (self.day - max(clean)).days if clean else None
        last = f"Last clean {counted(ago, 'day')} ago" if ago is not None else "Never clean yet"
        expected = (
            "" if value.chance_today is None else f", about {percent(value.chance_today)} expected"
        )
        return f"Does it hold? {last}{expected}.{self._tells(value)}"

    def _tells(self, value: StepValue) -> str:
        """Say what the answer would mean for the date."""
        if value.after_answer is None:
            return ""
        after_no, after_yes = (percent(chance) for chance in value.after_answer)
        when = self._when(value.step_id)
        if after_no == after_yes:
            return f" Whatever it says, about {after_yes} clean {when} if left alone."
        return f" If yes, {after_yes} clean {when} even if left alone; if no, {after_no}."

    def _adds(self, value: StepValue, minutes: int, before: int) -> str:
        """Say what these minutes add to the chance on the date, nothing following."""
        start, end = chance_after(value, before), chance_after(value, before + minutes)
        when = self._when(value.step_id)
        guess = "" if value.enough else "By a first guess "
        if end - start < _HARDLY:
            return f"{guess or 'By itself '}it adds next to nothing {when}"
        more = f"{guess}+{gained(end - start)} that it works {when}"
        low, high = percent(start), percent(end)
        span = f"{low} to {high}" if low != high else f"about {low}"
        return f"{more} ({span} if nothing followed)"

    def _length(self, value: StepValue, minutes: int, before: int) -> str:
        """Say how the minutes stand to what the step still needs."""
        need = round(value.need_left_min) - before
        long = counted(minutes, "minute")
        if need <= 0:
            return f"{long} to keep it"
        if minutes >= self.rules.slot_most_min and need > minutes:
            return f"{long}, your longest slot, of about {need} still needed"
        return f"{long} of about {need} still needed"

    def _now(self, value: StepValue, before: int) -> str:
        """Say why it is its turn: when it was played last, and what waits for it."""
        if before:
            return ""
        parts = [self._last_played(value), self._waits(value.step_id)]
        said = f"{'; '.join(part for part in parts if part)}."
        return said if value.fits else f"{said} Not all of its topic fits until its date."

    def _last_played(self, value: StepValue) -> str:
        """Say how long ago the step was played and, where the topic is due, any of its steps."""
        topic, own = self._topic(value.step_id), self._days_since([value.step_id])
        said = "Not played yet" if own is None else f"Last played {counted(own, 'day')} ago"
        if topic is None or not value.due:
            return said
        ago = self._days_since([step.id for step in self.state.topic_steps(topic.id)])
        if ago is None:
            return said
        met = f"“{topic.title}” was last met {counted(ago, 'day')} ago"
        return met if own == ago else f"{said}; {met}"

    def _days_since(self, step_ids: list[str]) -> int | None:
        """Days since any of these steps was played."""
        days = [day for i in step_ids for day in self.state.past(i).days if day < self.day]
        return (self.day - max(days)).days if days else None

    def _waits(self, step_id: str) -> str:
        waiting = self._waiting(step_id)
        if not waiting:
            return ""
        return f"{counted(waiting, 'step')} {'waits' if waiting == 1 else 'wait'} for it"

    def _waiting(self, step_id: str) -> int:
        """How many unmet steps wait for an unmet one, directly or through others."""
        topic = self._topic(step_id)
        steps = self.state.topic_steps(topic.id) if topic else ()
        phases = self.state.phases(step.id for step in steps)
        if phases.get(step_id) in _DONE:
            return 0
        behind = {step_id}
        for _ in steps:
            behind |= {s.id for s in steps if not behind.isdisjoint(s.needs)}
        return sum(phases[i] not in _DONE for i in behind - {step_id})

    def left_out(self, value: StepValue, minutes: int, extra: int | None, limit: int | None) -> str:
        """Say what a step would add, and what it would take to get in.

        minutes : of its best slot; limit : the limit on topics where that keeps it out
        extra : so many more minutes of playing would bring it in, None when an hour would not
        """
        gain = chance_after(value, minutes) - chance_after(value, 0)
        when = self._when(value.step_id)
        long = counted(minutes, "minute")
        adds = f"{long} would add {gained(gain)} {when}"
        if gain < _HARDLY:
            adds = f"{long} would add next to nothing {when}"
        return f"{adds}; {self._way_in(value, extra, limit)}."

    def _way_in(self, value: StepValue, extra: int | None, limit: int | None) -> str:
        if extra is not None:
            return f"with about {counted(extra, 'more minute', 'more minutes')} it is in"
        if limit is not None:
            topics = counted(limit, "topic")
            return f"{topics} a session is your limit, so another would have to go"
        if not value.fits:
            return "its topic does not fit until its date, so others come first"
        ago = self._days_since([value.step_id])
        last = "not played yet" if ago is None else f"last played {counted(ago, 'day')} ago"
        return f"others come first, also in an hour more ({last})"

    def lacks(self, step: Step) -> tuple[Requirement, ...]:
        """Return what is not there for a step."""
        return lacks(self.state, step, self.at_hand)

    def blocked(self, step: Step) -> str:
        """Say what a step waits for."""
        lacking = self.lacks(step)
        if lacking:
            return waits_for(self.state, step, lacking, self.day)
        phases = self.state.phases(step.needs)
        first = next((n for n in step.needs if phases.get(n) not in _DONE), None)
        if first is None or first not in self.state.steps:
            return "It waits for another step."
        return f"It waits until “{self.state.steps[first].title}” is met."


def chance_after(value: StepValue, minutes: int) -> float:
    """Chance on the date after so many minutes tomorrow and nothing more."""
    if not value.chances:
        return value.chance_without
    return value.chances[min(minutes, len(value.chances) - 1)]


def gained(chance: float) -> str:
    """Say a difference of chances in points: “6 points”, “0.4 points”."""
    worth = 100.0 * chance
    said = f"{worth:.1f}" if worth < 0.95 else f"{worth:.0f}"
    return f"{said} point{'' if said == '1' else 's'}"

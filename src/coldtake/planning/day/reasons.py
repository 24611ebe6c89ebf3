"""Why this slot, and why not that step: plain sentences with their numbers.

What a slot adds is the chance that its step comes out clean at the first try on its topic's date,
after exactly its minutes and without them, nothing following: the number that every page has for
that question (`left_alone`). What decides whose turn it is are the terms of the planner's index
(`turns`): days since it was played, the steps that wait for it, and whether its topic fits until
its date. What it would take to get in comes from solving the choice again with more minutes. No
number is made for show.
"""

from collections.abc import Collection, Sequence
from datetime import date, timedelta

from coldtake.domain.history.state import State
from coldtake.domain.plan import PlanRules, SlotKind
from coldtake.domain.requirement import Requirement
from coldtake.domain.take import Answer, Try
from coldtake.domain.topic import MET_ONCE, Step, StepPhase, Topic
from coldtake.planning.day.keeping import KeepingTerms, due_by
from coldtake.planning.value.at_hand import lacks
from coldtake.planning.value.at_hand_words import waits_for
from coldtake.planning.value.left_alone import LeftAlone
from coldtake.planning.value.step_arrays import OPEN_DAYS
from coldtake.planning.value.values import StepValue
from coldtake.planning.words import ROUGH, counted, in_hundred, on_day, raised
from coldtake.settings import value_of


class Reasons:
    """Writes the sentences of one plan. `day` is the day planned for.

    step_ids : what may be in; at_hand : what there is that day, None: what the player usually has
    kept : steps that are met
    """

    def __init__(
        self,
        state: State,
        rules: PlanRules,
        day: date,
        step_ids: Collection[str],
        at_hand: Sequence[Requirement] | None = None,
        kept: Sequence[KeepingTerms] = (),
    ) -> None:
        self.state, self.rules, self.day, self.at_hand = state, rules, day, at_hand
        self._first_try = LeftAlone(state, day, step_ids)
        last = due_by(state, day)
        self.due = {k.step_id: k for k in kept if k.on <= last}

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
        said = [
            self._briefly(value, minutes, before),
            f"{adds}. {self._length(value, minutes, before)}.",
            self._now(value, before),
        ]
        return " ".join(sentence for sentence in said if sentence)

    def _briefly(self, value: StepValue, minutes: int, before: int) -> str:
        """Say the reason in at most twelve words with one number; the rest stands under “why”."""
        on = self._on(value.step_id)
        if on == self.day:
            return "Its performance is today."
        start, end = self._chance(value, before), self._chance(value, before + minutes)
        by = round(100 * end) - round(100 * start)
        rough = self._rough(value)
        if by < 1:
            said = f"{rough}keeps the chance for {on_day(on)} at {in_hundred(end)}."
        else:
            said = f"{rough}raises the chance on {on_day(on)} by {by} in 100."
        return said[:1].upper() + said[1:]

    def _topic(self, step_id: str) -> Topic | None:
        return self.state.topics.get(self.state.steps[step_id].topic_id)

    def _on(self, step_id: str) -> date:
        """Return the day that the chances are for."""
        when = self.state.topic_date(self.state.steps[step_id].topic_id, self.day)
        return when if when and when >= self.day else self.day + timedelta(days=OPEN_DAYS)

    def _chance(self, value: StepValue, minutes: int = 0) -> float:
        """Chance of a clean first try on that day after so many minutes on `day`, no more."""
        on = self._on(value.step_id)
        return self._first_try.chance(value.step_id, on, minutes=minutes).mid

    def _cold(self, value: StepValue) -> str:
        clean = [t.day for t in self.tries(value.step_id) if t.answer is Answer.YES]
        ago = (self.day - max(clean)).days if clean else None
        last = f"Last clean: {counted(ago, 'day')} ago" if ago is not None else "Never clean yet"
        slipped = self.state.phase(value.step_id) is StepPhase.SLIPPED
        still = "clean again" if slipped else "still clean"
        first = f"Check whether it is {still}. {last}. {self._first(value)}."
        return f"{first}{self._asked(value.step_id)}"

    def _asked(self, step_id: str) -> str:
        """Say that a cold take is asked for, and by which limit."""
        if step_id not in self.due:
            return ""
        wanted = self._wanted()
        if round(100 * self._first_try.chance(step_id, self.day).mid) < wanted:  # as it is said
            return f" That is below your limit of {wanted} in 100."
        return f" It is checked before the chance falls below your limit of {wanted} in 100."

    def _wanted(self) -> int:
        return value_of(self.state.settings, "keep_chance")

    def _first(self, value: StepValue) -> str:
        """Say the chance on the day itself."""
        chance = in_hundred(self._first_try.chance(value.step_id, self.day).mid)
        what = f"{ROUGH} of the chance" if self._rough(value) else "Chance"
        return f"{what} of a clean first try on {on_day(self.day)}: {chance}"

    def _rough(self, value: StepValue) -> str:
        return "" if self._first_try.enough(value.step_id) else f"{ROUGH}: "

    def _adds(self, value: StepValue, minutes: int, before: int) -> str:
        """Say what these minutes add to the chance on the date, nothing following."""
        if self._on(value.step_id) == self.day:
            return f"The performance is on this day. {self._first(value)}"
        start, end = self._chance(value, before), self._chance(value, before + minutes)
        on, of = on_day(self._on(value.step_id)), "the chance of a clean first try on"
        if round(100 * start) == round(100 * end):
            return f"It keeps {of} {on} at {in_hundred(end)}, if you do no more after it"
        return f"It raises {of} {on} {raised(start, end)}, if you do no more after it"

    def _length(self, value: StepValue, minutes: int, before: int) -> str:
        """Say how the minutes stand to what the step still needs."""
        need = round(value.need_left_min) - before
        long = f"{minutes} min"
        if need <= 0:
            return f"{long} keep it clean"
        if minutes >= self.rules.slot_most_min and need > minutes:
            return f"{long} (your longest slot) of about {need} min still needed"
        return f"{long} of about {need} min still needed"

    def _now(self, value: StepValue, before: int) -> str:
        """Say why it is its turn: when it was played last, and what waits for it."""
        if before:
            return ""
        parts = [self._last_played(value), self._waits(value.step_id)]
        said = f"{'; '.join(part for part in parts if part)}."
        return said if value.fits else f"{said} Not all of its topic fits {self._until(value)}."

    def _until(self, value: StepValue) -> str:
        """Say before what a topic would have to fit: its date, or the days looked ahead."""
        dated = self.state.topic_date(value.topic_id, self.day) == self._on(value.step_id)
        on = self._on(value.step_id)
        return f"before {on_day(on)}" if dated else f"into the next {OPEN_DAYS // 7} weeks"

    def _until_left(self, value: StepValue) -> str:
        """Say the time that a topic would have: up to its date, or the days looked ahead."""
        dated = self.state.topic_date(value.topic_id, self.day) == self._on(value.step_id)
        if dated:
            return f"is left before {on_day(self._on(value.step_id))}"
        return f"you have in {OPEN_DAYS // 7} weeks"

    def _last_played(self, value: StepValue) -> str:
        """Say how long ago the step was played and, where the topic is due, any of its steps."""
        topic, own = self._topic(value.step_id), self._days_since([value.step_id])
        said = "Not played yet" if own is None else f"Last played {counted(own, 'day')} ago"
        if topic is None or not value.due:
            return said
        ago = self._days_since([step.id for step in self.state.topic_steps(topic.id)])
        if ago is None:
            return said
        met = f"“{topic.title}” was last practised {counted(ago, 'day')} ago"
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
        """How many steps that were never met wait for an unmet one, directly or through others."""
        topic = self._topic(step_id)
        steps = self.state.topic_steps(topic.id) if topic else ()
        phases = self.state.phases(step.id for step in steps)
        if phases.get(step_id) in MET_ONCE:
            return 0
        behind = {step_id}
        for _ in steps:
            behind |= {s.id for s in steps if not behind.isdisjoint(s.needs)}
        return sum(phases[i] not in MET_ONCE for i in behind - {step_id})

    def left_out(self, value: StepValue, minutes: int, extra: int | None, limit: int | None) -> str:
        """Say what a step would add, and what it would take to get in.

        minutes : of its best slot; limit : the limit on topics where that keeps it out
        extra : so many more minutes of playing would bring it in, None when an hour would not
        """
        if value.step_id in self.due:
            return (
                f"Its cold take is due, but other steps come first. {self._first(value)}. "
                f"Wanted: {self._wanted()} in 100."
            )
        if self._on(value.step_id) == self.day:
            return (
                f"{self._way_in(value, extra, limit)} The performance is on this day. "
                f"{self._first(value)}."
            )
        start, end = self._chance(value), self._chance(value, minutes)
        on = on_day(self._on(value.step_id))
        long, of = f"{minutes} min", f"of a clean first try on {on}"
        adds = f"{self._rough(value)}{long} would raise the chance {of} {raised(start, end)}"
        if round(100 * start) == round(100 * end):
            adds = f"{self._rough(value)}{long} would leave the chance {of} at {in_hundred(end)}"
        return f"{self._way_in(value, extra, limit)} {adds[:1].upper()}{adds[1:]}."

    def _way_in(self, value: StepValue, extra: int | None, limit: int | None) -> str:
        if extra is not None:
            return f"Left out: it needs about {extra} min more."
        if limit is not None:
            topics = counted(limit, "topic")
            return f"Left out: your limit is {topics} in a session."
        if not value.fits:
            return f"Left out: the topic needs more time than {self._until_left(value)}."
        ago = self._days_since([value.step_id])
        last = "not played yet" if ago is None else f"last played {counted(ago, 'day')} ago"
        return f"Left out: other steps come first ({last})."

    def lacks(self, step: Step) -> tuple[Requirement, ...]:
        """Return what is not there for a step."""
        return lacks(self.state, step, self.at_hand)

    def blocked(self, step: Step) -> str:
        """Say what a step waits for."""
        lacking = self.lacks(step)
        if lacking:
            return waits_for(self.state, step, lacking, self.day)
        phases = self.state.phases(step.needs)
        first = next((n for n in step.needs if phases.get(n) not in MET_ONCE), None)
        if first is None or first not in self.state.steps:
            return "It waits for another step."
        return f"It waits for “{self.state.steps[first].title}”, which is not met yet."

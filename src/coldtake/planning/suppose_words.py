"""What a supposition costs and brings, in one or two plain sentences.

A ready step is one that comes out clean at the first try on its topic's date. After ± stands what
the computing itself may be off by, nineteen times out of twenty; it falls while more futures are
lived.
"""

from datetime import date

from coldtake.domain.state import State
from coldtake.planning.places import Turn
from coldtake.planning.supposed import WhatIf
from coldtake.planning.what_if import Difference, WhatIfFound
from coldtake.planning.words import counted, on_day

NINETEEN_OF_TWENTY = 1.96  # standard errors of a normal mean
LEAST_SHOWN = 0.01  # no error is shown as none
_ORDER = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
_COUNT = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def off_by(gain: Difference) -> float:
    """What the computing may be off by, nineteen times out of twenty."""
    return NINETEEN_OF_TWENTY * gain.error


def told_apart(gain: Difference) -> bool:
    """Say whether a difference stands out of the error of the computing."""
    return abs(gain.mean) > max(off_by(gain), 0.005)


def amount(gain: Difference) -> str:
    """Write a difference without its sign: “2.5 ± 0.1”."""
    off = off_by(gain)
    if off >= 0.05:
        return f"{abs(gain.mean):.1f} ± {off:.1f}"
    return f"{abs(gain.mean):.2f} ± {max(off, LEAST_SHOWN):.2f}"


def sentences(state: State, supposed: WhatIf, found: WhatIfFound) -> tuple[str, ...]:
    """Say what the change does, in a sentence; of several changes what they do together.

    Nothing is said where all is as it is already.
    """
    said = _Said(state, supposed, found)
    if said.changes > 1:
        return (said.together(),)
    parts = (
        *(said.taken_on(i) for i in supposed.take_on),
        *(said.left(i) for i in supposed.leave),
        *([said.minutes()] if supposed.more_min else []),
        *([said.holiday()] if supposed.free_days else []),
        *(said.dated(i, on) for i, on in supposed.dates.items()),
        *(said.weighed(i) for i in supposed.importances),
    )
    return tuple(part for part in parts if part)


class _Said:
    """Words for one answer."""

    def __init__(self, state: State, supposed: WhatIf, found: WhatIfFound) -> None:
        self.state, self.supposed, self.found = state, supposed, found
        self.topics = {t.topic_id: t for t in found.topics}
        self.fixed = [
            t
            for t in found.topics
            if t.current_now and t.current_then and t.topic_id not in supposed.named
        ]

    @property
    def changes(self) -> int:
        """How many things are supposed to be otherwise."""
        one = self.supposed
        lists = (one.take_on, one.leave, one.dates, one.importances)
        return sum(map(len, lists)) + bool(one.more_min) + bool(one.free_days)

    def together(self) -> str:
        """Say what all changes do at once: none can be told from the others."""
        gain = self.found.all
        if not told_apart(gain):
            head = "All of that together changes nothing that could be told in all"
        else:
            verb = "brings" if gain.mean > 0 else "costs"
            head = f"All of that together {verb} {amount(gain)} ready steps in all"
        effect = self._effect()
        return f"{head}{'; ' + effect if effect else ''}."

    def _title(self, topic_id: str) -> str:
        return f"“{self.state.topics[topic_id].title}”"

    def _others(self) -> str:
        """Name the topics that stay: “the other five”."""
        count = len(self.fixed)
        if count == 1:
            return self._title(self.fixed[0].topic_id)
        if count == len(self.found.topics):
            return "all of them"
        return f"the other {_COUNT[count] if count < len(_COUNT) else count}"

    def _own(self, topic_id: str) -> str:
        """Say what the topic itself gains or loses."""
        gain = self.topics[topic_id].clean
        if not told_apart(gain):
            return "for itself it changes nothing that could be told"
        verb = "brings" if gain.mean > 0 else "loses"
        return f"it {verb} {amount(gain)} of its own"

    def _effect(self) -> str:
        """Say what the others gain or lose."""
        gain = self.found.others
        if not self.fixed:
            return ""
        if not told_apart(gain):
            return f"{self._others()} would not notice"
        verb = "gain" if gain.mean > 0 else "lose"
        ending = "s" if len(self.fixed) == 1 else ""
        return f"{self._others()} {verb}{ending} {amount(gain)} ready steps"

    def _both(self, head: str, topic_id: str) -> str:
        parts = [part for part in (self._own(topic_id), self._effect()) if part]
        return f"{head}: {', and '.join(parts)}."

    def taken_on(self, topic_id: str) -> str:
        """Say what one more topic takes from the others."""
        topic = self.topics.get(topic_id)
        if topic is None or topic.current_now:
            return ""
        if not topic.fits_then:
            return (
                f"{self._title(topic_id)} does not fit until its date beside what brings more: "
                f"the plan would leave most of it ({amount(topic.clean)} ready steps of "
                f"{topic.steps} more), and {self._effect() or 'nothing else is current'}."
            )
        place = sum(t.current_then for t in self.found.topics)
        number = f"a {_ORDER[place]}" if 0 < place < len(_ORDER) else "one more"
        number = number.replace("a eighth", "an eighth")
        head, gain = f"{self._title(topic_id)} as {number} topic", self.found.others
        if not self.fixed:
            return f"{head} brings {amount(topic.clean)} ready steps."
        own = f"it brings {amount(topic.clean)} of its own"
        if not told_apart(gain):
            return f"{head} takes nothing that could be told from {self._others()}; {own}."
        if gain.mean > 0:
            return f"{head}: {self._effect()}; {own}."
        return f"{head} takes {amount(gain)} ready steps from {self._others()}; {own}."

    def left(self, topic_id: str) -> str:
        """Say what the others gain when a topic waits."""
        topic = self.topics.get(topic_id)
        if topic is None or not topic.current_now:
            return ""
        lost = f"of its own steps {amount(topic.clean)} fewer come out"
        effect = self._effect()
        return f"Without {self._title(topic_id)} {effect + '; ' if effect else ''}{lost}."

    def minutes(self) -> str:
        """Say what more or fewer minutes a day do to all."""
        more = self.supposed.more_min
        kind = "more minute" if more > 0 else "minute less"
        many = "more minutes" if more > 0 else "minutes fewer"
        return self._for_all(f"{counted(abs(more), kind, many)} a day")

    def holiday(self) -> str:
        """Say what days without playing cost."""
        first = self.supposed.free_from
        since = f" from {on_day(first)}" if first else ""
        return self._for_all(f"{counted(self.supposed.free_days, 'day')} without playing{since}")

    def _for_all(self, head: str) -> str:
        gain = self.found.all
        if not told_apart(gain):
            return f"{head} change nothing that could be told."
        return f"{head} {'bring' if gain.mean > 0 else 'cost'} {amount(gain)} ready steps in all."

    def dated(self, topic_id: str, on: date | None) -> str:
        """Say what another date does to the topic and to the others."""
        if topic_id not in self.topics:
            return ""
        when = f"on {on_day(on)}" if on else "without a date"
        return self._both(f"{self._title(topic_id)} {when}", topic_id)

    def weighed(self, topic_id: str) -> str:
        """Say what another importance does to the topic and to the others."""
        if topic_id not in self.topics:
            return ""
        importance = self.supposed.importances[topic_id]
        return self._both(f"{self._title(topic_id)} at importance {importance} of 5", topic_id)


def turn_words(turn: Turn | None, today: date) -> str:
    """Say when a topic's turn comes: “about 3 February, between 20 January and 1 March”."""
    if turn is None:
        return ""
    if turn.middle is not None and turn.middle <= today:
        return "at once: a place is free"
    if turn.date_first > 0.5:
        return "its date comes before its turn"
    if turn.middle is None:
        return f"not before {on_day(turn.early)}" if turn.early else "not in sight"
    if turn.early == turn.late or turn.early is None:
        return f"about {on_day(turn.middle)}"
    late = on_day(turn.late) if turn.late else "a day not in sight"
    return f"about {on_day(turn.middle)}, between {on_day(turn.early)} and {late}"

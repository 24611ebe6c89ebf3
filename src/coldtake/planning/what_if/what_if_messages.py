"""What a supposition costs and brings, in one or two plain sentences.

The numbers are steps that are clean at the first try on their topic's date. A difference is said
where it stands out of the error of the computing; its range is what remains unknown of the player
and the days.
"""

from datetime import date

from coldtake.domain.history.state import State
from coldtake.planning.value.topic_queue import StartEstimate
from coldtake.planning.what_if.comparison import Difference, TopicThen, WhatIfFound
from coldtake.planning.what_if.what_if_scenario import WhatIf
from coldtake.planning.words import counted, on_day

NINETEEN_OF_TWENTY = 1.96  # standard errors of a normal mean
WHOLE_FROM = 2.95  # steps from which a difference is said in whole ones
_ORDER = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
_COUNT = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def told_apart(gain: Difference) -> bool:
    """Say whether a difference stands out of the error of the computing, and is worth a word."""
    return abs(gain.mean) > max(NINETEEN_OF_TWENTY * gain.error, 0.05)


def amount(steps: float, like: float) -> str:
    """Write a number of steps without its sign, in whole ones or tenths as `like` is written."""
    return f"{abs(steps):.0f}" if abs(like) >= WHOLE_FROM else f"{abs(steps):.1f}"


def more(gain: Difference) -> str:
    """Say a difference: “about 5 more”, “about 0.5 fewer”."""
    return f"about {amount(gain.mean, gain.mean)} {'more' if gain.mean > 0 else 'fewer'}"


def within(gain: Difference) -> str:
    """Say its range: “between 4 and 6, right 4 times in 5”."""
    far, near = (gain.high, gain.low) if gain.mean > 0 else (gain.low, gain.high)
    most = amount(far, gain.mean)
    if near * gain.mean <= 0:
        other = "fewer" if gain.mean > 0 else "more"
        least = amount(near, gain.mean)
        if float(least) > 0.0:
            own = "more" if gain.mean > 0 else "fewer"
            return f"from {least} {other} to {most} {own}, right 4 times in 5"
        return f"at most {most}, right 4 times in 5"
    return f"between {amount(near, gain.mean)} and {most}, right 4 times in 5"


def gained(one: TopicThen) -> str:
    """Say what a topic gains, from the rounded numbers beside it: “+0.4”; empty for nothing."""
    if not told_apart(one.clean):
        return ""
    by = round(one.steps_then, 1) - round(one.steps_now, 1)
    return f"{by:+.1f}".replace("-", "−") if abs(by) > 0.05 else ""


def _as_beside(by: str) -> str:
    """Say “−0.5” as “about 0.5 fewer”; in whole ones from three on."""
    steps = amount(float(by[1:]), float(by[1:]))
    return f"about {steps} {'more' if by[0] == '+' else 'fewer'}"


def sentences(state: State, supposed: WhatIf, found: WhatIfFound) -> tuple[str, ...]:
    """Say what the change does; of several changes what they do together.

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
        return self._join(self._all("With all these changes"), self._others())

    def _title(self, topic_id: str) -> str:
        return f"“{self.state.topics[topic_id].title}”"

    def _join(self, *sentences: str) -> str:
        return " ".join(s for s in sentences if s)

    def _all(self, head: str) -> str:
        gain = self.found.all
        if not told_apart(gain):
            return f"{head}, the number of steps clean on their dates hardly changes."
        return f"{head}, {more(gain)} steps should be clean on their dates in all: {within(gain)}."

    def _own(self, head: str, topic_id: str) -> str:
        """Say what the topic itself gains or loses."""
        one = self.topics[topic_id]
        if not told_apart(one.clean):
            return f"{head}, the number of its steps clean on {on_day(one.on)} hardly changes."
        beside = gained(one)  # from the rounded numbers in the table, so that they agree
        about = more(one.clean) if len(beside) < 2 else _as_beside(beside)
        return f"{head}, {about} of its {one.steps} steps should be clean on {on_day(one.on)}."

    def _others(self) -> str:
        """Say what the topics that stay gain or lose."""
        gain, count = self.found.others, len(self.fixed)
        if not count or count == len(self.found.topics):
            return ""
        if count == 1:
            whose = f"Of {self._title(self.fixed[0].topic_id)}"
        else:
            whose = f"Of the other {_COUNT[count] if count < len(_COUNT) else count} topics"
        if not told_apart(gain):
            return f"{whose}: no change."
        return f"{whose} {more(gain)}: {within(gain)}."

    def taken_on(self, topic_id: str) -> str:
        """Say what one more topic takes from the others."""
        topic = self.topics.get(topic_id)
        if topic is None or topic.current_now:
            return ""
        place = sum(t.current_then for t in self.found.topics)
        number = f"a {_ORDER[place]}" if 0 < place < len(_ORDER) else "one more"
        number = number.replace("a eighth", "an eighth")
        own = self._own(f"With {self._title(topic_id)} as {number} topic", topic_id)
        left = ""
        if not topic.fits_then:
            left = (
                f"It needs more time than is left before {on_day(topic.on)}, "
                "so the plan would leave out most of it."
            )
        return self._join(own, left, self._others())

    def left(self, topic_id: str) -> str:
        """Say what the others gain when a topic waits."""
        topic = self.topics.get(topic_id)
        if topic is None or not topic.current_now:
            return ""
        return self._join(self._own(f"Without {self._title(topic_id)}", topic_id), self._others())

    def minutes(self) -> str:
        """Say what more or fewer minutes a day do to all."""
        by = self.supposed.more_min
        return self._all(f"With {abs(by)} min {'more' if by > 0 else 'less'} a day")

    def holiday(self) -> str:
        """Say what days without playing cost."""
        first = self.supposed.free_from
        since = f" from {on_day(first)}" if first else ""
        days = counted(self.supposed.free_days, "day")
        return self._all(f"With {days} without practice{since}")

    def dated(self, topic_id: str, on: date | None) -> str:
        """Say what another date does to the topic and to the others."""
        if topic_id not in self.topics:
            return ""
        when = f"on {on_day(on)}" if on else "without a date"
        return self._join(
            self._own(f"With {self._title(topic_id)} {when}", topic_id), self._others()
        )

    def weighed(self, topic_id: str) -> str:
        """Say what another importance does to the topic and to the others."""
        if topic_id not in self.topics:
            return ""
        importance = self.supposed.importances[topic_id]
        head = f"With {self._title(topic_id)} with importance {importance} of 5"
        return self._join(self._own(head, topic_id), self._others())


def turn_words(turn: StartEstimate | None, today: date) -> str:
    """Say when a topic's turn comes: “about 3 February, between 20 January and 1 March”."""
    if turn is None:
        return ""
    if turn.middle is not None and turn.middle <= today:
        return "now: a place is free"
    if turn.date_first > 0.5:
        return "its date is before its start"
    if turn.middle is None:
        return f"not before {on_day(turn.early)}" if turn.early else "start date not known"
    if turn.early == turn.late or turn.early is None:
        return f"about {on_day(turn.middle)}"
    late = on_day(turn.late) if turn.late else "a date not known"
    return f"about {on_day(turn.middle)}, between {on_day(turn.early)} and {late}"

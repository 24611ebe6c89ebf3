"""What has moved: minutes by topic and week, clean tempo by exercise, how right the outlook was."""

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import takewhile
from typing import TYPE_CHECKING, NamedTuple

from coldtake.domain.criterion import TempoTest
from coldtake.domain.days import monday_of
from coldtake.domain.estimate import SaidTopic
from coldtake.domain.history.state import State
from coldtake.domain.topic import Exercise, Step
from coldtake.practice.access import Action, needs
from coldtake.practice.reports.digests import Digest, Digests
from coldtake.practice.state.log import Log

if TYPE_CHECKING:
    from coldtake.learning.calibration import Calibration, IntervalOutcome

WEEK = timedelta(days=7)
SAME_TEMPO = 0.99  # a hundredth apart is one tempo: nobody hears it (about a fifth of a mark)
_BETWEEN = " ,;:-–("
_TEMPO = re.compile(  # a sign or a name, as titles in old logs have it
    r"[ ,]+at( ([♩♪]\.?|(dotted )?(eighth|quarter|half)( note)?)( =)?)?$"
)  # cut before its number
NEAR = timedelta(days=3)  # a cold take so near to a date answers what was said of it

Told = tuple[float, bool]


class CleanTempo(NamedTuple):
    """The fastest clean tempo of an exercise on one day, and the step that it was played for."""

    day: date
    bpm: float
    step: Step


@dataclass(frozen=True, slots=True)
class ExerciseTempo:
    """One exercise: the steps that play the same bars in the same key, slower and faster.

    steps : all of them; clean : fastest clean tempo of each day, oldest first
    goal_bpm : highest tempo asked for; unit_beats : the beat that its tempo is said in, in
        quarters. Tempi are in quarters a minute
    """

    topic_id: str
    steps: tuple[Step, ...]
    clean: tuple[CleanTempo, ...]
    goal_bpm: float | None
    unit_beats: float

    @property
    def played(self) -> tuple[Step, ...]:
        """Steps for which a clean tempo is known, in the order of all."""
        ids = {one.step.id for one in self.clean}
        return tuple(step for step in self.steps if step.id in ids)

    @property
    def title(self) -> str:
        """What the steps that were played are called alike; else the one of the fastest."""
        titles = [step.title for step in self.played]
        if len(titles) == 1:
            return titles[0]
        columns = zip(*(title.split() for title in titles), strict=False)
        alike = takewhile(lambda words: len({w.rstrip(_BETWEEN) for w in words}) == 1, columns)
        name = " ".join(words[0] for words in alike).rstrip(_BETWEEN)
        return _TEMPO.sub("", name).rstrip(_BETWEEN) or self.fastest.step.title

    @property
    def fastest(self) -> CleanTempo:
        """The first day that had the highest clean tempo, as near as it matters."""
        top = max(one.bpm for one in self.clean)
        return next(one for one in self.clean if one.bpm >= top * SAME_TEMPO)

    @property
    def moved(self) -> bool:
        """True when its tempo was not always the same."""
        tempi = [one.bpm for one in self.clean]
        return bool(tempi) and min(tempi) < max(tempi) * SAME_TEMPO

    @property
    def is_open(self) -> bool:
        """True until the tempo asked for was clean; always, where none was asked for."""
        return self.goal_bpm is None or self.fastest.bpm < self.goal_bpm * SAME_TEMPO


@dataclass(frozen=True, slots=True)
class DateTold:
    """What was said on a day of a topic's date, and what became of it.

    tried : steps with a cold take near the date, `clean` of them clean
    """

    said_on: date
    said: SaidTopic
    tried: int
    clean: int
    kept: "IntervalOutcome"


@dataclass(frozen=True, slots=True)
class HowRight:
    """The outlook's own calibration.

    next_day, dates : of chances said the evening before, and of those said for a date
    told, dates_told : how many of each have been answered so far
    intervals : what was said of dates that have come, newest first
    next_due : the first date still to come of which something was said
    """

    next_day: "Calibration | None"
    told: int
    dates: "Calibration | None"
    dates_told: int
    intervals: tuple[DateTold, ...]
    next_due: date | None


class LookingBack:
    """Use cases of the progress page; nothing here changes the log."""

    def __init__(self, log: Log) -> None:
        self._log = log
        self._digests = Digests(log.store)
        self._right: tuple[int, date, HowRight] | None = None

    @needs(Action.SEE)
    def get_ready(self) -> None:
        """Go through all pasts once, so that no page waits for it."""
        self._digests.all(self._log.state())

    @needs(Action.SEE)
    def minutes_by_week(self, weeks: int) -> tuple[tuple[date, ...], Mapping[str, list[float]]]:
        """Return the last Mondays, oldest first, and the minutes of each topic id in their weeks.

        Topics without a minute are left out; those most played come first.
        """
        state = self._log.state()
        last = monday_of(self._log.today())
        mondays = tuple(last - WEEK * n for n in reversed(range(weeks)))
        rows: dict[str, list[float]] = defaultdict(lambda: [0.0] * weeks)
        for step_id, digest in self._digests.all(state).items():
            step = state.steps.get(step_id)
            for place, monday in enumerate(mondays):
                if step and monday in digest.minutes:
                    rows[step.topic_id][place] += digest.minutes[monday]
        return mondays, dict(sorted(rows.items(), key=lambda row: -sum(row[1])))

    @needs(Action.SEE)
    def exercises(self, since: date) -> tuple[ExerciseTempo, ...]:
        """Return the exercises that were played clean since a day, the latest first."""
        state = self._log.state()
        digests = self._digests.all(state)
        found: dict[object, list[Step]] = {}
        for step in state.steps.values():
            found.setdefault(_exercise_key(step), []).append(step)
        lately = [
            steps
            for steps in found.values()
            if any(day >= since for s in steps if s.id in digests for day in digests[s.id].clean)
        ]
        told = [_tempo_of(state, steps, digests) for steps in lately]
        return tuple(sorted(told, key=lambda t: t.clean[-1].day, reverse=True))

    @needs(Action.SEE)
    def exercise_of(self, step: Step) -> ExerciseTempo | None:
        """Return the exercise of a step, None while it was never played clean at a known tempo."""
        state = self._log.state()
        alike = [s for s in state.topic_steps(step.topic_id) if _same(s, step)]
        digests = {s.id: self._digests.of(state, s.id) for s in alike}
        told = _tempo_of(state, alike, digests)
        return told if told.clean else None

    @needs(Action.SEE)
    def how_right(self) -> HowRight:
        """Hold what was said against what came; kept until the log or the day changes."""
        upto, today = self._log.store.last_sequence(), self._log.today()
        if self._right is None or self._right[:2] != (upto, today):
            self._right = (upto, today, self._found_right(today))
        return self._right[2]

    def _found_right(self, today: date) -> HowRight:
        from coldtake.learning.calibration import calibration

        state = self._log.state()
        digests = self._digests.all(state)
        evening = list(_answered(state, digests))
        dates = list(_dates_told(state, digests, today))
        of_dates = [pair for told in dates for pair in _pairs(told.said, digests)]
        due = [t.on for said in state.outlooks.values() for t in said.topics if t.on + NEAR > today]
        return HowRight(
            next_day=calibration(evening),
            told=len(evening),
            dates=calibration(of_dates),
            dates_told=len(of_dates),
            intervals=tuple(reversed(dates)),
            next_due=min(due, default=None),
        )


def _exercise_key(step: Step) -> object:
    played: Exercise = step.exercise
    if played.passage is None:
        return step.id
    return (step.topic_id, played.passage, played.key.casefold())


def _same(one: Step, other: Step) -> bool:
    return _exercise_key(one) == _exercise_key(other)


def _tempo_of(state: State, steps: list[Step], digests: Mapping[str, Digest]) -> ExerciseTempo:
    known = {s.id for s in steps}
    ordered = [s for s in state.topic_steps(steps[0].topic_id) if s.id in known]
    clean: dict[date, CleanTempo] = {}
    for step in ordered:
        for day, tempo in digests[step.id].clean.items() if step.id in digests else ():
            if day not in clean or tempo > clean[day].bpm:
                clean[day] = CleanTempo(day, tempo, step)
    marks = [t.bpm for s in ordered for t in s.criterion.tests if isinstance(t, TempoTest)]
    played = [s.exercise.tempo_bpm for s in ordered if s.exercise.tempo_bpm]
    return ExerciseTempo(
        topic_id=steps[0].topic_id,
        steps=tuple(ordered),
        clean=tuple(clean[day] for day in sorted(clean)),
        goal_bpm=max(marks or played, default=None),
        unit_beats=ordered[-1].exercise.click.beat_unit_beats,
    )


def _answered(state: State, digests: Mapping[str, Digest]) -> Iterator[Told]:
    """Give what was said the evening before as a chance of a yes, and whether a yes came."""
    from coldtake.learning.calibration import yes_chance

    for day, said in state.said.items():
        for one in said.chances:
            came = digests[one.step_id].cold.get(day) if one.step_id in digests else None
            if came is not None and one.chance is not None:
                yield yes_chance(one.chance, heard=came[1]), came[0]


def _dates_told(state: State, digests: Mapping[str, Digest], today: date) -> Iterator[DateTold]:
    """Give what was said of dates that have come, oldest first."""
    from coldtake.learning.calibration import interval_kept

    for said_on, said in sorted(state.outlooks.items()):
        for topic in said.topics:
            if topic.on + NEAR > today:
                continue
            came = [_near(digests.get(s.step_id), topic.on) for s in topic.steps]
            tried = [one[0] for one in came if one is not None]
            kept = interval_kept(topic.clean_steps, sum(tried), len(came) - len(tried))
            yield DateTold(said_on, topic, len(tried), sum(tried), kept)


def _pairs(said: SaidTopic, digests: Mapping[str, Digest]) -> Iterator[Told]:
    from coldtake.learning.calibration import yes_chance

    for one in said.steps:
        came = _near(digests.get(one.step_id), said.on)
        if came is not None and one.chance is not None:
            yield yes_chance(one.chance, heard=came[1]), came[0]


def _near(digest: Digest | None, on: date) -> tuple[bool, bool] | None:
    """Return what the cold take nearest to a date came to, the earlier of two as near.

    Whether it was answered yes, and whether the listener said so.
    """
    near = [day for day in digest.cold if abs(day - on) <= NEAR] if digest else []
    if digest is None or not near:
        return None
    return digest.cold[min(near, key=lambda day: (abs(day - on), day))]

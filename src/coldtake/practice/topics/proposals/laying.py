"""What every kind of proposal is laid out with: ids, tempo paths, criteria, estimates of need."""

import msgspec

from coldtake.domain.criterion import (
    USUAL_TEMPO_ROOM,
    AnyTest,
    Criterion,
    NoStopsTest,
    NotesTest,
    TempoTest,
)
from coldtake.domain.ids import named_id
from coldtake.domain.topic import ClickSetting, Exercise, PassageRef, Step, StoredPassage
from coldtake.errors import RuleError
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.passage import Passage
from coldtake.music.theory.tempo import marks_between, nearest_mark
from coldtake.practice.topics.proposals.asks import STEPS_MOST, AnyAsk, Proposal
from coldtake.practice.validation import TITLE_MOST
from coldtake.units import tempo_mark

# Guesses, no source; the player changes them, and the log corrects what it can.
CLEAN_SHARE = 0.6  # of the goal: what is taken to come out clean now, when nobody says
MARK_MOST = 400.0  # of a tempo test
BAR_MIN, HARD_BAR_MIN = 3.0, 14.0  # minutes of work for a bar: the plainest, and more when hard
LEAST_MIN, MOST_MIN = 8, 240
MARKS, _OLD_MARKS = "Metronome marks: ", "By the marks: "  # the second in steps of old logs
SLOW_SHARE = 0.6  # of a stretch's minutes that go to its slow step
GUESSED = "The difficulty of a bar and the time of a step are estimates from the notation."


class Pace(msgspec.Struct, frozen=True):
    """The way from a clean tempo to the goal. mark : beats of `unit` quarters a minute."""

    clean: float
    goal: float
    unit: float = 1.0

    @property
    def marks(self) -> tuple[float, ...]:
        """From the clean tempo over every metronome mark to the goal; both ends as they are."""
        low = min(self.clean, self.goal)
        between = [float(m) for m in marks_between(low, self.goal) if low < m < self.goal]
        return tuple(dict.fromkeys([low, *between, self.goal]))

    def rungs(self, most: int) -> tuple[float, ...]:
        """At most so many marks of the way, evenly chosen, the goal last."""
        marks = self.marks
        if len(marks) <= most:
            return marks
        places = (round(i * (len(marks) - 1) / (most - 1)) for i in range(most - 1))
        first = () if most < 2 else tuple(marks[place] for place in places)
        return (*first, marks[-1])

    def words(self, mark: float) -> str:
        """Such as "quarter = 72"."""
        return tempo_mark(self.unit, f"{mark:g}")

    def said(self, goal_bpm: float | None, clean_bpm: float | None, *, marked: bool) -> str:
        """Where both ends come from; `marked` : the page names a tempo."""
        goal = "yours" if goal_bpm else "from the page" if marked else "assumed"
        clean = "yours" if clean_bpm else "assumed"
        return (
            f"Target: {self.words(self.goal)} ({goal}). Clean tempo: {self.words(self.clean)} "
            f"({clean}). Steps between them follow the metronome marks."
        )

    def way_to(self, mark: float) -> str:
        """The marks up to one, as the exercise's words."""
        before = [m for m in self.marks if m <= mark]
        return MARKS + ", ".join(f"{m:g}" for m in before) if len(before) > 1 else ""


def pace(goal_bpm: float, clean_bpm: float | None, unit: float = 1.0) -> Pace:
    """The way in beats of `unit` quarters; without a clean tempo a share of the goal is taken.

    Tempi that fall between whole numbers by counting in other beats are rounded: a metronome has
    no 53.33.
    """
    unit = unit if goal_bpm / unit <= MARK_MOST else 1.0
    goal = _in_beats(goal_bpm, unit)
    clean = nearest_mark(CLEAN_SHARE * goal) if clean_bpm is None else _in_beats(clean_bpm, unit)
    return Pace(min(float(clean), goal), goal, unit)


def is_way(exercise: Exercise) -> bool:
    """Say whether an exercise's words are the marks on the way to its tempo."""
    if not exercise.tempo_bpm:
        return False
    unit = exercise.click.beat_unit_beats
    way = pace(exercise.tempo_bpm, exercise.clean_bpm, unit)
    words = exercise.words.replace(_OLD_MARKS, MARKS)
    return words != "" and words == way.way_to(way.goal)


def _in_beats(bpm: float, unit: float) -> float:
    return bpm if unit == 1.0 else float(round(bpm / unit))


def at_tempo(way: Pace, mark: float, *more: AnyTest) -> Criterion:
    """Every note right, without stopping, at a mark; and what else is asked."""
    tempo = TempoTest(mark=mark, beat_unit_beats=way.unit, within_percent=USUAL_TEMPO_ROOM)
    return Criterion(tests=(NotesTest(), NoStopsTest(), tempo, *more))


def click(passage: Passage, unit: float) -> ClickSetting:
    """The click that goes with the first bar's metre."""
    beats, value = passage.bars[0].metre if passage.bars else (4, 4)
    return ClickSetting(
        beat_unit_beats=unit, beats_per_bar=max(1, min(32, round(beats * 4 / value / unit)))
    )


def shared(minutes: int, rungs: int) -> tuple[int, ...]:
    """Minutes of work shared over the steps of a way: the slow one takes most."""
    if rungs == 1:
        return (minutes,)
    slow = max(LEAST_MIN, round(minutes * SLOW_SHARE))
    return (slow, *([max(LEAST_MIN, round((minutes - slow) / (rungs - 1)))] * (rungs - 1)))


def guess_min(bars: float, hardness: float) -> float:
    """Minutes that the page alone suggests for bars of a hardness 0 to 1."""
    return bars * (BAR_MIN + HARD_BAR_MIN * hardness)


class Laying:
    """Collects the steps of one proposal. The same question gives the same ids."""

    def __init__(self, topic_id: str, ask: AnyAsk) -> None:
        self._topic_id = topic_id
        self._clean_bpm: float | None = getattr(ask, "clean_bpm", None)
        self._asked = msgspec.json.encode(ask).decode()
        self._steps: list[Step] = []
        self._passages: dict[str, StoredPassage] = {}
        self._because: dict[str, str] = {}

    def step(
        self,
        title: str,
        criterion: Criterion,
        exercise: Exercise,
        need_min: int,
        needs: tuple[str, ...] = (),
        because: str = "",
    ) -> str:
        """Add a step; its id."""
        if len(self._steps) >= STEPS_MOST:
            raise RuleError(
                f"These are more than {STEPS_MOST} steps.",
                remedy="Choose fewer keys, patterns or bars.",
            )
        step_id = named_id("proposal", self._topic_id, self._asked, str(len(self._steps)), title)
        step = Step(
            id=step_id,
            topic_id=self._topic_id,
            title=title[:TITLE_MOST],
            criterion=criterion,
            exercise=msgspec.structs.replace(exercise, clean_bpm=self._clean_bpm),
            need_min=need_min,
            needs=tuple(dict.fromkeys(needs)),
        )
        self._steps.append(step)
        self._because[step_id] = because
        return step_id

    def passage(self, title: str, abc: str) -> tuple[PassageRef, Passage]:
        """Add a passage written for the proposal; it is read at once. Raises PassageError."""
        read = read_passage(abc, "abc")
        stored = StoredPassage(
            id=named_id("passage", title, abc), title=title[:TITLE_MOST], format="abc", text=abc
        )
        self._passages[stored.id] = stored
        return PassageRef(passage_id=stored.id), read

    def proposal(self, *rests_on: str) -> Proposal:
        """What was laid out."""
        return Proposal(
            steps=tuple(self._steps),
            passages=tuple(self._passages.values()),
            rests_on=rests_on,
            because=self._because,
        )

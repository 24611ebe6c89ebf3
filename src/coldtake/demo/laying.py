"""How the example lays out topics and steps: ids that never change, and short forms."""

from dataclasses import dataclass

from coldtake.demo.material import BY_NAME
from coldtake.domain.criterion import (
    AnyTest,
    Criterion,
    NoStopsTest,
    NotesTest,
    TempoTest,
    Times,
)
from coldtake.domain.ids import named_id
from coldtake.domain.requirement import Requirement
from coldtake.domain.topic import ClickSetting, Exercise, PassageRef, Place, Step, Topic


@dataclass(frozen=True, slots=True)
class Laid:
    """One topic as it was laid out, the place it has today, and steps that were added late."""

    topic: Topic
    steps: tuple[Step, ...]
    place: Place
    later: tuple[Step, ...] = ()


def topic_id(name: str) -> str:
    """Id of a topic of the example."""
    return named_id("demo", "topic", name)


def step_id(name: str) -> str:
    """Id of a step of the example."""
    return named_id("demo", "step", name)


def exercise(
    passage: str,
    tempo: float | None,
    *,
    bars: tuple[int, int] | None = None,
    key: str = "",
    words: str = "",
    click: ClickSetting | None = None,
) -> Exercise:
    """Say what is played: a passage of the example or some bars of it, at a tempo in quarters."""
    first, last = bars or (None, None)
    ref = PassageRef(passage_id=BY_NAME[passage].id, first_bar=first, last_bar=last)
    return Exercise(
        passage=ref, tempo_bpm=tempo, key=key, words=words, click=click or ClickSetting()
    )


def step(
    topic: str,
    name: str,
    title: str,
    tests: tuple[AnyTest, ...],
    played: Exercise,
    *,
    need: int,
    needs: tuple[str, ...] = (),
    times: Times | None = None,
    requires: tuple[Requirement, ...] = (),
) -> Step:
    """Lay out one step; topic, step and needs go by their short names."""
    return Step(
        id=step_id(name),
        topic_id=topic_id(topic),
        title=title,
        criterion=Criterion(tests=tests, times=times or Times()),
        exercise=played,
        need_min=need,
        needs=tuple(step_id(n) for n in needs),
        requires=requires,
    )


def near(mark: float, percent: float = 8.0) -> TempoTest:
    """Ask for a tempo within some percent of a mark."""
    return TempoTest(mark=mark, within_percent=percent)


CLEAN = NotesTest()
FLOW = NoStopsTest()
TWICE = Times(wanted=2)

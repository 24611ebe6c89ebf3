"""The example's music to perform: a quintet movement, a tune to improvise on, an air for later."""

from datetime import date, timedelta

from coldtake.demo.laying import CLEAN, FLOW, TWICE, Laid, exercise, near, step, topic_id
from coldtake.domain.criterion import (
    ConditionsTest,
    NotesTest,
    OwnQuestionTest,
    TempoTest,
    TimingTest,
)
from coldtake.domain.requirement import Requirement, Resource
from coldtake.domain.topic import ClickSetting, Exercise, Place, Step, Topic, TopicKind

CONCERT_IN_DAYS = 49
REHEARSAL_IN_DAYS = 9
PARTY_IN_DAYS = 110


def _run_steps() -> tuple[Step, ...]:
    """Lay the run out along the metronome marks, each tempo needing the one before."""
    ladder = ((60, 90, ()), (72, 100, ("run 60",)), (84, 140, ("run 72",)))
    return tuple(
        step(
            "movement",
            f"run {mark}",
            f"The run back, at {mark}",
            (CLEAN, TempoTest(mark=mark)),
            exercise("run", mark, key="F major", words="Fingers close; think in fours."),
            need=need,
            needs=needs,
            times=TWICE,
        )
        for mark, need, needs in ladder
    )


MOVEMENT = (
    step(
        "movement",
        "opening",
        "Opening theme",
        (CLEAN, near(84), FLOW),
        exercise("themes", 84, bars=(1, 8), key="F major", words="One breath to bar 4."),
        need=75,
    ),
    step(
        "movement",
        "second",
        "Second theme, after the rest",
        (CLEAN, near(84), TimingTest(tolerance_ms=100, share_percent=100)),
        exercise("themes", 84, bars=(9, 16), key="D minor", words="Count the rest aloud."),
        need=100,
    ),
    *_run_steps(),
    step(
        "movement",
        "coda",
        "Coda, soft and in time",
        (CLEAN, near(76), FLOW),
        exercise("coda", 76, key="F major"),
        need=90,
    ),
    step(
        "movement",
        "joined",
        "Both themes joined",
        (NotesTest(allowed=1), near(84), FLOW),
        exercise("themes", 84, key="F major", words="No slower at the join."),
        need=80,
        needs=("opening", "second"),
    ),
    step(
        "movement",
        "whole",
        "The whole part, standing, from memory",
        (
            OwnQuestionTest(question="Would I have stayed with the other four throughout?"),
            ConditionsTest(stated=("from memory", "standing")),
        ),
        Exercise(words="From the first bar to the last, one chance."),
        need=150,
        needs=("run 84", "coda", "joined"),
    ),
)
FOUR = Requirement(what=Resource.PEOPLE, note="the other four")
REHEARSAL = step(
    "movement",
    "rehearsal",
    "With the other four, at the rehearsal",
    (OwnQuestionTest(question="Did nobody have to wait for me?"),),
    Exercise(words="Once through, as on the day."),
    need=120,
    needs=("whole",),
    requires=(FOUR,),
)


def movement(today: date) -> Laid:
    """The concert piece."""
    topic = Topic(
        id=topic_id("movement"),
        title="Lantern Street, first movement",
        kind=TopicKind.PIECE,
        importance=5,
        performance_on=today + timedelta(days=CONCERT_IN_DAYS),
        notes="The quintet's opening piece. The flute leads in, I answer; breathe with the horn.",
    )
    return Laid(topic, MOVEMENT, Place.CURRENT, later=(REHEARSAL,))


TUNE = (
    step(
        "tune",
        "melody",
        "The tune from memory",
        (NotesTest(allowed=1), near(108, 10), ConditionsTest(stated=("from memory",))),
        exercise("tune", 108, key="G"),
        need=90,
    ),
    step(
        "tune",
        "chords 80",
        "The chords, one note a beat, at 80",
        (CLEAN, TempoTest(mark=80)),
        exercise("chords", 80, key="G"),
        need=110,
        needs=("melody",),
    ),
    step(
        "tune",
        "guide",
        "Thirds and sevenths, the nearest way",
        (CLEAN, TempoTest(mark=88)),
        exercise("guide", 88, key="G", words="Hear the next one before you play it."),
        need=75,
        needs=("melody",),
    ),
    step(
        "tune",
        "chords 96",
        "The chords, one note a beat, at 96",
        (CLEAN, TempoTest(mark=96)),
        exercise("chords", 96, key="G"),
        need=120,
        needs=("chords 80",),
    ),
    step(
        "tune",
        "one chorus",
        "One chorus on thirds and sevenths",
        (OwnQuestionTest(question="Could I hear every chord change in what I played?"),),
        exercise("guide", 96, words="Own rhythms, these notes only."),
        need=130,
        needs=("guide",),
    ),
    step(
        "tune",
        "two choruses",
        "Two choruses without losing the form",
        (OwnQuestionTest(question="Did I come out at bar 12 both times?"),),
        exercise("tune", 108, words="Leave bar 4 and bar 8 empty."),
        need=160,
        needs=("chords 96", "one chorus"),
    ),
)
STORY = step(
    "tune",
    "story",
    "Two choruses that tell one story",
    (OwnQuestionTest(question="Did the second chorus grow out of the first?"),),
    exercise("tune", 108, words="One idea, turned over, taken higher."),
    need=200,
    needs=("two choruses",),
)


def tune(today: date) -> Laid:
    """The tune to improvise on."""
    topic = Topic(
        id=topic_id("tune"),
        title="Low Window Blues",
        kind=TopicKind.TUNE,
        importance=4,
        performance_on=today + timedelta(days=CONCERT_IN_DAYS),
        notes="Our encore: play it, then improvise on it. The bassoon walks, I have two choruses.",
    )
    return Laid(topic, TUNE, Place.CURRENT, later=(STORY,))


WALTZ = ClickSetting(beats_per_bar=3)
AIR = (
    step(
        "air",
        "air whole",
        "All of it, singing",
        (CLEAN, near(92, 10)),
        exercise("air", 92, key="C major", click=WALTZ),
        need=30,
    ),
)


def air(today: date) -> Laid:
    """Something for the summer; it waits."""
    topic = Topic(
        id=topic_id("air"),
        title="Air for the garden party",
        kind=TopicKind.PIECE,
        importance=2,
        performance_on=today + timedelta(days=PARTY_IN_DAYS),
        notes="With a guitar, if the weather holds.",
    )
    return Laid(topic, AIR, Place.WAITING)

"""The example's topics without a date: technique, intonation, rhythm, reading."""

from coldtake.demo.laying import CLEAN, FLOW, TWICE, Laid, exercise, near, step, topic_id
from coldtake.domain.criterion import (
    EvennessTest,
    NotesTest,
    TempoTest,
    Times,
    TimingTest,
    TuneTest,
)
from coldtake.domain.topic import ClickSetting, Place, Topic, TopicKind

EVEN = EvennessTest(deviation_ms=40)
BY_STEP = tuple(
    step(
        "break",
        f"break {mark}",
        f"By step, at {mark}",
        (CLEAN, TempoTest(mark=mark)),
        exercise("break", mark, words="Slurred, no push of air at the B."),
        need=80,
        needs=needs,
        times=Times(wanted=3),
    )
    for mark, needs in ((60, ()), (72, ("break 60",)), (84, ("break 72",)), (96, ("break 84",)))
)
BY_LEAP = tuple(
    step(
        "break",
        f"leaps {mark}",
        f"By leap, even, at {mark}",
        (CLEAN, TempoTest(mark=mark), EVEN),
        exercise("leaps", mark),
        need=120,
        needs=needs,
        times=TWICE,
    )
    for mark, needs in (
        (60, ("break 60",)),
        (72, ("leaps 60", "break 72")),
        (84, ("leaps 72", "break 84")),
    )
)
FAST_LEAPS = step(
    "break",
    "leaps 96",
    "By leap, even, at 96",
    (CLEAN, TempoTest(mark=96), EVEN),
    exercise("leaps", 96),
    need=150,
    needs=("leaps 84", "break 96"),
    times=Times(wanted=3),
)


def over_the_break() -> Laid:
    """Daily technique: the change of register."""
    topic = Topic(
        id=topic_id("break"),
        title="Over the break without a bump",
        kind=TopicKind.TECHNIQUE,
        importance=2,
        notes="Right hand stays down on the throat notes.",
    )
    return Laid(topic, BY_STEP + BY_LEAP, Place.CURRENT, later=(FAST_LEAPS,))


D_MAJOR = (
    step(
        "d major",
        "scale",
        "Two octaves up and down",
        (CLEAN, near(84)),
        exercise("scale", 84, key="D major"),
        need=20,
    ),
    step(
        "d major",
        "broken",
        "Broken chord",
        (CLEAN, TempoTest(mark=80)),
        exercise("arpeggio", 80, key="D major"),
        need=20,
    ),
    step(
        "d major",
        "in tune",
        "Two octaves, in tune",
        (CLEAN, TuneTest(tolerance_cents=20, share_percent=90)),
        exercise("scale", 60, key="D major", words="Drone on D, then without."),
        need=30,
        needs=("scale",),
    ),
)


def d_major() -> Laid:
    """What was met and is kept up by cold takes alone."""
    topic = Topic(
        id=topic_id("d major"),
        title="D major, slow and in tune",
        kind=TopicKind.INTONATION,
        importance=2,
    )
    return Laid(topic, D_MAJOR, Place.CURRENT)


DOTTED_CLICK = ClickSetting(beat_unit_beats=1.5, beats_per_bar=2)
TRIPLETS = (
    step(
        "triplets",
        "triplets first half",
        "First four bars",
        (CLEAN, TempoTest(mark=50, beat_unit_beats=1.5)),
        exercise("triplets", 75, bars=(1, 4), key="A minor", click=DOTTED_CLICK),
        need=100,
    ),
    step(
        "triplets",
        "triplets whole",
        "All eight bars",
        (NotesTest(allowed=1), TempoTest(mark=56, beat_unit_beats=1.5), FLOW),
        exercise("triplets", 84, key="A minor", click=DOTTED_CLICK),
        need=140,
        needs=("triplets first half",),
    ),
)


def triplets() -> Laid:
    """What was begun and laid aside."""
    topic = Topic(
        id=topic_id("triplets"),
        title="Study in triplets",
        kind=TopicKind.TECHNIQUE,
        importance=2,
        notes="Laid aside until after the concert.",
    )
    return Laid(topic, TRIPLETS, Place.LAID_ASIDE)


DOTTED = (
    step(
        "dotted",
        "dotted four bars",
        "Four bars with the click",
        (CLEAN, TimingTest(tolerance_ms=50, share_percent=90)),
        exercise("dotted", 66, key="F major"),
        need=90,
    ),
)


def dotted() -> Laid:
    """What waits, with one step laid out."""
    topic = Topic(
        id=topic_id("dotted"),
        title="Dotted pairs that do not turn into triplets",
        kind=TopicKind.RHYTHM,
        importance=2,
    )
    return Laid(topic, DOTTED, Place.WAITING)


def reading() -> Laid:
    """What waits and has no step yet."""
    topic = Topic(
        id=topic_id("reading"),
        title="Reading at sight",
        kind=TopicKind.READING,
        importance=1,
        notes="A new line a day. Ask the others for old parts.",
    )
    return Laid(topic, (), Place.WAITING)

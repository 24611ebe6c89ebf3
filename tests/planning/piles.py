"""Ten invented piles, as players and teachers know them, to try advice on."""

from dataclasses import dataclass, field
from datetime import timedelta

from coldtake.domain import events as ev
from coldtake.domain.topic import Place, Topic, TopicKind
from logs import DAY, Log

TODAY = DAY + timedelta(days=21)


@dataclass(frozen=True)
class Lies:
    """A topic on a pile. met : of its `steps`; days : to its date from TODAY; need : a step's."""

    title: str
    steps: int = 0
    met: int = 0
    days: int | None = None
    importance: int = 3
    kind: TopicKind = TopicKind.PIECE
    current: bool = False
    need: int = 60


@dataclass(frozen=True)
class Pile:
    """Topics of one player, with minutes really played on an average day."""

    name: str
    per_day: float
    topics: tuple[Lies, ...]
    limit: int = 4
    said: str = field(default="", compare=False)

    @property
    def state(self):
        log = Log()
        for one in self.topics:
            on = None if one.days is None else TODAY + timedelta(days=one.days)
            log.topic(one.title, one.steps, on=on, importance=one.importance, need=one.need)
            place = Place.CURRENT if one.current else Place.WAITING
            topic = Topic(
                id=one.title,
                title=one.title,
                kind=one.kind,
                importance=one.importance,
                performance_on=on,
                place=place,
            )
            log.put(ev.TopicKept(topic=topic)).put(ev.TopicPlaced(topic_id=one.title, place=place))
            for n in range(one.met):
                log.practised(f"{one.title}.{n}", range(1, 21, 5), minutes=one.need / 5)
        return log.put(ev.SettingChosen(name="current_topics", value=str(self.limit)), 20).state


TECHNIQUE, TUNE, READING = TopicKind.TECHNIQUE, TopicKind.TUNE, TopicKind.READING

PILES = (
    Pile(
        "audition in three weeks",
        60.0,
        (
            Lies("Excerpt 1", 4, 2, 21, 5, current=True),
            Lies("Excerpt 2", 4, 1, 21, 5, current=True),
            Lies("Excerpt 3", 3, 0, 21, 5, current=True),
            Lies("Concerto, exposition", 6, 4, 21, 5, current=True),
            Lies("Scales in thirds", 8, 2, None, 3, TECHNIQUE),
            Lies("Study", 5, 0, None, 2, TECHNIQUE),
        ),
    ),
    Pile(
        "an important piece nearly done, and something nice without a step",
        30.0,
        (
            Lies("Sonata", 9, 7, 49, 5, current=True, need=105),
            Lies("Encore", 7, 6, 49, 4, TUNE, current=True, need=125),
            Lies("Even fingers", 8, 1, None, 2, TECHNIQUE, current=True, need=100),
            Lies("Reading at sight", importance=1, kind=READING),
            Lies("Dotted pairs", 1, 0, None, 2, TECHNIQUE, need=90),
        ),
    ),
    Pile(
        "a first evening: nothing has a step",
        20.0,
        (Lies("Minuet"), Lies("Scales", kind=TECHNIQUE), Lies("Folk song", importance=2)),
    ),
    Pile(
        "a concerto that is far too long for the month",
        20.0,
        (
            Lies("Concerto", 20, 2, 30, 5, current=True, need=90),
            Lies("Duet", 3, 0, 40, 3, current=True),
            Lies("Carol", 2, 0, 60, 2, current=True, need=30),
        ),
    ),
    Pile(
        "all is kept up, and one new piece waits",
        30.0,
        (
            Lies("Prelude", 3, 3, None, 3, current=True, need=30),
            Lies("Fugue", 4, 4, None, 3, current=True, need=30),
            Lies("Fantasy", 8, 0, 80, 4),
        ),
    ),
    Pile(
        "a wedding in ten days, and four studies without a date",
        30.0,
        (
            *(Lies(f"Study {n}", 6, 2, None, 3, TECHNIQUE, current=True) for n in range(1, 5)),
            Lies("Wedding march", 3, 0, 10, 4, need=40),
        ),
    ),
    Pile(
        "a dozen nice little things, and one that matters a lot",
        25.0,
        (
            Lies("Recital piece", 10, 1, 60, 4, current=True, need=80),
            *(Lies(f"Trifle {n}", 3, 0, 60, 1, need=30) for n in range(1, 13)),
        ),
    ),
    Pile(
        "last week's concert is over",
        40.0,
        (
            Lies("Old programme", 5, 3, -7, 4, current=True),
            Lies("New programme", 6, 0, 60, 4),
            Lies("Long tones", 2, 1, None, 2, TopicKind.INTONATION, current=True),
        ),
    ),
    Pile(
        "a jazz player: a gig, and tunes for some day",
        45.0,
        (
            Lies("Gig tune 1", 6, 5, 20, 4, TUNE, current=True),
            Lies("Gig tune 2", 6, 5, 20, 4, TUNE, current=True),
            *(Lies(f"Tune for some day {n}", 6, 0, None, 2, TUNE) for n in range(1, 7)),
        ),
    ),
    Pile(
        "five minutes a day, and a recital",
        5.0,
        (
            Lies("Waltz", 3, 1, 60, 4, current=True, need=40),
            Lies("March", 3, 0, 60, 3, current=True, need=40),
            Lies("Scales", 4, 0, None, 2, TECHNIQUE, need=40),
        ),
        limit=2,
    ),
)

"""What a proposal is made from, and what it is: nothing of it is kept until the player says so."""

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from coldtake.domain.topic import Step, StoredPassage
from coldtake.music.theory.keys import KeyOrder

Bpm = Annotated[float, Meta(ge=20, le=400)]
STEPS_MOST = 72
RHYTHM_PARTS = ("subdivisions", "syncopation", "3 against 2", "4 against 3", "silent click")


class Ask(msgspec.Struct, frozen=True, kw_only=True, tag_field="ask"):
    """Base of what can be asked; tempi are in quarters a minute."""


class PieceAsk(Ask, frozen=True, kw_only=True, tag="piece"):
    """A piece from its notation, all of it or some bars (from 1, as played).

    goal_bpm : None takes the written tempo; clean_bpm : what comes out clean now, None guesses
    """

    passage_id: str
    first_bar: Annotated[int, Meta(ge=1)] | None = None
    last_bar: Annotated[int, Meta(ge=1)] | None = None
    goal_bpm: Bpm | None = None
    clean_bpm: Bpm | None = None


class TechniqueAsk(Ask, frozen=True, kw_only=True, tag="technique"):
    """Patterns over keys.

    rules, rhythms : names of `music.exercises.patterns.RULES` and `music.exercises.rhythms.RHYTHMS`
    articulations : names of `music.exercises.rhythms.ARTICULATIONS`; none: only `articulation`
    keys : names such as "B♭"; none: the twelve in `order`, shuffled by `seed`
    concert : the keys are as they sound, not as the instrument reads them
    octaves : so many, as far as the instrument reaches; None: up to two within its usual range
    low, high : written MIDI numbers, the instrument's own range where None
    """

    rules: tuple[str, ...] = ("scale",)
    rhythms: tuple[str, ...] = ("eighths",)
    keys: tuple[str, ...] = ()
    order: KeyOrder = KeyOrder.FOURTHS
    seed: int = 0
    scale: str = "major"
    metre: tuple[int, int] = (4, 4)
    articulation: str = "as it comes"
    articulations: tuple[str, ...] = ()
    instrument: str = "flute"
    concert: bool = False
    octaves: Annotated[int, Meta(ge=1, le=4)] | None = None
    low: Annotated[int, Meta(ge=12, le=120)] | None = None
    high: Annotated[int, Meta(ge=12, le=120)] | None = None
    goal_bpm: Bpm = 96.0
    clean_bpm: Bpm | None = None


class TuneAsk(Ask, frozen=True, kw_only=True, tag="tune"):
    """A tune and its changes: notation with chord symbols, or changes typed as on a chart.

    key : of the changes as they are typed or printed; none: the one they suggest
    concert : typed changes are as they sound, not as the instrument reads them
    other_keys : so many further keys round the circle of fourths from the tune's own
    """

    passage_id: str = ""
    changes: str = ""
    key: str = ""
    other_keys: Annotated[int, Meta(ge=0, le=11)] = 3
    metre: tuple[int, int] = (4, 4)
    instrument: str = "flute"
    concert: bool = False
    goal_bpm: Bpm | None = None
    clean_bpm: Bpm | None = None


class RhythmAsk(Ask, frozen=True, kw_only=True, tag="rhythm"):
    """Rhythms on one note. parts : names of `RHYTHM_PARTS`; compound : in dotted beats."""

    parts: tuple[str, ...] = RHYTHM_PARTS
    compound: bool = False
    instrument: str = "flute"
    goal_bpm: Bpm = 80.0
    clean_bpm: Bpm | None = None


class IntonationAsk(Ask, frozen=True, kw_only=True, tag="intonation"):
    """Intervals against a drone, and long tones. tonic : the drone, as the instrument reads it."""

    tonic: str = "C"
    tuning: Literal["equal", "just"] = "equal"
    instrument: str = "flute"
    cents: Annotated[float, Meta(ge=3, le=50)] = 15.0


class ReadingAsk(Ask, frozen=True, kw_only=True, tag="reading"):
    """Fresh passages to read at sight.

    level : 1 to 10; count : passages; seed : the same one gives the same passages
    """

    level: Annotated[int, Meta(ge=1, le=10)] = 3
    count: Annotated[int, Meta(ge=1, le=12)] = 5
    bars: Annotated[int, Meta(ge=2, le=32)] = 8
    keys: tuple[str, ...] = ("C",)
    metre: tuple[int, int] = (4, 4)
    instrument: str = "flute"
    goal_bpm: Bpm = 72.0
    seed: Annotated[int, Meta(ge=0, le=10_000_000)] = 0


class PlainAsk(Ask, frozen=True, kw_only=True, tag="plain"):
    """One step a line, in the player's own words. in_order : each waits for the one before."""

    lines: str = ""
    in_order: bool = False


AnyAsk = PieceAsk | TechniqueAsk | TuneAsk | RhythmAsk | IntonationAsk | ReadingAsk | PlainAsk


class Proposal(msgspec.Struct, frozen=True, kw_only=True):
    """Steps in their order with the passages made for them.

    rests_on : sentences saying what the map and its numbers rest on
    because : by step id, one line on why the step is there
    """

    steps: tuple[Step, ...]
    passages: tuple[StoredPassage, ...] = ()
    rests_on: tuple[str, ...] = ()
    because: dict[str, str] = {}

"""What a proposal is made from, and what it is: nothing of it is kept until the player says so."""

from typing import Annotated

import msgspec
from msgspec import Meta

from coldtake.domain.topic import Step, StoredPassage
from coldtake.music.keys import KeyOrder

Bpm = Annotated[float, Meta(ge=20, le=400)]
STEPS_MOST = 72


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

    rules, rhythms : names of `music.patterns.RULES` and `music.rhythms.RHYTHMS`
    keys : names such as "B♭"; none: the twelve in `order`, shuffled by `seed`
    concert : the keys are as they sound, not as the instrument reads them
    low, high : written MIDI numbers, the instrument's usual range where None
    """

    rules: tuple[str, ...] = ("scale",)
    rhythms: tuple[str, ...] = ("eighths",)
    keys: tuple[str, ...] = ()
    order: KeyOrder = KeyOrder.FOURTHS
    seed: int = 0
    scale: str = "major"
    metre: tuple[int, int] = (4, 4)
    articulation: str = "as it comes"
    instrument: str = "flute"
    concert: bool = False
    octaves: Annotated[int, Meta(ge=1, le=4)] = 2
    low: Annotated[int, Meta(ge=12, le=120)] | None = None
    high: Annotated[int, Meta(ge=12, le=120)] | None = None
    goal_bpm: Bpm = 96.0
    clean_bpm: Bpm | None = None


class TuneAsk(Ask, frozen=True, kw_only=True, tag="tune"):
    """A tune and its changes: notation with chord symbols, or changes typed as on a chart.

    concert : typed changes are as they sound, not as the instrument reads them
    """

    passage_id: str = ""
    changes: str = ""
    metre: tuple[int, int] = (4, 4)
    instrument: str = "flute"
    concert: bool = False
    goal_bpm: Bpm | None = None
    clean_bpm: Bpm | None = None


class PlainAsk(Ask, frozen=True, kw_only=True, tag="plain"):
    """One step a line, in the player's own words. in_order : each waits for the one before."""

    lines: str = ""
    in_order: bool = False


AnyAsk = PieceAsk | TechniqueAsk | TuneAsk | PlainAsk


class Proposal(msgspec.Struct, frozen=True, kw_only=True):
    """Steps in their order with the passages made for them.

    rests_on : sentences saying what the map and its numbers rest on
    because : by step id, one line on why the step is there
    """

    steps: tuple[Step, ...]
    passages: tuple[StoredPassage, ...] = ()
    rests_on: tuple[str, ...] = ()
    because: dict[str, str] = {}

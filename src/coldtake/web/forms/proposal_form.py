"""The form of a proposal: address fields to what is asked, and what the form shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import msgspec

from coldtake.domain.topic import TopicKind
from coldtake.errors import InputError
from coldtake.music.exercises.patterns import RULES
from coldtake.music.exercises.rhythms import (
    ARTICULATIONS,
    METRES,
    RHYTHMS,
    articulations_for,
)
from coldtake.music.theory.instruments import INSTRUMENTS, by_family
from coldtake.music.theory.keys import KeyOrder
from coldtake.music.theory.scales import SCALES
from coldtake.music.theory.tones import read_pitch
from coldtake.practice.topics.proposals.asks import (
    RHYTHM_PARTS,
    AnyAsk,
    IntonationAsk,
    PieceAsk,
    PlainAsk,
    ReadingAsk,
    RhythmAsk,
    TechniqueAsk,
    TuneAsk,
)
from coldtake.subprocesses.sent_json import read as read_json
from coldtake.web.forms import form_fields

Query = Mapping[str, str]
ORDERS = {
    KeyOrder.FOURTHS: "circle of fourths",
    KeyOrder.CHROMATIC: "up by semitones",
    KeyOrder.SHUFFLED: "shuffled",
}
TUNINGS = {"equal": "equal", "just": "just, to the drone"}
_TEMPO = (20, 400)


def choices_for(instrument: str) -> Choices:
    """What can be chosen from by who plays an instrument, the words of bow or tongue with it."""
    known = INSTRUMENTS.get(instrument)
    if known is None:
        return Choices()
    return Choices(articulations=articulations_for(known.family))


@dataclass(frozen=True, slots=True)
class Choices:
    """What can be chosen from, for the template."""

    ways: Mapping[str, str] = field(
        default_factory=lambda: {name: way.title for name, way in WAYS.items()}
    )
    rules: tuple[str, ...] = tuple(RULES)
    rhythms: tuple[str, ...] = tuple(RHYTHMS)
    scales: tuple[str, ...] = tuple(SCALES)
    metres: tuple[str, ...] = tuple(f"{beats}/{unit}" for beats, unit in METRES)
    articulations: tuple[str, ...] = tuple(ARTICULATIONS)
    instruments: Mapping[str, tuple[str, ...]] = field(default_factory=by_family)
    rhythm_parts: tuple[str, ...] = RHYTHM_PARTS
    tunings: Mapping[str, str] = field(default_factory=lambda: TUNINGS)
    orders: Mapping[str, str] = field(
        default_factory=lambda: {str(k): v for k, v in ORDERS.items()}
    )


def way_of(kind: TopicKind, query: Query) -> str:
    """Which kind of proposal the page is about; each kind of topic has one of its own name."""
    chosen = query.get("way", "")
    return next((way for way in (chosen, kind) if way in WAYS), "plain")


@dataclass(frozen=True, slots=True)
class Ticked:
    """What is ticked in the lists of the form; nothing ticked: what comes first."""

    rules: tuple[str, ...] = ()
    articulations: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()


def ticked(named: Callable[[str], Sequence[str]]) -> Ticked:
    """Read the ticks. named : gives every value of a name."""
    return Ticked(
        tuple(named("rules")) or ("scale",),
        tuple(named("articulations")) or ("as it comes",),
        tuple(named("parts")) or RHYTHM_PARTS,
    )


def read_ask(way: str, query: Query, ticks: Ticked) -> AnyAsk:
    """Read what is asked. Raises InputError naming the field."""
    return WAYS[way].read(query, ticks)


def _tempo(query: Query, name: str, where: str) -> float | None:
    return form_fields.maybe_number(query.get(name, ""), where, *_TEMPO)


def _piece(query: Query, _ticks: Ticked) -> PieceAsk:
    if not query.get("passage_id"):
        raise InputError(
            "No notation is chosen.", where="passage", remedy="Choose notation, or add it first."
        )
    return PieceAsk(
        passage_id=query["passage_id"],
        first_bar=form_fields.maybe_whole(query.get("first_bar", ""), "first bar", 1, 100_000),
        last_bar=form_fields.maybe_whole(query.get("last_bar", ""), "last bar", 1, 100_000),
        goal_bpm=_tempo(query, "goal", "goal"),
        clean_bpm=_tempo(query, "clean", "clean now"),
    )


def _keys(query: Query) -> tuple[str, ...]:
    return tuple(query.get("keys", "").replace(",", " ").split()[:24])


def _technique(query: Query, ticks: Ticked) -> TechniqueAsk:
    return TechniqueAsk(
        rules=ticks.rules,
        rhythms=(query.get("rhythm") or "eighths",),
        keys=_keys(query),
        order=form_fields.one_of(KeyOrder, query.get("order") or "fourths", "order of keys"),
        seed=form_fields.maybe_whole(query.get("seed", ""), "seed", 0, 1_000_000) or 0,
        scale=query.get("scale") or "major",
        metre=_metre(query),
        articulations=ticks.articulations,
        instrument=_instrument(query),
        concert=bool(query.get("concert")),
        octaves=form_fields.maybe_whole(query.get("octaves", ""), "octaves", 1, 4),
        low=_note(query, "low"),
        high=_note(query, "high"),
        goal_bpm=_tempo(query, "goal", "goal") or 96.0,
        clean_bpm=_tempo(query, "clean", "clean now"),
    )


def _note(query: Query, name: str) -> int | None:
    text = query.get(name, "").strip()
    return read_pitch(text[:1].upper() + text[1:]).midi if text else None


def _tune(query: Query, _ticks: Ticked) -> TuneAsk:
    return TuneAsk(
        passage_id=query.get("passage_id", ""),
        changes=query.get("changes", ""),
        key=query.get("key", ""),
        metre=_metre(query),
        instrument=_instrument(query),
        concert=bool(query.get("concert")),
        other_keys=_count(query, "other_keys", "other keys", 0, 11, 3),
        goal_bpm=_tempo(query, "goal", "goal"),
        clean_bpm=_tempo(query, "clean", "clean now"),
    )


def _count(query: Query, name: str, where: str, least: int, most: int, usual: int) -> int:
    found = form_fields.maybe_whole(query.get(name, ""), where, least, most)
    return usual if found is None else found


def _rhythm(query: Query, ticks: Ticked) -> RhythmAsk:
    return RhythmAsk(
        parts=ticks.parts,
        compound=bool(query.get("compound")),
        instrument=_instrument(query),
        goal_bpm=_tempo(query, "goal", "goal") or 80.0,
        clean_bpm=_tempo(query, "clean", "clean now"),
    )


def _intonation(query: Query, _ticks: Ticked) -> IntonationAsk:
    return IntonationAsk(
        tonic=query.get("tonic", "").strip() or "C",
        tuning="just" if query.get("tuning") == "just" else "equal",
        instrument=_instrument(query),
        cents=form_fields.maybe_number(query.get("cents", ""), "cents", 3, 50) or 15.0,
    )


def _reading(query: Query, _ticks: Ticked) -> ReadingAsk:
    return ReadingAsk(
        level=_count(query, "level", "level", 1, 10, 3),
        count=_count(query, "count", "passages", 1, 12, 5),
        bars=_count(query, "bars", "bars", 2, 32, 8),
        keys=_keys(query) or ("C",),
        metre=_metre(query),
        instrument=_instrument(query),
        goal_bpm=_tempo(query, "goal", "tempo") or 72.0,
        seed=_count(query, "seed", "number", 0, 10_000_000, 0),
    )


def _instrument(query: Query) -> str:
    if not query.get("instrument"):
        raise InputError(
            "No instrument is chosen.",
            where="instrument",
            remedy="Choose what you play. Clef and range follow from it.",
        )
    return query["instrument"]


def _metre(query: Query) -> tuple[int, int]:
    text = query.get("metre") or "4/4"
    found = next((metre for metre in METRES if f"{metre[0]}/{metre[1]}" == text), None)
    if found is None:
        raise InputError(f"“{text}” is not a known metre.", where="metre", remedy="Choose one.")
    return found


def to_text(ask: AnyAsk) -> str:
    """What is asked as one line of text, to be sent back with the ticks."""
    return msgspec.json.encode(ask).decode()


def from_text(text: str) -> AnyAsk:
    """The inverse of `to_text`. Raises InputError."""
    try:
        ask: AnyAsk = read_json(text, AnyAsk)
    except msgspec.DecodeError as fault:
        raise InputError(
            "The suggested steps cannot be read any more.", remedy="Suggest the steps again."
        ) from fault
    return ask


def _plain(query: Query, _ticks: Ticked) -> PlainAsk:
    return PlainAsk(lines=query.get("lines", ""), in_order=bool(query.get("in_order")))


@dataclass(frozen=True, slots=True)
class ProposalKind:
    """A kind of proposal: its title, and how what is asked is read from the form."""

    title: str
    read: Callable[[Query, Ticked], AnyAsk]


# By the tag of what is asked (`asks.AnyAsk`).
WAYS: Mapping[str, ProposalKind] = {
    "piece": ProposalKind("Piece (from notation)", _piece),
    "technique": ProposalKind("Patterns in keys", _technique),
    "tune": ProposalKind("Tune and changes", _tune),
    "rhythm": ProposalKind("Rhythm", _rhythm),
    "intonation": ProposalKind("Intonation", _intonation),
    "reading": ProposalKind("Sight reading", _reading),
    "plain": ProposalKind("Your own list", _plain),
}

"""Where a step breaks: in sentences, and as brackets under the bars of its notation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from coldtake.errors import PassageError
from coldtake.learning.breakdowns import Fault
from coldtake.music.notation.engraving.marks import BarMark

if TYPE_CHECKING:
    from coldtake.music.passage import Passage
    from coldtake.practice.topics.weak_bars import Offer, WeakPlace

WIDE_PX, NARROW_PX = 1000, 400  # as on the page of a take
_ONE = {
    Fault.WRONG: "wrong note",
    Fault.MISSED: "missed note",
    Fault.EXTRA: "extra note",
    Fault.EARLY: "early note",
    Fault.LATE: "late note",
    Fault.STOP: "stop",
    Fault.RESTART: "restart",
}


@dataclass(frozen=True, slots=True)
class WeakBarShown:
    """One weak bar in sentences, with the steps that could be taken on."""

    index: int
    count: str
    faults: str
    trend: str
    offers: tuple[Offer, ...]


def shown(place: WeakPlace) -> WeakBarShown:
    """Put one weak bar into sentences."""
    return WeakBarShown(
        place.bar.index, count_words(place), fault_words(place), trend_words(place), place.offers
    )


def count_words(place: WeakPlace) -> str:
    """Say in how many takes, such as “Bar 7 went wrong in 5 of the last 8 takes.”."""
    bar = place.bar
    return f"Bar {place.label} went wrong in {bar.broke} of the last {bar.of} takes."


def fault_words(place: WeakPlace) -> str:
    """What went wrong there, most often first."""
    parts = [
        f"{n} {_ONE[fault]}{'s' if n > 1 else ''}" for fault, n in place.bar.faults.most_common()
    ]
    return f"{', '.join(parts)}."


def trend_words(place: WeakPlace) -> str:
    """How it moved, and how it is at the first try; empty where there is too little to say."""
    bar = place.bar
    said = []
    (before, of_before), (lately, of_lately) = bar.halves
    if min(of_before, of_lately) >= 2:
        said.append(f"Earlier {before} of {of_before}, lately {lately} of {of_lately}.")
    if 2 <= bar.cold_of < bar.of:
        said.append(f"In cold takes {bar.cold_broke} of {bar.cold_of}.")
    return " ".join(said)


def engraved(passage: Passage, places: Sequence[WeakPlace], width_px: int, prefix: str = "") -> str:
    """Engrave the passage with a bracket under each weak bar; empty where it cannot be."""
    from coldtake.music.notation.engraving.engraver import engrave

    heads = {n.bar_index: n.notation_ids[0] for n in reversed(passage.notes) if n.notation_ids}
    bars = [
        BarMark(
            head=heads[place.bar.index],
            share=place.bar.broke / place.bar.of,
            label=f"{place.bar.broke} of {place.bar.of}",
            words=count_words(place),
        )
        for place in places
        if place.bar.index in heads
    ]
    try:
        return engrave(passage, bars=bars, width_px=width_px, scale=46, prefix=prefix)
    except PassageError:
        return ""

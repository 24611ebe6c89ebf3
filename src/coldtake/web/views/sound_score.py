"""A passage as the page's player reads it: beats, pitches, bars, and an accompaniment in a feel."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any, get_args

from coldtake.errors import InputError
from coldtake.music.notation.changes import changes_of
from coldtake.music.notation.reading.score import measure_ids
from coldtake.music.notation.reading.unfold import Unfolding
from coldtake.music.playback.accompaniment import Feel, accompany, feels_for
from coldtake.music.theory.tones import usual_interval
from coldtake.music.theory.tuning import Tuning, cents_above
from coldtake.units import CENTS_PER_SEMITONE, METRONOME_MARKS

if TYPE_CHECKING:
    from coldtake.music.notation.changes import Changes
    from coldtake.music.notation.reading.charts import Chart
    from coldtake.music.passage import Passage

PLAIN_BPM = 80.0  # where neither the exercise nor the page names a tempo


def sounding_changes(passage: Passage) -> Changes | None:
    """Return the chords of a page as they sound, None when it has none."""
    changes, _unread = changes_of(passage)
    if changes is None or not passage.transposition:
        return changes
    return changes.moved(usual_interval(passage.transposition))


def feels_of(passage: Passage) -> tuple[Feel, ...]:
    """Return the feels in which a page's chords can be accompanied, () without chords."""
    changes = sounding_changes(passage)
    return feels_for(changes) if changes else ()


def sound_score(passage: Passage, *, a4_hz: float, feel: str = "") -> dict[str, Any]:
    """Build the player's score. Raises InputError for a feel that the page cannot have."""
    key = passage.bars[0].key_fifths if passage.bars else 0
    mark = passage.tempi[0] if passage.tempi else None
    return {
        "title": passage.title,
        "notes": _notes(passage),
        "bars": bars_of(passage),
        "band": _band(passage, feel) if feel else [],
        "a4Hz": a4_hz,
        "marks": METRONOME_MARKS,
        "tunings": {name: deviations(name) for name in get_args(Tuning)},
        "tonic": (7 * key + passage.transposition) % 12,
        "bpm": mark.bpm if mark else PLAIN_BPM,
        "unit": beat_unit(passage),
    }


def changes_score(
    chart: Chart, *, a4_hz: float, feel: str = "", transposition: int = 0
) -> dict[str, Any]:
    """Build the player's score of a chart: bars and accompaniment, no written notes.

    transposition : semitones from what the chart's reader sees to what sounds
    """
    changes = chart.changes()
    if transposition:
        changes = changes.moved(usual_interval(transposition))
    length = float(chart.bar)
    bars = [
        {
            "label": str(index + 1),
            "measure": f"bar-{index}",
            "onset": place * length,
            "beats": length,
            "metre": chart.metre,
        }
        for place, index in enumerate(Unfolding(chart.bars).run())
    ]
    return {
        "title": chart.title,
        "notes": [],
        "bars": bars,
        "band": _notes_of_band(changes, feel) if feel else [],
        "a4Hz": a4_hz,
        "marks": METRONOME_MARKS,
        "tunings": {name: deviations(name) for name in get_args(Tuning)},
        "tonic": changes.key.tonic.pitch_class,
        "bpm": PLAIN_BPM,
        "unit": unit_of(chart.metre),
    }


def beat_unit(passage: Passage) -> float:
    """Return the quarters of one beat: as the tempo says, else three eighths in 6/8, 9/8, 12/8."""
    if passage.tempi:
        return passage.tempi[0].beat_unit_beats
    return unit_of(passage.bars[0].metre if passage.bars else (4, 4))


def unit_of(metre: tuple[int, int]) -> float:
    """Return the quarters of one beat of a metre."""
    beats, value = metre
    compound = value >= 8 and beats > 3 and beats % 3 == 0
    return 12 / value if compound else 4 / value


def deviations(name: Tuning) -> list[float]:
    """Return how far each semitone above the tonic lies from equal temperament, in cents."""
    return [round(cents_above(n, name) - n * CENTS_PER_SEMITONE, 4) for n in range(12)]


def _notes(passage: Passage) -> list[dict[str, Any]]:
    return [
        {
            "id": n.id,
            "heads": n.notation_ids,
            "onset": round(n.onset_beats, 6),
            "beats": round(n.duration_beats, 6),
            "pitch": n.pitch,
        }
        for n in passage.notes
    ]


def bars_of(passage: Passage) -> list[dict[str, Any]]:
    """Return the bars as played, each with the id of its measure on the page."""
    places = measure_ids(passage)
    return [
        {
            "label": bar.label,
            "measure": places[bar.index] if bar.index < len(places) else "",
            "onset": round(bar.onset_beats, 6),
            "beats": round(bar.length_beats, 6),
            "metre": bar.metre,
        }
        for bar in passage.bars
    ]


def _band(passage: Passage, feel: str) -> list[dict[str, Any]]:
    onsets = [Fraction(b.onset_beats).limit_denominator(96) for b in passage.bars]
    return _notes_of_band(sounding_changes(passage), feel, onsets)


def _notes_of_band(
    changes: Changes | None, feel: str, onsets: Sequence[Fraction] = ()
) -> list[dict[str, Any]]:
    if changes is None or feel not in {f.name for f in feels_for(changes)}:
        raise InputError(
            "This style does not work here.",
            where="accompaniment",
            remedy="Choose a style from the list. The notation needs chord symbols.",
        )
    return [
        {
            "part": n.part,
            "onset": round(n.onset_beats, 6),
            "beats": round(n.beats, 6),
            "pitch": n.pitch,
            "level": n.level,
        }
        for n in accompany(changes, feel, onsets)
    ]

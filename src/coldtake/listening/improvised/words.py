"""What a note is over its chord, in words."""

from collections.abc import Sequence

from coldtake.listening.improvised.measuring import EARLY_BEATS, HELD_BEATS, OnBeats, OverChord
from coldtake.music.theory.chord_names import printed

# Degrees above the root by semitones, named as on a lead sheet (common practice, no source).
DEGREES = ("root", "♭9", "9", "♭3", "3", "11", "♯11", "5", "♭13", "13", "♭7", "7")


def note_words(note: OnBeats, chords: Sequence[OverChord]) -> str:
    """Such as "3 of G7" or "♯11 of G7, outside G mixolydian"; empty outside the changes."""
    over = _under(note, chords)
    if over is None or over.place.root is None:
        return "" if over is None else f"over {printed(over.place.symbol)}"
    if not note.sure:
        return "its pitch is not clear"
    degree = DEGREES[(note.pitch - over.place.root) % 12]
    said = f"{degree} of {printed(over.place.symbol)}"
    if over.scale is None or note.pitch % 12 in over.scale.classes:
        return said
    return f"{said}, outside {printed(over.scale.name)}"


def _under(note: OnBeats, chords: Sequence[OverChord]) -> OverChord | None:
    """The chord that a note belongs to: the next one where it anticipates that."""
    for over in chords:
        place = over.place
        early = place.onset_beats - EARLY_BEATS <= note.onset < place.onset_beats
        if early and note.offset > place.onset_beats + HELD_BEATS:
            return over
        if place.onset_beats <= note.onset < place.end_beats and not _held_over(note, over):
            return over
    return None


def _held_over(note: OnBeats, over: OverChord) -> bool:
    end = over.place.end_beats
    return note.onset >= end - EARLY_BEATS and note.offset > end + HELD_BEATS

"""What a page may say: whatever lies outside was never music, and would be dangerous to believe.

The limits are ours, far outside of what is written for any instrument. Pitches are those that MIDI
can name; a transposing instrument sounds at most some three octaves from what it reads.
"""

from collections.abc import Iterable
from xml.etree.ElementTree import Element

from coldtake.errors import PassageError
from coldtake.music.passage import Passage, TempoMark

MOST_DEPTH = 100  # of elements within elements; notation needs some thirty
MOST_NOTES_IN_A_BAR = 2_000  # of one part; the engraver's time grows with their square
MOST_PASSES = 20_000  # that repeats ask for in all, as `unfold` allows bars
PITCHES = range(128)  # MIDI numbers, written and sounding
TRANSPOSITION_MOST = 48  # semitones
METRE_MOST = 256  # beats of a bar
METRE_UNITS = (1, 2, 4, 8, 16, 32, 64, 128)
FIFTHS_MOST = 14  # sharps or flats, double ones counted twice
BEATS_MOST = 1_000_000  # quarter notes of a whole passage
TEMPI = (1.0, 2_000.0)  # quarter notes per minute; a mark outside is passed over


def check_depth(root: Element, what: str) -> None:
    """Raise PassageError for elements within elements without end."""
    level = [root]
    for _ in range(MOST_DEPTH):
        level = [inner for element in level for inner in element]
        if not level:
            return
    raise PassageError(
        f"the {what} is broken: its elements are nested more than {MOST_DEPTH} deep.",
        where=f"<{str(level[0].tag)[:40]}>",
        remedy="Export the file again.",
    )


def check_measures(measures: Iterable[Element]) -> None:
    """Raise PassageError for MusicXML that would keep the engraver busy for minutes."""
    passes = 0
    for measure in measures:
        notes = sum(element.tag == "note" for element in measure)
        if notes > MOST_NOTES_IN_A_BAR:
            raise crowded(notes, measure.get("number", "?"))
        passes += sum(_times(element) for element in measure.iter("repeat"))
        if passes > MOST_PASSES:
            raise PassageError(
                f"the repeats are to be played more than {MOST_PASSES} times.",
                where=f"bar {measure.get('number', '?')[:20]}",
                remedy="Check the repeat signs, or use a shorter passage.",
            )


def crowded(notes: int, bar: str) -> PassageError:
    """The refusal of a bar with too many notes."""
    return PassageError(
        f"this bar has {notes} notes; up to {MOST_NOTES_IN_A_BAR} can be drawn.",
        where=f"bar {bar[:20]}",
        remedy="Set bar lines, or use a shorter passage.",
    )


def _times(repeat: Element) -> int:
    text = repeat.get("times", "")
    return min(int(text), MOST_PASSES + 1) if text.isdecimal() and len(text) < 20 else len(text)


def possible(mark: TempoMark | None) -> TempoMark | None:
    """A tempo mark that can be meant; None for another."""
    return mark if mark is not None and TEMPI[0] <= mark.bpm <= TEMPI[1] else None


def checked(passage: Passage) -> Passage:
    """The passage itself; raises PassageError with the place of what cannot be."""
    if abs(passage.transposition) > TRANSPOSITION_MOST:
        raise PassageError(
            f"it is to sound {passage.transposition:,} semitones from where it is written; "
            f"up to {TRANSPOSITION_MOST} can be.",
            where="transposition",
            remedy="Correct the transposition of the part.",
        )
    for note in passage.notes:
        if note.pitch not in PITCHES or note.written_pitch not in PITCHES:
            raise PassageError(
                f"the note {note.name[:20]} lies outside of what can be heard.",
                where=f"bar {note.bar[:20]}",
                remedy="Correct its octave, or the transposition of the part.",
            )
    for bar in passage.bars:
        _check_signature(bar.metre, bar.key_fifths, bar.label)
    if passage.length_beats > BEATS_MOST:
        raise PassageError(
            f"it is longer than {BEATS_MOST:,} quarter notes.",
            remedy="Check the lengths of its notes, or use only the bars you need.",
        )
    return passage


def _check_signature(metre: tuple[int, int], fifths: int, bar: str) -> None:
    if not 0 < metre[0] <= METRE_MOST or metre[1] not in METRE_UNITS:
        raise PassageError(
            f"{metre[0]}/{metre[1]} is not a metre.", where=f"bar {bar[:20]}", remedy="Correct it."
        )
    if abs(fifths) > FIFTHS_MOST:
        raise PassageError(
            f"a key cannot have {abs(fifths)} {'sharps' if fifths > 0 else 'flats'}.",
            where=f"bar {bar[:20]}",
            remedy=f"Use at most {FIFTHS_MOST}.",
        )

"""A take's whole impression in one line, from where it stopped, went back or was uneven.

No mark out of ten: it says where to look. The limits are guesses.
"""

from collections.abc import Callable, Sequence
from statistics import median

from coldtake.domain.take import NoteStatus, Stumble, StumbleKind, Verdict

LEAST_CONFIDENCE = 0.5  # a stumble less sure than this is not spoken of here
FEWEST_NOTES = 8  # from which evenness is spoken of at all
UNEVEN_MS, UNEVEN_SHARE = 45.0, 0.12  # half of the notes farther off than this, also of the beat
MOST_NAMED = 6  # bars


def impression(verdict: Verdict, bar_of: Callable[[str], str]) -> str:
    """Say how steadily a take went, or nothing where no tempo was heard.

    bar_of : a note's id to the label of its bar
    """
    if verdict.tempo_bpm is None or not verdict.tempo_curve:
        return ""
    bars = list(dict.fromkeys(bar_of(s.note_id) for s in clear(verdict.stumbles)))
    off_ms = _usually_off_ms(verdict)
    if off_ms is not None and off_ms > max(UNEVEN_MS, UNEVEN_SHARE * 6e4 / verdict.tempo_bpm):
        return f"Uneven: half of the notes are {off_ms:.0f} ms or more from an even tempo."
    if not bars:
        return "Steady." if off_ms is not None else ""
    if len(bars) > MOST_NAMED:
        return f"Stops or uneven timing in {len(bars)} bars."
    named = bars[0] if len(bars) == 1 else f"{', '.join(bars[:-1])} and {bars[-1]}"
    return f"Steady but for bar{'' if len(bars) == 1 else 's'} {named}."


def clear(stumbles: Sequence[Stumble]) -> list[Stumble]:
    """Those that are more likely than not."""
    return [s for s in stumbles if s.confidence >= LEAST_CONFIDENCE]


def _usually_off_ms(verdict: Verdict) -> float | None:
    off = [
        abs(n.deviation_ms)
        for n in verdict.notes
        if n.status is NoteStatus.RIGHT and n.deviation_ms is not None
    ]
    return median(off) if len(off) >= FEWEST_NOTES else None


def stumble_words(stumble: Stumble) -> str:
    """Say what happened at a place."""
    match stumble.kind:
        case StumbleKind.HESITATION:
            length = stumble.length_beats or 0.0
            return f"stop of {length:.1f} beats before this note"
        case StumbleKind.RESTART:
            return "went back to this note"
        case StumbleKind.REPEATED:
            return "repeated from this note"
        case StumbleKind.UNEVEN:
            return f"uneven bar: notes vary by {stumble.scatter_ms or 0.0:.0f} ms"

"""Tones too many that play the last notes once more are a beat repeated, no extra notes.

Both readings explain the sound; nobody plays the right pitches again by chance. One tone alone may
as well be an extra note or a note struck twice, and stays an extra.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from coldtake.domain.take import NoteEvidence, Restart
from coldtake.listening.verdict.evidence import Evidence

FEWEST = 2  # tones
SAME = 0.6  # semitones


def with_repeated_beats(evidence: Evidence) -> Evidence:
    """Return the evidence with such runs of extras as places to which play went back."""
    if len(evidence.extras) < FEWEST:
        return evidence
    gone: set[str] = set()
    restarts = list(evidence.restarts)
    for run, before in _runs(evidence):
        again = before[-len(run) :]
        if len(run) < FEWEST or len(again) < len(run) or not all(map(_same, run, again)):
            continue
        gone |= {e.id for e in run}
        restarts.append(
            Restart(
                at_s=run[0].onset_s or 0.0,
                to_beat=again[0].expected_beat or 0.0,
                from_beat=_next_beat(evidence, again[-1]),
            )
        )
    return replace(
        evidence,
        extras=tuple(e for e in evidence.extras if e.id not in gone),
        restarts=tuple(sorted(restarts, key=lambda r: r.at_s)),
    )


def _runs(evidence: Evidence) -> Iterator[tuple[list[NoteEvidence], list[NoteEvidence]]]:
    """Extras between two notes that were heard, and the notes heard before them, in order."""
    heard = sorted(
        (n for n in evidence.notes if n.onset_s is not None), key=lambda n: n.onset_s or 0.0
    )
    extras = sorted(evidence.extras, key=lambda e: e.onset_s or 0.0)
    for k, note in enumerate(heard):
        start = note.onset_s or 0.0
        stop = heard[k + 1].onset_s or 0.0 if k + 1 < len(heard) else float("inf")
        run = [e for e in extras if start < (e.onset_s or 0.0) < stop]
        if run:
            yield run, heard[: k + 1]


def _same(extra: NoteEvidence, note: NoteEvidence) -> bool:
    if extra.pitch is None or note.pitch is None:
        return False
    return abs(extra.pitch - note.pitch) < SAME


def _next_beat(evidence: Evidence, note: NoteEvidence) -> float | None:
    """Where the note after one begins: so far play had come."""
    beat = note.expected_beat or 0.0
    later: Sequence[float] = [
        n.expected_beat for n in evidence.notes if (n.expected_beat or 0.0) > beat + 1e-6
        and n.expected_beat is not None
    ]  # fmt: skip
    return min(later, default=None)

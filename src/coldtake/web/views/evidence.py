"""A verdict's evidence as marks on the notation, rows of a table, and places in the sound."""

from collections.abc import Sequence
from dataclasses import dataclass

from coldtake.domain.take import Figure, NoteEvidence, NoteStatus, Verdict
from coldtake.listening.verdict.impression import clear, impression, stumble_words
from coldtake.messages.formats import number
from coldtake.music.notation.engraving.marks import ExtraMark, MarkKind, NoteMark
from coldtake.music.passage import Passage

OUTSIDE = ", outside "  # in the words of an improvised note
SURE = 0.5  # below this confidence a note is marked as one that cannot be told
LEAST_SPAN = 0.2  # a scale spans at least this share of its threshold, so that small stays small
_ONE = {"beats": "beat", "notes": "note", "choruses": "chorus"}
LEAD_S = 0.15  # playing from a note begins this much before it


@dataclass(frozen=True, slots=True)
class NoteRow:
    """One note: as written, what became of it, and where it is in the sound."""

    evidence: NoteEvidence
    name: str
    bar: str
    kind: MarkKind
    words: str
    seek_s: float | None
    notation_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StumbleRow:
    """Where play did not go on evenly: bar, note, what, how sure (of 100), and when [s]."""

    bar: str
    name: str
    words: str
    chance: int
    at_s: float
    notation_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LimitScale:
    """One figure against its limits on a line of 0..100 %; None where nothing was measured."""

    limits: tuple[float, ...]
    value: float | None
    low: float | None
    high: float | None


def kind_of(note: NoteEvidence) -> MarkKind:
    """Return the mark that says what became of a note; only what is sure is an accusation."""
    if note.status is NoteStatus.EXTRA or _is_outside(note):
        return "extra"
    if note.confidence < SURE:
        return "unsure"
    if note.status is NoteStatus.RIGHT and note.displaced:
        return "late" if (note.deviation_ms or 0.0) > 0 else "early"
    kinds: dict[NoteStatus, MarkKind] = {
        NoteStatus.RIGHT: "right",
        NoteStatus.WRONG: "wrong",
        NoteStatus.MISSED: "missed",
        NoteStatus.PLAYED: "right",
    }
    return kinds[note.status]


def _is_outside(note: NoteEvidence) -> bool:
    """Whether an improvised note lies outside the scale of its chord."""
    return note.status is NoteStatus.PLAYED and OUTSIDE in note.words


FAULTS: frozenset[MarkKind] = frozenset({"wrong", "missed", "extra", "early", "late"})
KIND_WORDS: dict[MarkKind, str] = {
    "right": "right",
    "wrong": "wrong pitch",
    "missed": "missed",
    "extra": "extra",
    "early": "early",
    "late": "late",
    "stop": "stop or uneven bar",
    "unsure": "cannot tell",
}


def rows_of(verdict: Verdict, passage: Passage) -> tuple[NoteRow, ...]:
    """List the notes in the order in which they were to sound; extras where they were heard."""
    written = {n.id: n for n in passage.notes}
    rows = []
    for note in verdict.notes:
        known = written.get(note.id)
        kind = kind_of(note)
        rows.append(
            NoteRow(
                evidence=note,
                name=known.name if known else _name(note, passage),
                bar=known.bar if known else _bar(note, passage),
                kind=kind,
                words=note.words or KIND_WORDS[kind],
                seek_s=None if note.onset_s is None else max(note.onset_s - LEAD_S, 0.0),
                notation_ids=known.notation_ids if known else (),
            )
        )
    return tuple(sorted(rows, key=lambda r: (beat_of(r.evidence, verdict.notes), r.name == "")))


def _name(note: NoteEvidence, passage: Passage) -> str:
    """An improvised note as the player reads it."""
    if note.status is not NoteStatus.PLAYED or note.pitch is None:
        return "not written"
    return passage.name_as_read(note.pitch)


def _bar(note: NoteEvidence, passage: Passage) -> str:
    """The bar of the form over which an improvised note begins."""
    beat, form = note.expected_beat, passage.length_beats
    if note.status is not NoteStatus.PLAYED or beat is None or beat < 0 or not form:
        return ""
    starts = [b for b in passage.bars if b.onset_beats <= beat % form]
    return starts[-1].label if starts else ""


def beat_of(note: NoteEvidence, notes: Sequence[NoteEvidence]) -> float:
    """Return where a note belongs in the passage; an extra one by the notes heard around it."""
    if note.expected_beat is not None:
        return note.expected_beat
    heard = sorted(
        (n.onset_s, n.expected_beat)
        for n in notes
        if n.onset_s is not None and n.expected_beat is not None
    )
    if not heard or note.onset_s is None:
        return 0.0
    seconds, beats = zip(*heard, strict=True)
    import numpy as np  # a quarter of a second that no other page needs at start

    return float(np.interp(note.onset_s, seconds, beats))


def note_marks(verdict: Verdict) -> dict[str, NoteMark]:
    """Return the marks of the written notes, by note id; a stop is marked on a right note."""
    marks = {
        n.id: NoteMark(kind=kind_of(n), words=n.words or KIND_WORDS[kind_of(n)])
        for n in verdict.notes
        if n.status is not NoteStatus.EXTRA
    }
    for stumble in clear(verdict.stumbles):
        mark = marks.get(stumble.note_id)
        if mark is not None and mark.kind == "right":
            marks[stumble.note_id] = NoteMark(kind="stop", words=stumble_words(stumble))
    return marks


def stumble_rows(verdict: Verdict, passage: Passage) -> tuple[StumbleRow, ...]:
    """List where play did not go on evenly, in order of time."""
    written = {n.id: n for n in passage.notes}
    return tuple(
        StumbleRow(
            bar=note.bar, name=note.name, words=stumble_words(stumble),
            chance=round(100 * min(max(stumble.confidence, 0.01), 0.99)),
            at_s=max(stumble.at_s, 0.0), notation_ids=note.notation_ids,
        )
        for stumble in verdict.stumbles
        if (note := written.get(stumble.note_id)) is not None
    )  # fmt: skip


def impression_of(verdict: Verdict, passage: Passage) -> str:
    """Say a take's whole impression in one line."""
    bars = {n.id: n.bar for n in passage.notes}
    return impression(verdict, lambda note_id: bars.get(note_id, ""))


def extra_marks(verdict: Verdict) -> tuple[ExtraMark, ...]:
    """Return the notes that were played but are not written, at their beats."""
    return tuple(
        ExtraMark(
            beat=beat_of(n, verdict.notes),
            words=n.words or "extra",
            pitch=None if n.pitch is None else round(n.pitch),
        )
        for n in verdict.notes
        if n.status is NoteStatus.EXTRA
    )


def limits_of(figure: Figure) -> tuple[float, ...]:
    """Return the limits that a figure is held against: one, or both ends of a range."""
    if figure.least is not None and figure.most is not None:
        return figure.least, figure.most
    return (figure.threshold,)


def limit_words(figure: Figure) -> str:
    """Say what was allowed: “from 46 to 54”; of a single limit the limit."""
    limits = limits_of(figure)
    if len(limits) == 2:
        return f"Allowed: {number(limits[0])} to {number(limits[1])} {figure.unit}"
    if figure.name == "tempo":  # of an older verdict it is not known whether it had a range
        return f"Target: {number(figure.threshold)} {figure.unit}"
    unit = _ONE.get(figure.unit, figure.unit) if figure.threshold == 1.0 else figure.unit
    return f"Allowed: {number(figure.threshold)} {unit}"


def scale_of(figure: Figure) -> LimitScale:
    """Put a figure and its limits on one line with some room on both sides."""
    value, spread = figure.value, figure.uncertainty or 0.0
    limits = limits_of(figure)
    points = [*limits] if value is None else [*limits, value]
    low = min(*(p - spread for p in points), points[0])
    high = max(*(p + spread for p in points), points[0])
    least = LEAST_SPAN * abs(figure.threshold)
    room = max((high - low) * 0.2, (least - (high - low)) / 2) or 1.0

    def at(point: float) -> float:
        return round(100 * (point - low + room) / (high - low + 2 * room), 2)

    marks = tuple(map(at, limits))
    if value is None:
        return LimitScale(marks, None, None, None)
    return LimitScale(marks, at(value), at(value - spread), at(value + spread))

"""The takes of some topics as a list, and two takes of one passage side by side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from coldtake.domain.take import Answer, Judge, NoteStatus, Take, Try, Verdict
from coldtake.messages.catalogue import marked

if TYPE_CHECKING:
    from datetime import date

    from coldtake.domain.history.state import State
    from coldtake.domain.topic import Step, Topic
    from coldtake.music.passage import Passage

UNJUDGED = "none"
ANSWERS = {
    "yes": marked("yes"),
    "no": marked("no"),
    "cannot_tell": marked("cannot tell"),
    UNJUDGED: marked("no answer yet"),
}
_QUIETEST = 0.1  # of full volume; a take more than 20 dB louder than the other stays louder
_TOGETHER_S = 0.02  # anchors nearer than this would make the way between them leap


@dataclass(frozen=True, slots=True)
class TakeRow:
    """One take, its step, and the answer that counts: the player's, else the tool's."""

    take: Take
    step: Step
    topic: Topic
    answer: Answer | None


def rows_of(state: State, topic_ids: Iterable[str], answer: str, *, cold: bool) -> list[TakeRow]:
    """List the takes of some topics, newest first. answer : a key of `ANSWERS`, or none for all."""
    rows = []
    for step in (step for topic_id in topic_ids for step in state.topic_steps(topic_id)):
        past, topic = state.past(step.id), state.topics[step.topic_id]
        tries = {attempt.id: attempt for attempt in past.tries}
        rows += [TakeRow(t, step, topic, answer_of(t, tries.get(t.id))) for t in past.takes]
    wanted = [r for r in rows if (not answer or _key(r) == answer) and (r.take.cold or not cold)]
    return sorted(wanted, key=lambda r: r.take.at, reverse=True)


def _key(row: TakeRow) -> str:
    return str(row.answer) if row.answer else UNJUDGED


def answer_of(take: Take, known: Try | None) -> Answer | None:
    """Return the answer of a take that counts. known : the try that it was, where one is kept."""
    if known and known.judge is Judge.PLAYER:
        return known.answer
    return take.verdict.answer if take.verdict else None


def first_and_last(takes: Iterable[Take], today: date) -> tuple[Take, Take] | None:
    """Return the first and the last take of a step within the last 31 days, None without two."""
    recent = sorted((t for t in takes if (today - t.day).days <= 31), key=lambda t: t.at)
    return (recent[0], recent[-1]) if len(recent) > 1 else None


def volumes(levels: tuple[float, float]) -> tuple[float, float]:
    """Return how loud to play two sounds so that they are equally loud: the softer one in full."""
    softest = min(levels)
    if softest <= 0:
        return (1.0, 1.0)
    first, second = (max(softest / level, _QUIETEST) for level in levels)
    return (first, second)


@dataclass(frozen=True, slots=True)
class SharedBar:
    """A bar as printed, and where it begins in both sounds, in seconds."""

    label: str
    at_s: tuple[float, float]


def shared_bars(passage: Passage, verdicts: tuple[Verdict, Verdict]) -> tuple[SharedBar, ...]:
    """Return the bars of which a note was heard in both takes, at the first such note."""
    heard = tuple(_onsets(v) for v in verdicts)
    found: dict[int, SharedBar] = {}
    for note in passage.notes:
        if note.bar_index not in found and all(note.id in onsets for onsets in heard):
            at_s = (heard[0][note.id], heard[1][note.id])
            found[note.bar_index] = SharedBar(note.bar, at_s)
    return tuple(found[i] for i in sorted(found))


def anchors(passage: Passage, verdicts: tuple[Verdict, Verdict]) -> tuple[tuple[float, float], ...]:
    """Return pairs of seconds at which both takes are at the same note, both rising."""
    first, second = (_onsets(v) for v in verdicts)
    pairs = sorted(
        (first[n.id], second[n.id]) for n in passage.notes if n.id in first.keys() & second
    )
    rising: list[tuple[float, float]] = []
    for a, b in pairs:
        if not rising or min(a - rising[-1][0], b - rising[-1][1]) > _TOGETHER_S:
            rising.append((round(a, 3), round(b, 3)))
    return tuple(rising)


def _onsets(verdict: Verdict) -> Mapping[str, float]:
    """Where each written note begins that was heard as itself or as another pitch."""
    played = (NoteStatus.RIGHT, NoteStatus.WRONG)
    return {n.id: n.onset_s for n in verdict.notes if n.onset_s is not None and n.status in played}

"""`coldtake listen`: one take against one passage. Needs no data folder."""

from argparse import Namespace
from pathlib import Path
from typing import Any

import msgspec

from coldtake.cli.opened import file_bytes, print_json
from coldtake.domain.take import Answer, Figure, NoteEvidence, NoteStatus, Verdict
from coldtake.errors import InputError, PassageError
from coldtake.listening.verdict.impression import clear, stumble_words

STATUS = {Answer.YES: 0, Answer.NO: 1, Answer.CANNOT_TELL: 3}
WORDS = {Answer.YES: "yes", Answer.NO: "no", Answer.CANNOT_TELL: "cannot tell"}
PASSAGE_MOST_BYTES = 32 * 1024 * 1024


def run(arguments: Namespace) -> int:
    """Judge the take, print the verdict, return its exit status."""
    from coldtake.domain.criterion import default_criterion
    from coldtake.listening.dispatch import judge_take
    from coldtake.listening.judging_request import JudgingRequest
    from coldtake.music.notation.reading.excerpt import select_bars
    from coldtake.music.notation.reading.reader import read_passage, unpack

    notation = Path(arguments.passage)
    too_large = InputError(
        "This file is too large for a passage.", where=notation.name, remedy="Use one part."
    )
    data = file_bytes(notation, PASSAGE_MOST_BYTES, lambda _: too_large)
    form, text = unpack(data, notation.name)
    first, last = arguments.bars or (None, None)
    try:
        passage = select_bars(read_passage(text, form), first, last)
    except PassageError as fault:
        raise _placed(fault, notation.name) from fault
    criterion = default_criterion(
        arguments.tempo, choruses=arguments.choruses, rhythm_only=arguments.rhythm
    )
    asked = JudgingRequest(passage, criterion, click_bpm=arguments.click, tempo_bpm=arguments.tempo)
    verdict = judge_take(Path(arguments.take), asked)
    if arguments.json:
        print_json(as_json(verdict))
    else:
        print("\n".join(lines_of(verdict)))
    return STATUS[verdict.answer]


def as_json(verdict: Verdict) -> dict[str, Any]:
    """Return the verdict in the form that is promised to other programmes."""
    return {
        "verdict": WORDS[verdict.answer],
        "reason": verdict.reason,
        "remedy": verdict.remedy,
        "tempo_bpm": verdict.tempo_bpm,
        "tuning_cents": verdict.tuning_cents,
        "tests": [_figure(figure) for figure in verdict.tests],
        "notes": [_note(note) for note in verdict.notes],
        "restarts": [{"at_s": r.at_s, "to_beat": r.to_beat} for r in verdict.restarts],
        "abstained": list(verdict.abstained),
        "stumbles": msgspec.to_builtins(verdict.stumbles),
        "engine": verdict.engine,
        "chords": msgspec.to_builtins(verdict.chords),
    }


def lines_of(verdict: Verdict) -> list[str]:
    """Write the verdict for reading: the answer, the tests, and every note that was not right."""
    answer = WORDS[verdict.answer].capitalize()
    said = f"{verdict.reason} {verdict.remedy}".strip()
    head = said if said.startswith(answer) else f"{answer}: {said}"
    tests = [f"  {_test_words(figure)}" for figure in verdict.tests]
    notes = [
        f"  {note.id}: {note.status.value}{f', {note.words}' if note.words else ''}"
        for note in verdict.notes
        if note.status is not NoteStatus.RIGHT
    ]
    stumbles = [f"  {s.note_id}: {stumble_words(s)}" for s in clear(verdict.stumbles)]
    return [head, *tests, *notes, *stumbles]


def _test_words(figure: Figure) -> str:
    answer = {True: "yes", False: "no", None: "cannot tell"}[figure.passed]
    if figure.value is None:
        return f"{figure.name}: {answer}"
    spread = f" ± {figure.uncertainty:.3g}" if figure.uncertainty else ""
    return (
        f"{figure.name}: {answer} "
        f"({figure.value:.4g}{spread} {figure.unit}, asked {figure.threshold:g})"
    )


def _figure(figure: Figure) -> dict[str, Any]:
    return {
        "name": figure.name,
        "value": figure.value,
        "uncertainty": figure.uncertainty,
        "threshold": figure.threshold,
        "unit": figure.unit,
        "passed": figure.passed,
        "words": figure.words,
        "measured": figure.measured,
    }


def _note(note: NoteEvidence) -> dict[str, Any]:
    return {
        "id": note.id,
        "expected_pitch": note.expected_pitch,
        "expected_beat": note.expected_beat,
        "status": note.status.value,
        "onset_s": note.onset_s,
        "offset_s": note.offset_s,
        "pitch": note.pitch,
        "cents": note.cents,
        "deviation_ms": note.deviation_ms,
        "displaced": note.displaced,
        "mistuned": note.mistuned,
        "confidence": note.confidence,
    }


def _placed(fault: PassageError, name: str) -> PassageError:
    where = f"{name}, {fault.where}" if fault.where else name
    return PassageError(fault.what, where=where, remedy=fault.remedy)

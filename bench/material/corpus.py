"""Read every ABC tune and MusicXML file of music21's corpus, and compare the notes.

    PYTHONPATH=src python bench/material/corpus.py read     [--out FILE]   our reading, its time
    PYTHONPATH=src python bench/material/corpus.py compare  [--out FILE] [--minutes M]
    PYTHONPATH=src python bench/material/corpus.py explain  [--out FILE]   why notes differ
    PYTHONPATH=src python bench/material/corpus.py table    [--out FILE]

Lines of JSON go to FILE; a second call goes on where the first stopped. `compare` takes the pieces
in an order shuffled once, so that a part of them is a fair sample. Notes are compared as they stand
on the page, bar by bar where both readers see the same bars, otherwise all together: MIDI numbers
of every notehead as written, grace notes left out in ABC, cue notes and unpitched ones in MusicXML.
"""

import argparse
import contextlib
import io
import json
import random
import re
import sys
import time
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from coldtake.errors import PassageError
from coldtake.music.abc.book import tunes_in
from coldtake.music.abc.read import read_tune
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.notation.reading.score import Score
from coldtake.music.notation.reading.unpacking import unpack
from coldtake.music.theory import spelling

XML = (".xml", ".mxl", ".musicxml")
OUT = Path("/tmp/coldtake-corpus.jsonl")
Bars = list[Counter]


def files() -> list[Path]:
    from music21.corpus.corpora import CoreCorpus

    return sorted(p for p in CoreCorpus().getPaths() if p.suffix in (".abc", *XML))


def pieces(path: Path) -> Iterator[tuple[str, str, str]]:
    """Name, format and text of every piece in a file. Raises PassageError."""
    form, text = unpack(path.read_bytes(), path.name)
    name = "/".join(path.parts[path.parts.index("corpus") + 1 :])
    if form != "abc":
        yield name, form, text
        return
    for tune in tunes_in(text):
        yield f"{name}#{tune.number}@{tune.line}", form, tune.text


def our_bars(form: str, text: str) -> Bars:
    """Written MIDI numbers of the noteheads, bar by bar."""
    if form == "abc":
        return _abc_bars(text)
    score = Score(read_passage.__wrapped__(text, form).mei)
    return [Counter(n.sounding for n in c.notes) for c in score.contents]


def _abc_bars(text: str) -> Bars:
    found: Bars = []
    for voice in read_tune(text).voices:
        for index, bar in enumerate(voice.bars):
            while len(found) <= index:
                found.append(Counter())
            for layer in bar.layers:
                for event in layer:
                    for head in () if event.grace else event.heads:
                        found[index][spelling.midi(head.step, head.octave, head.alter)] += 1
    return found


def their_bars(form: str, text: str, *, attacks: bool = False) -> Bars:
    """The same from music21; attacks: without the later notes of a tied chain."""
    from music21 import converter

    with warnings.catch_warnings(), contextlib.redirect_stderr(io.StringIO()):
        warnings.simplefilter("ignore")
        score = converter.parseData(text, format=form)
    found: Bars = []
    for part in score.parts or [score]:
        measures = list(part.getElementsByClass("Measure")) or [part]
        for index, measure in enumerate(measures):
            while len(found) <= index:
                found.append(Counter())
            found[index].update(_their_notes(measure, form, attacks=attacks))
    return found


def _their_notes(measure, form: str, *, attacks: bool) -> Iterator[int]:
    for note in measure.recurse().notes:
        if "ChordSymbol" in note.classes or not hasattr(note, "pitches"):
            continue
        cue = note.hasStyleInformation and note.style.noteSize == "cue"
        if attacks and note.tie is not None and note.tie.type in ("stop", "continue"):
            continue
        if (form == "abc" and note.duration.isGrace) or cue or "PercussionChord" in note.classes:
            continue
        yield from (round(p.ps - 1e-9) for p in note.pitches)


def judged(ours: Bars, theirs: Bars) -> str:
    """ "same" by bars, "same notes" without bars, or what differs."""
    mine, other = [b for b in ours if b], [b for b in theirs if b]
    if mine == other:
        return "same"
    a, b = sum(mine, Counter()), sum(other, Counter())
    if a == b:
        return "same notes"
    only, missing = sum((a - b).values()), sum((b - a).values())
    return f"differs: {only} only here, {missing} only in music21, of {sum(b.values())}"


def read_all(out: Path) -> None:
    done = _done(out)
    with out.open("a") as lines:
        for path in files():
            start = time.process_time()
            try:
                every = list(pieces(path))
            except PassageError as fault:
                every = []
                _say(lines, {"name": path.name, "kind": path.suffix, "refused": str(fault)})
            for name, form, text in every:
                if name in done:
                    continue
                start = time.perf_counter()
                record = {"name": name, "kind": form, "bytes": len(text)}
                try:
                    passage = read_passage.__wrapped__(text, form)
                    record |= {"notes": len(passage.notes), "bars": len(passage.bars)}
                except PassageError as fault:
                    record["refused"] = str(fault)
                record["seconds"] = round(time.perf_counter() - start, 3)
                _say(lines, record)


def compare_all(out: Path, minutes: float) -> None:
    done = _done(out)
    every = [(p, i) for p in files() for i in [p.suffix == ".abc"]]
    end = time.monotonic() + 60 * minutes
    todo: list[tuple[str, str, str]] = []
    for path, _ in every:
        with contextlib.suppress(PassageError):
            todo += list(pieces(path))
    random.Random(5).shuffle(todo)
    todo.sort(key=lambda piece: piece[1] == "abc")  # scores first, each kind shuffled
    with out.open("a") as lines:
        for name, form, text in todo:
            if name in done or time.monotonic() > end:
                continue
            _say(lines, _compared(name, form, text))


def _compared(name: str, form: str, text: str) -> dict[str, object]:
    record: dict[str, object] = {"name": name, "kind": form, "bytes": len(text)}
    start = time.process_time()
    try:
        ours = our_bars(form, text)
    except PassageError as fault:
        return record | {"refused": str(fault)}
    start = time.process_time()
    try:
        theirs = their_bars(form, text)
    except Exception as fault:  # noqa: BLE001 - whatever another reader raises
        return record | {
            "verdict": "music21 fails",
            "why": f"{type(fault).__name__}: {fault}"[:200],
        }
    return record | {
        "verdict": judged(ours, theirs),
        "their_s": round(time.process_time() - start, 2),
    }


def explain_all(out: Path) -> None:
    """Ask again where notes differ, and say why; the older line of a piece counts no more."""
    records = {r["name"]: r for r in map(json.loads, out.read_text().splitlines())}
    wanted = {
        n
        for n, r in records.items()
        if str(r.get("verdict")).startswith("differs") and "why" not in r
    }
    names = {n.partition("#")[0] for n in wanted}
    with out.open("a") as lines:
        for path in files():
            if "/".join(path.parts[path.parts.index("corpus") + 1 :]) not in names:
                continue
            for name, form, text in pieces(path):
                if name in wanted:
                    record = _compared(name, form, text)
                    if str(record.get("verdict")).startswith("differs"):
                        record["why"] = why(form, text)
                    _say(lines, record)


def why(form: str, text: str) -> str:
    """What another reading of ours would have to do to get music21's notes."""
    theirs = sum(their_bars(form, text), Counter())
    if form != "abc":
        return "look"
    for way in ("octave", "not"):
        said = f"%%propagate-accidentals {way}\n{text}"
        if sum(our_bars(form, said), Counter()) == theirs:
            return f"an accidental in a bar holds for: {way}"
    ours = sum(our_bars(form, text), Counter())
    for octaves in (-2, -1, 1, 2):
        if Counter({p + 12 * octaves: n for p, n in ours.items()}) == theirs:
            return "the clef moves the notes by octaves"
    if sum(their_bars(form, text, attacks=True), Counter()) == _attacks(text):
        return "a note longer than its bar is split"
    if not ours - theirs:
        return "music21 has more noteheads"
    return "music21 has fewer noteheads" if not theirs - ours else "look"


def _attacks(text: str) -> Counter:
    """Notes as they sound: a tied chain once."""
    return Counter(n.written_pitch for n in _written_once(text))


def _written_once(text: str):
    seen = set()
    for note in read_passage.__wrapped__(text, "abc").notes:
        if not note.grace and note.notation_ids not in seen:
            seen.add(note.notation_ids)
            yield note


def _done(out: Path) -> set[str]:
    if not out.exists():
        return set()
    return {json.loads(line)["name"] for line in out.read_text().splitlines()}


def _say(lines, record: dict[str, object]) -> None:
    lines.write(json.dumps(record) + "\n")
    lines.flush()


def table(out: Path) -> None:
    """Counts of a file of lines."""
    records = list({r["name"]: r for r in map(json.loads, out.read_text().splitlines())}.values())
    for kind in sorted({r["kind"] for r in records}):
        own = [r for r in records if r["kind"] == kind]
        verdicts = Counter(
            "refused" if "refused" in r else str(r.get("verdict", "read")).split(":")[0]
            for r in own
        )
        print(f"{kind}: {len(own)} pieces, {dict(verdicts)}")
        reasons = Counter(
            re.sub(r"^.*?: |“.*?”|\d+", "", r["refused"]) for r in own if "refused" in r
        )
        for reason, count in reasons.most_common():
            print(f"  {count} refused: {reason}")
        reasons = Counter(r["why"] for r in own if "why" in r and "verdict" in r)
        for reason, count in reasons.most_common():
            print(f"  {count} differ or fail: {reason}")
        timed = [r for r in own if "seconds" in r]
        if timed:
            largest = max(timed, key=lambda r: r["bytes"])
            print(f"  largest: {largest}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("read", "compare", "explain", "table"))
    parser.add_argument("--out", type=Path)
    parser.add_argument("--minutes", type=float, default=600.0)
    asked = parser.parse_args()
    out = asked.out or OUT.with_suffix(f".{asked.what}.jsonl")
    {"read": read_all, "explain": explain_all, "table": table}.get(
        asked.what, lambda o: compare_all(o, asked.minutes)
    )(out)


if __name__ == "__main__":
    sys.exit(main())

"""What our own readers bring beside verovio's: noteheads against music21, on the same pieces.

    PYTHONPATH=src python experiments/own_readers.py [TUNES] [SCORES]

A fair sample of music21's corpus (seed 7). ABC: verovio's own reader against ours, also how long a
tune with endings is as played. MusicXML: verovio given the file as it is, against verovio with what
we prepare before and state after. The numbers are in docs/decisions/own-readers.md.
"""

import contextlib
import random
import re
import sys
from collections import Counter
from pathlib import Path

import verovio

sys.path.insert(0, str(Path(__file__).parents[1] / "bench" / "material"))
from corpus import files, judged, our_bars, pieces, their_bars

from coldtake.errors import PassageError
from coldtake.music.abc.write import abc_to_mei
from coldtake.music.notation.reading.score import Score

SAME_BEATS = 0.01


def through_verovio(form: str, text: str) -> list[Counter]:
    toolkit = verovio.toolkit()
    toolkit.setOptions({"inputFrom": {"musicxml": "xml"}.get(form, form)})
    if not toolkit.loadData(text):
        raise PassageError("verovio refused it.")
    score = Score(toolkit.getMEI())
    return [Counter(n.sounding for n in c.notes if not n.grace) for c in score.contents]


def verdict(read, form: str, text: str, theirs: list[Counter]) -> str:
    try:
        return judged(read(form, text), theirs).partition(":")[0]
    except (PassageError, ValueError, KeyError, IndexError, AttributeError, TypeError) as fault:
        return "refused" if isinstance(fault, PassageError) else "broke"


def study(kind: str, many: int) -> None:
    paths = [p for p in files() if (p.suffix == ".abc") == (kind == "abc")]
    random.Random(7).shuffle(paths)
    told = {"ours": Counter(), "verovio": Counter()}
    count = 0
    for path in paths:
        if count >= many:
            break
        try:
            every = list(pieces(path))
        except PassageError:
            continue
        random.Random(7).shuffle(every)
        for _name, form, text in every[:3]:
            try:
                theirs = their_bars(form, text)
            except Exception:  # noqa: BLE001
                continue
            count += 1
            told["ours"][verdict(our_bars, form, text, theirs)] += 1
            told["verovio"][verdict(through_verovio, form, text, theirs)] += 1
    print(kind, count, {name: dict(found) for name, found in told.items()}, flush=True)


def lengths(many: int) -> None:
    """Tunes with first and second endings: how long they are as played, against music21."""
    from music21 import converter

    paths = [p for p in files() if p.suffix == ".abc"]
    random.Random(7).shuffle(paths)
    told, count = Counter(), 0
    for path in paths:
        with contextlib.suppress(PassageError):
            every = list(pieces(path))
            random.Random(7).shuffle(every)
            for _name, form, text in every[:3]:
                if count >= many or not re.search(r"(\||:|\[)\s*1[^0-9/]", text):
                    continue
                ours = Score(abc_to_mei(text)).passage().length_beats
                toolkit = verovio.toolkit()
                toolkit.setOptions({"inputFrom": form})
                toolkit.loadData(text)
                verovios = Score(toolkit.getMEI()).passage().length_beats
                count += 1
                if abs(ours - verovios) < SAME_BEATS:
                    told["alike"] += 1
                    continue
                try:
                    score = converter.parseData(text, format=form)
                    theirs = float(score.parts[0].expandRepeats().duration.quarterLength)
                except Exception:  # noqa: BLE001
                    told["other, music21 does not expand it"] += 1
                    continue
                told[
                    "other, ours as music21"
                    if abs(ours - theirs) < SAME_BEATS
                    else "other, verovio as music21"
                    if abs(verovios - theirs) < SAME_BEATS
                    else "other, all three"
                ] += 1
    print("lengths", count, dict(told), flush=True)


if __name__ == "__main__":
    verovio.enableLog(verovio.LOG_OFF)
    study("abc", int((sys.argv[1:2] or ["300"])[0]))
    lengths(200)
    study("xml", int((sys.argv[2:3] or ["60"])[0]))

"""Pieces of music21's corpus read to the notes that music21 finds, bar by bar.

A fixed sample; `bench/material/corpus.py` reads all of them. M. S. Cuthbert and others, music21
corpus (each file's own licence stands in it).
"""

from collections import Counter
from pathlib import Path

import music21
import pytest
from music21 import converter

from coldtake.music.abc.book import tunes_in
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.notation.reading.score import Score
from coldtake.music.notation.reading.unpacking import unpack

CORPUS = Path(music21.__file__).parent / "corpus"
SCORES = (
    "bach/bwv66.6.mxl",
    "bach/bwv269.mxl",
    "bach/bwv319.mxl",
    "beethoven/opus18no1/movement3.mxl",
    "ciconia/quod_jactatur.xml",
    "demos/layoutTest.xml",
    "haydn/opus1no1/movement2.mxl",
    "mozart/k155/movement2.mxl",
    "schoenberg/opus19/movement2.mxl",
    "trecento/PMFC_12_10b-Credo PMFC12.10b.xml",  # an accidental in brackets
)
TUNES = (
    ("airdsAirs/book1.abc", 3),
    ("essenFolksong/erk5.abc", 21),
    ("miscFolk/americanfifeopus.abc", 2),
    ("oneills1850/0001-0050.abc", 32),
    ("ryansMammoth/LittleDukesReel.abc", 0),
)


def bars_of_music21(text, form):
    score = converter.parseData(text, format=form)
    found = {}
    for part in score.parts or [score]:
        for index, measure in enumerate(part.getElementsByClass("Measure")):
            bar = found.setdefault(index, Counter())
            for note in measure.recurse().notes:
                grace = form == "abc" and note.duration.isGrace
                if "ChordSymbol" not in note.classes and not grace:
                    bar.update(round(p.ps) for p in note.pitches)
    return [found[i] for i in sorted(found)]


@pytest.mark.parametrize("name", SCORES)
def test_scores(name):
    form, text = unpack((CORPUS / name).read_bytes(), name)
    score = Score(read_passage.__wrapped__(text, form).mei)
    assert [Counter(n.sounding for n in c.notes) for c in score.contents] == bars_of_music21(
        text, form
    )


@pytest.mark.parametrize(("name", "number"), TUNES, ids=[t[0] for t in TUNES])
def test_tunes(name, number):
    _, text = unpack((CORPUS / name).read_bytes(), name)
    tune = tunes_in(text)[number]
    score = Score(read_passage.__wrapped__(tune.text, "abc").mei)
    ours = sum(
        (Counter(n.written_pitch for n in c.notes if not n.grace) for c in score.contents),
        Counter(),
    )
    theirs = sum(bars_of_music21(tune.text, "abc"), Counter())
    assert ours == theirs


@pytest.mark.parametrize(
    ("name", "tunes"),
    [
        ("oneills1850/0001-0050.abc", 50),
        ("airdsAirs/book1.abc", 200),
        ("essenFolksong/dva0.abc", 192),
    ],
)
def test_tunebooks_have_all_their_tunes(name, tunes):
    """The counts are those of lines beginning with X: (`grep -c '^X:'`)."""
    _, text = unpack((CORPUS / name).read_bytes(), name)
    assert len(tunes_in(text)) == tunes

"""Passages to read at sight: as hard as asked, in range and metre, the same from the same seed."""

import pytest

from coldtake.errors import PassageError
from coldtake.music.exercises.hardness import hardness
from coldtake.music.exercises.sight_reading import BAND, LEVELS, Demand, fresh
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.theory.instruments import instrument_named
from coldtake.music.theory.keys import read_key


@pytest.mark.parametrize("level", range(1, 11))
@pytest.mark.parametrize(
    ("key", "bpm", "metre", "instrument"),
    [
        ("C", 72, (4, 4), "flute"),
        ("Eb", 84, (3, 4), "clarinet in B♭"),
        ("A minor", 96, (2, 4), "cello"),
    ],
)
def test_the_measured_hardness_lies_in_the_band(level, key, bpm, metre, instrument):
    asked = LEVELS[level - 1]
    made = fresh(Demand(asked, level, bpm, read_key(key), metre, 8, instrument))
    passage = read_passage(made.abc, "abc")
    rated = hardness(passage, bpm)
    measured = sum(bar.value for bar in rated) / len(rated)
    assert measured == pytest.approx(made.hardness)
    assert abs(measured - asked) <= BAND
    own = instrument_named(instrument)
    assert all(own.low <= n.written_pitch <= own.high for n in passage.notes)
    assert {b.metre for b in passage.bars} == {metre}
    assert len(passage.bars) == 8
    assert all(abs(b.length_beats - 4 * metre[0] / metre[1]) < 1e-6 for b in passage.bars)
    assert passage.is_one_line
    assert passage.bars[0].key_fifths == read_key(key).fifths
    last = passage.notes[-1]
    assert last.name.rstrip("0123456789") == str(read_key(key).tonic)


def test_the_same_seed_gives_the_same_and_another_another():
    texts = {fresh(Demand(0.25, seed, metre=(6, 8))).abc for seed in range(20)}
    assert len(texts) == 20
    assert fresh(Demand(0.25, 7, metre=(6, 8))).abc in texts


def test_what_cannot_be_so_easy_or_so_hard_is_refused():
    with pytest.raises(PassageError, match="so hard can be written at this tempo"):
        fresh(Demand(0.9, 1, bpm=60))
    with pytest.raises(PassageError, match="so easy can be written at this tempo"):
        fresh(Demand(0.0, 1, bpm=160))

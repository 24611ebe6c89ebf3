"""The traditional metronome series (no standard exists; read in one list, common practice)."""

from itertools import pairwise

import pytest

from coldtake.music.theory.tempo import marks_between, nearest_mark, next_mark, previous_mark
from coldtake.units import METRONOME_MARKS

MARKS = (
    *(40, 42, 44, 46, 48, 50, 52, 54, 56, 58, 60, 63, 66, 69, 72, 76, 80, 84, 88, 92),
    *(96, 100, 104, 108, 112, 116, 120, 126, 132, 138, 144, 152, 160, 168, 176, 184, 192, 200, 208),
)


def test_the_39_marks():
    assert len(MARKS) == 39
    assert METRONOME_MARKS == MARKS
    assert marks_between(1, 1000) == MARKS


def test_steps_are_about_one_or_two_just_noticeable_differences():
    ratios = [b / a for a, b in pairwise(METRONOME_MARKS)]
    assert min(ratios) == pytest.approx(1.0345, abs=5e-5)
    assert max(ratios) == pytest.approx(1.0556, abs=5e-5)


def test_next_and_previous():
    assert [next_mark(m) for m in MARKS[:-1]] == list(MARKS[1:])
    assert [previous_mark(m) for m in MARKS[1:]] == list(MARKS[:-1])
    assert (next_mark(71.9), previous_mark(72.1)) == (72, 72)
    assert (next_mark(208), next_mark(500), previous_mark(40), previous_mark(3)) == (
        208,
        208,
        40,
        40,
    )


def test_nearest():
    assert [nearest_mark(m) for m in MARKS] == list(MARKS)
    assert (nearest_mark(73.9), nearest_mark(74.1), nearest_mark(10), nearest_mark(999)) == (
        72,
        76,
        40,
        208,
    )


def test_between_takes_both_ends():
    assert marks_between(60, 72) == (60, 63, 66, 69, 72)
    assert marks_between(61, 62) == ()


@pytest.mark.parametrize("bpm", [0, -1, float("nan")])
def test_no_tempo_at_or_below_zero(bpm):
    with pytest.raises(ValueError, match="above 0"):
        nearest_mark(bpm)

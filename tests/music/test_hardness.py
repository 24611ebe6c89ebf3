"""How hard bars look, and how a piece falls into groups."""

import pytest

from coldtake.music.exercises.grouping import Group, hard_spots, phrases, runs
from coldtake.music.exercises.hardness import hardness
from coldtake.music.notation.reading.reader import read_passage

HEAD = "X:1\nM:4/4\nL:1/8\nK:C\n"


def passage(body, head=HEAD):
    return read_passage(head + body + "\n", "abc")


def values(body, bpm=100.0):
    return [bar.value for bar in hardness(passage(body), bpm)]


@pytest.mark.parametrize(
    ("easy", "hard", "because"),
    [
        ("C2D2E2F2", "C/D/E/F/G/A/B/c/C/D/E/F/G/A/B/c/", "fast notes"),
        ("CDEFGFED", "CcDdEeDd", "leaps"),
        ("CDEFGFED", "C^D^E^F^G^F^E^D", "accidentals"),
        ("CDEFGFED", "C,,CcDdEc'C", "a wide range"),
        ("C2D2E2F2", "CD3E2F3/2G/", "changing rhythm"),
    ],
)
def test_what_makes_a_bar_harder(easy, hard, because):
    one, two = hardness(passage(f"{easy}|{hard}|"), 100)
    assert two.value > one.value
    assert because in two.because


def test_a_faster_goal_is_harder_and_values_stay_between_0_and_1():
    slow, fast = values("CDEF GABc|", 60)[0], values("CDEF GABc|", 160)[0]
    assert 0 < slow < fast < 1
    worst = "[C,c'']/4" + "^G/4_E/4^c'/4B,,/4" * 7 + "|"
    assert all(0 <= v <= 1 for v in values(worst, 400))


def test_two_hands_far_apart_have_each_its_own_range_and_rhythm():
    right, left = "c2d2e2f2|", "C,4D,4|"
    head = HEAD.replace("K:C", "%%score {R | L}\nK:C")
    [bar] = hardness(passage(f"V:R\n{right}\nV:L clef=bass\n{left}", head), 60)
    assert bar.because == ()


def test_an_empty_bar_is_not_hard():
    assert values("z8|C8|")[0] == 0


def test_signature_notes_are_no_accidentals():
    head = HEAD.replace("K:C", "K:E")
    [bar] = hardness(passage("EFGA BAGF|", head), 60)
    assert "accidentals" not in bar.because


def test_repeats_are_not_worked_on_twice():
    read = passage("|:CDEF GABc|cBAG FEDC:|G8|")
    assert len(read.bars) == 5
    assert runs(read) == (Group(1, 2), Group(5, 5))


def test_phrases_end_where_the_page_breathes():
    phrase = "CDEF GFED|EFGA BAGF|C4 z4|"
    read = passage(phrase * 4)
    assert [(g.first, g.last) for g in phrases(read)] == [(1, 3), (4, 6), (7, 9), (10, 12)]


@pytest.mark.parametrize("bars", [1, 2, 3, 4, 7, 16, 61, 400])
def test_groups_cover_every_bar_once(bars):
    read = passage("CDEF GABc|" + "dcBA GFED|" * (bars - 1))
    groups = phrases(read)
    covered = [bar for g in groups for bar in range(g.first, g.last + 1)]
    assert covered == list(range(1, bars + 1))
    assert len(groups) <= 24


def test_hard_spots_are_the_hard_bars():
    run = "C/D/E/F/G/A/B/c/C/D/E/F/G/A/B/c/|"
    read = passage("C2D2E2F2|" * 3 + run + "C2D2E2F2|" * 4 + run * 2 + "C2D2E2F2|" * 2)
    spots = hard_spots(hardness(read, 120), runs(read))
    assert set(spots) == {Group(4, 4), Group(9, 10)}


def test_an_even_piece_has_no_hard_spot():
    read = passage("C2D2E2F2|" * 8)
    assert hard_spots(hardness(read, 60), runs(read)) == ()

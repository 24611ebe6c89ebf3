"""Periods and places: whether slots fit, and which rules a placement keeps."""

import itertools
import random

import pytest

from coldtake.domain.plan import PlanRules, SlotKind
from coldtake.planning.day.composition.order import in_order
from coldtake.planning.day.composition.packing import pack
from coldtake.planning.day.composition.periods import layout
from coldtake.planning.day.composition.placement import place, place_most, too_large
from coldtake.planning.day.composition.slot_drafts import PinnedSlot, SlotDraft


def work(step, minutes, topic="a", *, cold=False, newness=0.0, wish=None, gain=1.0):
    kind = SlotKind.COLD if cold else SlotKind.WORK
    return SlotDraft(step, topic, kind, minutes, gain, newness, wish=wish)


def fits(sizes, periods, cap):
    """Brute force: every way to give each slot a period."""
    for where in itertools.product(range(periods), repeat=len(sizes)):
        loads = [
            sum(m for m, p in zip(sizes, where, strict=True) if p == q) for q in range(periods)
        ]
        if max(loads) <= cap:
            return True
    return False


@pytest.mark.parametrize("seed", range(120))
def test_packing_and_counting_against_brute_force(seed):
    rng = random.Random(seed)
    cap, periods = rng.randint(8, 30), rng.randint(1, 3)
    sizes = [rng.randint(2, 14) for _ in range(rng.randint(1, 7))]
    possible = fits(sizes, periods, cap)
    found = pack(sizes, [None] * len(sizes), periods, cap)
    assert (found is not None) is possible
    pieces = [work(f"s{n}", m) for n, m in enumerate(sizes)]
    assert (place(pieces, [cap] * periods) is not None) is possible
    if possible:
        assert not too_large(pieces, [cap] * periods)


def test_wished_periods_are_kept_in_packing():
    assert pack([20, 20, 20], [1, None, None], 2, 40) == (1, 0, 0)
    assert pack([50, 20], [0, 0], 2, 60) is None


def test_cold_takes_lie_no_later_than_work_on_their_topic():
    pieces = [work("s0", 10), work("s1", 10), work("s2", 10), work("s3", 2, cold=True)]
    where = place(pieces, [20, 20])
    assert where is not None
    assert where[3] <= min(where[:3])


def test_two_slots_of_a_step_lie_in_different_periods():
    pieces = [work("s0", 8), work("s0", 8), work("s1", 8), work("s1", 8)]
    where = place(pieces, [16, 16])
    assert where is not None
    assert where[0] != where[1]
    assert where[2] != where[3]


def test_topics_are_spread_over_the_periods():
    pieces = [work(f"{t}{n}", 10, t) for t in "ab" for n in range(2)]
    where = place(pieces, [20, 20])
    assert where is not None
    assert where[0] != where[1]


def test_what_does_not_fit_is_left_out_by_least_points():
    pieces = [work("s0", 10, gain=1.0), work("s1", 10, gain=5.0), work("s2", 10, gain=3.0)]
    assert [p is None for p in place_most(pieces, [10, 10])] == [True, False, False]
    wished = work("s0", 10, gain=0.0, wish=PinnedSlot("s0", SlotKind.WORK))
    kept = place_most([wished, *pieces[1:]], [10, 10])
    assert [p is None for p in kept] == [False, False, True]


def test_overfilling_only_as_much_as_must_be():
    pieces = [work("s0", 40, wish=PinnedSlot("s0", SlotKind.WORK)), work("s1", 10)]
    assert place(pieces, [30, 30]) is None
    where = place(pieces, [30, 30], elastic=True)
    assert where is not None
    assert where[0] != where[1]


@pytest.mark.parametrize("seed", range(30))
def test_order_against_every_permutation(seed):
    """No rule is broken where some order keeps them all; new work comes first in the best one."""
    rng = random.Random(seed)
    pieces = []
    for _ in range(rng.randint(2, 6)):
        step = rng.choice("pqrs")
        topic = "a" if step in "pq" else "b"
        pieces.append(work(step, 5, topic, cold=rng.random() < 0.3, newness=rng.random()))
    best = min(map(broken, itertools.permutations(pieces)))
    (made,) = in_order(pieces, [0] * len(pieces))
    assert broken(made) == best


def broken(order):
    same = sum(a.step_id == b.step_id for a, b in itertools.pairwise(order))
    late = 0
    for n, piece in enumerate(order):
        late += piece.cold and any(not b.cold and b.topic_id == piece.topic_id for b in order[:n])
    return same + late


@pytest.mark.parametrize(
    ("minutes", "cap", "pause", "periods", "playing"),
    [
        (120, 40, 5, 3, 110),  # common practice, no source
        (60, 30, 5, 2, 55),
        (65, 30, 5, 2, 60),
        (70, 30, 5, 2, 60),
        (71, 30, 5, 3, 61),
        (5, 30, 5, 1, 5),
        (240, 60, 10, 4, 210),
    ],
)
def test_periods_of_a_session(minutes, cap, pause, periods, playing):
    laid = layout(minutes, PlanRules(period_cap_min=cap, break_min=pause))
    assert (laid.count, laid.playing_min) == (periods, playing)


def test_the_layout_holds_most_playing_of_all_numbers_of_periods():
    for minutes in range(5, 300, 7):
        for cap in (5, 12, 30, 60):
            best = max(min(minutes - (p - 1) * 5, p * cap) for p in range(1, 40))
            assert layout(minutes, PlanRules(period_cap_min=cap)).playing_min == best

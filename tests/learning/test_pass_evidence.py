"""What a pass and the last cold takes mean, said with the numbers of the worked examples."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.domain.criterion import Criterion, NotesTest, Times
from coldtake.domain.take import Answer
from coldtake.learning.pass_evidence import (
    answers_of,
    cold_of,
    lucky_ahead,
    pass_of,
    since_slip,
    standing_of,
)
from coldtake.learning.support import Decision, SequentialTest
from making import attempt

TEST = SequentialTest()  # 0.6 against 0.9, errors 0.05 and 0.10: the example of the methods page
FIVE = Times(wanted=5)


def test_five_in_a_row_is_often_luck():
    """Feller, vol. I, ch. XIII.7, by exact fractions: a run of 5 at one half in 20 and in 100."""
    said = pass_of(FIVE, ())
    assert said.took is None
    assert dict(said.lucky) == pytest.approx({20: 0.2498703, 100: 0.810109599}, abs=1e-7)
    assert said.supports.low == pytest.approx(0.7733, abs=1e-4)  # beta(5.5, 0.5) at a tenth


def test_a_pass_after_many_tries_is_told_by_how_many():
    answers = [True, False] * 10 + [True] * 5
    said = pass_of(FIVE, answers)
    assert said.took == 25
    assert said.took_lucky == pass_of(FIVE, [False] * 20 + [True] * 5).took_lucky
    at_once = pass_of(FIVE, [True] * 5)
    assert at_once.took_lucky == pytest.approx(0.5**5)
    assert said.took_lucky > at_once.took_lucky


def test_the_last_ten_cold_takes_count():
    assert cold_of(()) is None
    known = cold_of([False] * 30 + [True] * 9 + [False])
    assert (known.clean, known.of) == (9, 10)
    assert (known.supports.low, known.supports.high) == pytest.approx((0.7254, 0.9705), abs=1e-4)


def test_only_yes_and_no_are_answers():
    tries = [
        attempt(Answer.YES, cold=True),
        attempt(Answer.CANNOT_TELL, cold=True, day=1),
        attempt(Answer.NO, day=1, number=1),
        attempt(Answer.NO, day=2, cold=True),
    ]
    assert answers_of(tries) == (True, False, False)
    assert answers_of(tries, cold=True) == (True, False)


def test_a_count_ends_and_begins_anew():
    """Wald's first test accepts at 8 of 8 and rejects at two noes."""
    assert standing_of(TEST, ()).to_held == 8
    seven = standing_of(TEST, [True] * 7)
    assert (seven.ended, seven.to_held, seven.to_not_held) == (Decision.GO_ON, 1, 4)
    eight = standing_of(TEST, [True] * 8)
    assert (eight.ended, eight.before, eight.to_held) == (Decision.HELD, None, 8)
    later = standing_of(TEST, [True] * 8 + [False])
    assert (later.ended, later.before, later.noes, later.to_not_held) == (
        Decision.GO_ON,
        Decision.HELD,
        1,
        1,
    )
    assert standing_of(TEST, [False, False]).ended is Decision.NOT_HELD


@settings(deadline=None)
@given(st.lists(st.booleans(), max_size=40))
def test_the_first_end_is_that_of_the_plain_test(answers):
    first = TEST.decide(answers)
    known = standing_of(TEST, answers)
    assert (first is Decision.GO_ON) == (known.ended is Decision.GO_ON and known.before is None)
    more = [*answers, *[True] * known.to_held]
    assert standing_of(TEST, more).ended is Decision.HELD


ONCE_TWICE = Criterion(tests=(NotesTest(),), times=Times(wanted=2))


def tries(*answers):
    """One cold take a day."""
    return tuple(attempt(a, day=n, cold=True) for n, a in enumerate(answers))


def test_with_a_slip_the_way_to_a_pass_begins_anew():
    yes, no = Answer.YES, Answer.NO
    slipped = tries(no, yes, yes, no, yes)
    assert since_slip(ONCE_TWICE, slipped) == slipped[4:]
    assert since_slip(ONCE_TWICE, slipped[:3]) == slipped[:3]
    # two in a row at one half: within 2 tries 1/4, 3: 3/8, 4: 8/16 (counted by hand)
    assert lucky_ahead(ONCE_TWICE, slipped, 3) == (0.25, 0.375, 0.5)
    assert lucky_ahead(ONCE_TWICE, slipped[:2], 2) == (0.375, 0.5)
    assert lucky_ahead(ONCE_TWICE, slipped[:3], 2) == ()  # met

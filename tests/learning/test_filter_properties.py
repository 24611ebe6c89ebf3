"""Properties of the estimates on logs of any kind: several steps, both judges, own ears."""

from datetime import timedelta
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.domain import events as ev
from coldtake.domain.take import Answer, Judge
from coldtake.learning.history import histories
from coldtake.learning.memory import estimates
from logs import DAY, Log

TRY = st.tuples(st.sampled_from(["a.0", "a.0", "a.1"]), st.booleans(), st.booleans())
DAYS = st.lists(
    st.tuples(st.integers(0, 15), st.integers(0, 20), st.lists(TRY, min_size=1, max_size=3)),
    max_size=7,
)


def lived(days):
    """Tries (step, yes, by the tool) after some minutes of work, on days so far apart."""
    log, day = Log().topic("a", 3), 0
    for gap, minutes, tries in days:
        day += gap
        for step_id, yes, tool in tries:
            log.answer(step_id, yes, day, judge=Judge.TOOL if tool else Judge.PLAYER)
            if minutes:
                log.work(step_id, minutes, day)
    return log, day


def said(days, wait, *answers):
    """Estimate of a.0 when the log ends with one more try, answered so by these judges."""
    log, day = lived(days)
    for judge, answer in answers:
        tried = ev.TryAnswered(try_id="last", step_id="a.0", answer=answer, judge=judge)
        log.put(tried, day + wait)
    on = DAY + timedelta(days=day + wait)
    return estimates(log.state, on, only=["a.0"])["a.0"].clean_cold.mid


@settings(max_examples=40, deadline=None)
@given(DAYS, st.integers(0, 10), st.sampled_from(list(Judge)))
def test_yes_never_lowers_and_no_never_raises(days, wait, judge):
    """Against the same try left unanswered, since half a minute of playing helps by itself."""
    yes, untold, no = (
        said(days, wait, (judge, a)) for a in (Answer.YES, Answer.CANNOT_TELL, Answer.NO)
    )
    assert no <= untold + 1e-9
    assert untold <= yes + 1e-9
    assert said(days, wait) <= yes + 1e-9


@settings(max_examples=20, deadline=None)
@given(DAYS, st.integers(0, 10))
def test_a_second_opinion_counts_the_same_way(days, wait):
    own = (Judge.PLAYER, Answer.YES)
    agrees = said(days, wait, own, (Judge.TOOL, Answer.YES))
    differs = said(days, wait, own, (Judge.TOOL, Answer.NO))
    assert differs <= said(days, wait, own) + 1e-9 <= agrees + 2e-9


@settings(max_examples=20, deadline=None)
@given(DAYS, st.lists(st.integers(0, 200), min_size=2, max_size=4))
def test_time_never_raises_the_chance(days, waits):
    log, day = lived(days)
    chances = [
        estimates(log.state, DAY + timedelta(days=day + w))["a.0"].clean_cold.mid
        for w in sorted(waits)
    ]
    assert all(later <= sooner + 1e-9 for sooner, later in pairwise(chances))


@settings(max_examples=20, deadline=None)
@given(st.lists(st.booleans(), min_size=1, max_size=4), st.lists(st.booleans(), max_size=4))
def test_the_order_of_unrelated_steps_does_not_matter(first, second):
    """Two topics told one after the other, or in turn: every step's estimate is the same."""

    def told(swapped):
        log = Log().topic("a").topic("b")
        parts = [("a.0", first), ("b.0", second)]
        for step_id, answers in reversed(parts) if swapped else parts:
            for n, yes in enumerate(answers):
                log.answer(step_id, yes, 2 * n)
        known = estimates(log.state, DAY + timedelta(days=12))
        return {i: (e.clean_cold.mid, e.half_life_days.mid) for i, e in known.items()}

    one, other = told(False), told(True)
    assert one.keys() == other.keys()
    for step_id, numbers in one.items():
        assert all(abs(a - b) < 1e-9 for a, b in zip(numbers, other[step_id], strict=True))


def test_both_answers_to_one_try_reach_the_filter():
    log = Log().topic("a")
    for judge, answer in ((Judge.PLAYER, Answer.YES), (Judge.TOOL, Answer.NO)):
        log.put(ev.TryAnswered(try_id="t", step_id="a.0", answer=answer, judge=judge))
    [mark] = histories(log.state, DAY)["a.0"]
    assert (mark.yes, mark.heard, mark.tool) == (True, False, False)


def contradicted(times):
    """A player who says yes where the tool hears no, on other steps; then a yes of his own."""
    log = Log().topic("a", times + 1)
    for n in range(times):
        for judge, answer in ((Judge.PLAYER, Answer.YES), (Judge.TOOL, Answer.NO)):
            log.put(ev.TryAnswered(try_id=f"t{n}", step_id=f"a.{n}", answer=answer, judge=judge))
    step_id = f"a.{times}"
    before = estimates(log.state, DAY)[step_id].clean_cold.mid
    log.answer(step_id, True)
    return estimates(log.state, DAY)[step_id].clean_cold.mid / before


def test_a_kind_ear_is_found_out_and_its_yes_counts_for_less():
    assert contradicted(8) - 1.0 < 0.85 * (contradicted(0) - 1.0)

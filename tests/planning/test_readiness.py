"""Readiness of a programme: against SciPy's integration, and what must hold for any log."""

from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from coldtake.domain import events as ev
from coldtake.domain.performance import Performance, RunKind, RunPart
from coldtake.domain.take import Answer
from coldtake.learning.filter import DAY_FORM_SD
from coldtake.planning.programme.readiness import Programme, futures, readiness
from logs import DAY, Log

TODAY = DAY + timedelta(days=21)
TWO = Programme(("air", "dance"), ("a", "b", "c"), (0, 1, 1))
CHANCES = st.lists(st.floats(0.05, 0.99), min_size=3, max_size=3)


def logits(chances):
    return stats.logistic.ppf(np.array(chances))[:, None]


def shown(chances, effect=0.0):
    return futures(TWO, logits(chances), np.array([effect]))


@pytest.mark.parametrize("effect", [-1.2, 0.0])
def test_the_programme_under_one_form_as_scipy_integrates_it(effect):
    chances = (0.9, 0.8, 0.6)

    def at(form):
        clean = stats.logistic.cdf(logits(chances)[:, 0] + effect + form)
        return clean.prod() * stats.norm.pdf(form, scale=DAY_FORM_SD)

    whole, _ = integrate.quad(at, -6, 6)
    assert shown(chances, effect).whole[0] == pytest.approx(whole, rel=1e-4)


@settings(max_examples=60, deadline=None)
@given(CHANCES, st.floats(-2, 1))
def test_a_shared_day_makes_the_whole_likelier_than_the_product_of_its_pieces(chances, effect):
    """Esary, Proschan and Walkup 1967, Association of Random Variables, Ann. Math. Stat. 38:1466.

    Chances that all grow with one form are associated; their joint chance is at least the product.
    """
    found = shown(chances, effect)
    assert found.whole[0] >= found.pieces[:, 0].prod() * (1 - 1e-9)
    assert found.pieces[1, 0] >= found.steps[1:, 0].prod() * (1 - 1e-9)
    assert found.whole[0] <= found.pieces.min() * (1 + 1e-9)


@settings(max_examples=60, deadline=None)
@given(CHANCES)
def test_a_sure_step_helps_most_where_it_was_least_sure(chances):
    found = shown(chances)
    assert np.all(found.if_sure >= found.whole.mean() * (1 - 1e-9))
    least = int(np.argmin(found.steps[:, 0]))
    assert found.if_sure[least] == pytest.approx(found.if_sure.max())


def test_a_harder_stage_never_helps():
    whole = [shown((0.9, 0.8, 0.7), effect).whole[0] for effect in (-2.0, -1.0, -0.3, 0.0)]
    assert whole == sorted(whole)


def practised(*, chain=True):
    log = Log().topic("air", 3, chain=chain).topic("dance", 2).topic("scale", 3)
    for topic, steps in (("air", 3), ("dance", 2)):
        for n in range(steps):
            log.practised(f"{topic}.{n}", range(0, 20, 3))
    return log


def concert(days, *programme):
    return Performance(
        id="c", title="c", on=TODAY + timedelta(days=days), programme=programme or ("air", "dance")
    )


@pytest.mark.parametrize("days", [0, 1, 2, 14, 200])
def test_each_piece_and_the_whole_are_told(days):
    found = readiness(practised().state, TODAY, concert(days))
    assert found.enough
    assert [p.topic_id for p in found.pieces] == ["air", "dance"]
    assert {link.step_id for link in found.links} == {"air.2", "dance.0", "dance.1"}
    assert 0 < found.chance.low <= found.chance.mid <= found.chance.high < 1
    assert found.chance.mid <= min(p.chance.mid for p in found.pieces)
    assert found.on == TODAY + timedelta(days=min(days, 85))
    assert all(link.programme_if_sure >= found.chance.mid - 1e-9 for link in found.links)


def test_equal_logs_give_equal_readiness():
    one, other = (readiness(practised().state, TODAY, concert(14)) for _ in range(2))
    assert one == other


def test_a_piece_never_played_is_not_pretended():
    found = readiness(practised().state, TODAY, concert(14, "air", "scale"))
    assert [p.enough for p in found.pieces] == [True, False]
    assert not found.enough


def test_a_programme_without_steps_or_pieces():
    empty = readiness(practised().topic("new", 0).state, TODAY, concert(14, "new"))
    assert (empty.links, [p.enough for p in empty.pieces]) == ((), [False])
    none = readiness(practised().state, TODAY, concert(14, "gone"))
    assert (none.pieces, none.enough) == ((), False)


def test_run_throughs_that_break_lower_it_and_those_that_come_out_raise_it():
    def after(answer):
        log = practised()
        for day in (15, 17, 19, 20):
            parts = tuple(RunPart(topic_id=t, answer=answer) for t in ("air", "dance"))
            log.put(ev.RunTold(run_id=f"r{day}", run_kind=RunKind.RUN_THROUGH, parts=parts), day)
        return readiness(log.state, TODAY, concert(3)).chance.mid

    assert after(Answer.NO) < after(Answer.CANNOT_TELL) < after(Answer.YES)


def test_it_can_be_stopped_after_the_first_batch():
    class Stop:
        calls = 0

        def step(self, _done, _total, _words):
            Stop.calls += 1
            return False

    found = readiness(practised().state, TODAY, concert(14), progress=Stop())
    assert Stop.calls == 1
    assert found.enough


def test_a_topic_that_waits_is_looked_at_unpractised():
    from coldtake.domain.topic import Place

    log = practised()
    kept = readiness(log.state, TODAY, concert(30)).pieces[1].chance.mid
    log.put(ev.TopicPlaced(topic_id="dance", place=Place.WAITING), 20)
    assert readiness(log.state, TODAY, concert(30)).pieces[1].chance.mid < kept

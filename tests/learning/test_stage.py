"""The stage effect: against SciPy's integration, on made-up players, and from a log."""

import numpy as np
import pytest
from scipy import integrate, stats

from coldtake.domain import events as ev
from coldtake.domain.performance import RunKind, RunPart
from coldtake.domain.take import Answer
from coldtake.learning import stage
from coldtake.learning.filter import DAY_FORM_SD
from coldtake.learning.posterior import beliefs, cold_chances
from coldtake.learning.stage import GRID, PieceSaid, RunSaid, stage_effect
from coldtake.learning.stage_log import effect_of, last_steps
from logs import DAY, Log

YES, NO, OPEN = Answer.YES, Answer.NO, Answer.CANNOT_TELL


def piece(*chances, clean=None, whole=True):
    """A piece whose steps are known to come out with these chances in the room."""
    logits = np.log(np.array(chances) / (1.0 - np.array(chances)))
    said = clean if clean is not None else (True if whole else None,) * len(chances)
    return PieceSaid(np.repeat(logits[:, None], 2, axis=1), tuple(said), whole)


def run(*pieces, kind=RunKind.STAGE, day=1):
    return RunSaid(kind, day, pieces)


def test_one_shared_form_of_the_day_as_scipy_integrates_it():
    """scipy.integrate.quad over the form, the pieces of one run sharing it."""
    said = run(
        piece(0.9, 0.8), piece(0.7, whole=False), piece(0.6, 0.9, clean=(False, True), whole=False)
    )

    def under(effect):
        def at(form):
            a, b, c, d, e = (
                stats.logistic.cdf(stats.logistic.ppf(p) + effect + form)
                for p in (0.9, 0.8, 0.7, 0.6, 0.9)
            )
            yes, no = 0.12 + 0.83 * a * b, 1.0 - (0.12 + 0.83 * c)
            return yes * no * (1.0 - d) * e * stats.norm.pdf(form, scale=DAY_FORM_SD)

        return integrate.quad(at, -6, 6)[0]

    found = stage.run_likelihood(said)
    for spot in (5, 30, 45):
        assert found[spot] == pytest.approx(under(GRID[spot]), rel=2e-4)


def test_nothing_told_is_the_prior():
    effect = stage_effect([])
    assert not effect.enough
    assert effect.stage.mid == pytest.approx(stage.STAGE_MID, abs=0.01)
    low = stats.norm.ppf(0.1, stage.STAGE_MID, stage.STAGE_SD)
    assert effect.stage.low == pytest.approx(low, abs=0.06)  # the grid's step is 0.1
    spread = np.hypot(stage.RUN_SHARE * stage.STAGE_SD, stage.RUN_SD)
    high = stats.norm.ppf(0.9, stage.RUN_SHARE * stage.STAGE_MID, spread)
    assert effect.run.high == pytest.approx(high, abs=0.06)


def test_more_yes_never_speaks_for_a_harder_stage():
    runs, before = [], stage_effect([]).stage.mid
    for _ in range(6):
        runs.append(run(piece(0.7)))
        after = stage_effect(runs).stage.mid
        assert after > before
        before = after
    worse = stage_effect([*runs, run(piece(0.7, whole=False))])
    assert worse.stage.mid < before


def test_the_order_in_which_runs_were_told_does_not_matter():
    runs = [run(piece(0.9)), run(piece(0.5, whole=False), kind=RunKind.RUN_THROUGH, day=2)]
    one, other = stage_effect(runs), stage_effect(runs[::-1])
    assert np.allclose(one.grid, other.grid)


def test_run_throughs_say_something_of_the_stage_but_less_than_the_stage_does():
    said = [run(piece(0.8, whole=False), kind=kind, day=n) for kind in RunKind for n in (1, 2, 3)]
    rehearsed, played = stage_effect(said[:3]), stage_effect(said[3:])
    assert played.stage.mid < rehearsed.stage.mid < stage.STAGE_MID
    assert rehearsed.run.mid < stage.STAGE_MID * stage.RUN_SHARE
    assert played.performances == 3
    assert rehearsed.performances == 0


def made_up(seed):
    """A player drawn from the prior, seven runs and one performance of three pieces each."""
    rng = np.random.default_rng([2026, seed])
    true = rng.normal(stage.STAGE_MID, stage.STAGE_SD)
    rehearsed = rng.normal(stage.RUN_SHARE * true, stage.RUN_SD)
    runs = []
    for day in range(8):
        kind = RunKind.STAGE if day == 7 else RunKind.RUN_THROUGH
        shift = (true if day == 7 else rehearsed) + rng.normal(0.0, DAY_FORM_SD)
        pieces = []
        for _ in range(3):
            chances = rng.uniform(0.6, 0.97, 3)
            clean = rng.random(3) < stats.logistic.cdf(stats.logistic.ppf(chances) + shift)
            said = rng.random() < (0.95 if clean.all() else 0.12)
            pieces.append(piece(*chances, whole=bool(said)))
        runs.append(RunSaid(kind, day, tuple(pieces)))
    return true, rehearsed, stage_effect(runs)


def test_intervals_of_80_percent_hold_the_truth_as_often():
    """200 made-up players: binomial, 99.9 % of such studies lie within 70 to 89 %."""
    told = [made_up(seed) for seed in range(200)]
    on_stage = np.mean([e.stage.low <= true <= e.stage.high for true, _, e in told])
    in_runs = np.mean([e.run.low <= run_true <= e.run.high for _, run_true, e in told])
    low, high = stats.binom.ppf((0.0005, 0.9995), 200, 0.8) / 200
    assert low <= on_stage <= high
    assert low <= in_runs <= high
    gain = [abs(true - stage.STAGE_MID) - abs(true - e.stage.mid) for true, _, e in told]
    assert np.mean(gain) > 0, "what is told brings the guess nearer"


def test_what_comes_out_in_the_room_comes_out_less_surely_on_stage():
    effect = stage_effect([])
    there = effect.on_stage(0.9)
    assert there.low < there.mid < 0.9 < effect.on_stage(0.99).high
    assert there.mid == pytest.approx(stats.logistic.cdf(stats.logistic.ppf(0.9) - 0.5), abs=0.005)


# From a log


def told(log, topic_id, answer, day, *, broke=(), kind=RunKind.RUN_THROUGH):
    part = RunPart(topic_id=topic_id, answer=answer, broke=tuple(broke))
    return log.put(ev.RunTold(run_id=f"r{day}", run_kind=kind, parts=(part,), played_s=60), day)


def practised():
    log = Log().topic("air", 3)
    for n in range(3):
        log.practised(f"air.{n}", range(0, 10, 2))
    return log


def test_the_steps_of_a_piece_are_those_that_no_other_contains():
    state = Log().topic("air", 4, chain=True).topic("dance", 2).state
    assert [s.id for s in last_steps(state, "air")] == ["air.3"]
    assert [s.id for s in last_steps(state, "dance")] == ["dance.0", "dance.1"]


def test_runs_that_come_out_and_runs_that_break_move_the_effect():
    good, bad = practised(), practised()
    for day in (11, 13, 15, 17):
        told(good, "air", YES, day)
        told(bad, "air", NO, day, broke=["air.1", "air.2"])
    on = DAY.replace(month=4)
    found = [effect_of(log.state, on).run.mid for log in (bad, practised(), good)]
    assert found == sorted(found)
    assert found[2] - found[0] > 0.3
    effect = effect_of(good.state, on)
    assert (effect.pieces, effect.days, effect.enough) == (4, 4, False)


def test_an_open_answer_and_an_empty_piece_say_nothing():
    log = told(practised(), "air", OPEN, 11)
    told(log, "nothing", YES, 12)
    assert effect_of(log.state, DAY.replace(month=4)).pieces == 0


def test_later_days_do_not_reach_back():
    log = told(practised(), "air", YES, 11)
    early = effect_of(log.state, DAY.replace(day=20))
    log.practised("air.0", (30, 31, 32), yes=False)
    # only the player's type, found from all that is known now, may differ a little
    assert effect_of(log.state, DAY.replace(day=20)).run.mid == pytest.approx(
        early.run.mid, abs=0.05
    )


def chance(log, step_id, day=12):
    b = beliefs(log.state, DAY.replace(day=DAY.day + day))
    row = b.index(step_id)
    return float((cold_chances(b) * b.weight).sum(axis=1)[row])


def test_a_run_tells_the_steps_too():
    """A no where it broke speaks against that step, for the others; on stage less against it."""
    plain = practised()
    broke = told(practised(), "air", NO, 11, broke=["air.0"])
    stage_broke = told(practised(), "air", NO, 11, broke=["air.0"], kind=RunKind.STAGE)
    whole = told(practised(), "air", YES, 11)
    nowhere = told(practised(), "air", NO, 11)
    assert chance(broke, "air.0") < chance(nowhere, "air.0")
    assert chance(broke, "air.0") < chance(stage_broke, "air.0") < chance(nowhere, "air.0")
    assert chance(whole, "air.1") > chance(nowhere, "air.1") > chance(plain, "air.1") - 0.05
    estimate = beliefs(broke.state, DAY.replace(day=20)).filters[0]
    assert estimate.cold_takes == 5, "a run is no cold take"

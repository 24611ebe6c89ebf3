from datetime import timedelta

import numpy as np
import pytest

from coldtake.domain.take import Answer
from coldtake.learning.simulated import SimulatedPlayer
from logs import DAY, Log

STEP = Log().topic("a").state.steps["a.0"]
LAWS = ("power", "half_life")


def after(days):
    return DAY + timedelta(days=days)


@pytest.mark.parametrize("law", LAWS)
def test_same_seed_same_player(law):
    def life(player):
        told = []
        for day in range(0, 12, 3):
            told.append(player.try_cold(STEP, after(day)))
            player.practise(STEP, 8.0, after(day))
            told.append(player.try_warm(STEP, after(day)))
        return told, player.clean_chance(STEP, after(20)), player.comes(after(3))

    assert life(SimulatedPlayer(7, law)) == life(SimulatedPlayer(7, law))
    others = {life(SimulatedPlayer(seed, law))[1] for seed in range(5)}
    assert len(others) == 5


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("seed", range(4))
def test_work_helps_and_time_takes_away(law, seed):
    player = SimulatedPlayer(seed, law)
    before = player.clean_chance(STEP, DAY)
    for day in range(6):
        player.practise(STEP, 10.0, after(day))
    now = [player.clean_chance(STEP, after(5 + wait)) for wait in (0, 7, 30, 120)]
    assert now[0] > before + 0.2
    assert now == sorted(now, reverse=True)
    assert now[-1] < now[0] - 0.1


@pytest.mark.parametrize("law", LAWS)
def test_own_answers_err_towards_yes(law):
    wrong_yes = 0
    for seed in range(300):
        player = SimulatedPlayer(seed, law)
        if player.clean_chance(STEP, DAY) < 0.03:
            wrong_yes += player.try_cold(STEP, DAY) is Answer.YES
    assert 5 <= wrong_yes <= 60


def test_days_are_missed_and_cut_short():
    player = SimulatedPlayer(3)
    comes = [player.comes(after(n)) for n in range(400)]
    stays = np.array([player.stays(after(n), 60.0) for n in range(400)])
    assert 0.80 < np.mean(comes) < 0.94
    assert 0.10 < np.mean(stays < 60.0) < 0.25
    assert stays.min() >= 18.0

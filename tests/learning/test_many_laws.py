"""The players that planners are chosen on and reported on (bench/learning/laws.py)."""

import sys
from datetime import date, timedelta
from pathlib import Path

import pytest

from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.topic import Step

DAY = date(2026, 1, 5)
STEP = Step(id="s", topic_id="t", title="s", criterion=Criterion(tests=(NotesTest(),)), need_min=40)


@pytest.fixture(scope="module")
def laws():
    sys.path.insert(0, str(Path(__file__).parents[2] / "bench" / "learning"))
    try:
        import laws

        yield laws
    finally:
        sys.path.pop(0)
        sys.modules.pop("laws", None)


def test_no_law_is_both_tuned_to_and_reported_on(laws):
    assert not set(laws.TUNING) & set(laws.REPORTING)
    assert sorted(laws.TUNING + laws.REPORTING) == sorted(laws.ALL)
    for part in (laws.TUNING, laws.REPORTING):
        for place in range(4):
            assert {law[place] for law in part} == {law[place] for law in laws.ALL}


def lived(laws, law, gaps, minutes=8.0):
    player, day, found = laws.Player(3, law), DAY, []
    for gap in gaps:
        day += timedelta(days=gap)
        player.begin(STEP, day, 0.0)
        found.append(player.try_cold(STEP, day))
        player.practise(STEP, minutes, day)
        found.append(player.clean_chance(STEP, day))
    return player, day, found


def test_equal_players_give_equal_answers_work_helps_and_days_away_harm(laws):
    for law in laws.ALL:
        player, day, found = lived(laws, law, (0, 1, 2, 3, 4, 5))
        assert found == lived(laws, law, (0, 1, 2, 3, 4, 5))[2]
        assert found[-1] > found[1]
        away = [player.clean_chance(STEP, day + timedelta(days=n)) for n in (0, 3, 10, 40)]
        assert away == sorted(away, reverse=True)


@pytest.mark.parametrize(
    ("growth", "helps"), [("first", False), ("every", True), ("spacing", True)]
)
def test_a_second_visit_on_a_day_firms_up_only_where_the_law_says_so(laws, growth, helps):
    player, day, _ = lived(laws, laws.Law("exponential", "power", growth, "none"), (0, 3))
    hold = player._truth(STEP).hold
    player.begin(STEP, day, 20.0)
    player.practise(STEP, 8.0, day)
    assert (player._truth(STEP).hold > hold) == helps

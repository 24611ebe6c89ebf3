"""Triage: what fits before the dates, against brute force and another published algorithm."""

import re
from datetime import timedelta
from itertools import combinations

import numpy as np
import pytest
from piles import PILES
from piles import TODAY as PILE_DAY

from coldtake.domain import events as ev
from coldtake.domain.topic import Place
from coldtake.planning.triage.selection import LaterTopic, TakenTopic, triage
from coldtake.planning.triage.triage_words import later_words, left_out_words, taken_words
from coldtake.planning.value.deadline_selection import UNIT_MIN, Candidate, best_set
from coldtake.planning.value.topic_queue import turns_of
from coldtake.planning.what_if.pile_needs import RestsOn
from coldtake.planning.what_if.what_if_scenario import WhatIf
from logs import DAY, Log

TODAY = DAY + timedelta(days=7)


def drawn(rng, count, *, equal=False):
    return [
        Candidate(
            f"t{n}",
            minutes=float(rng.integers(5, 90)),
            left=int(rng.integers(1, 12)),
            worth=1.0 if equal else float(rng.integers(1, 20)),
        )
        for n in range(count)
    ]


def in_time(some, per_day):
    used = 0
    for one in sorted(some, key=lambda c: c.left):
        used += one.units
        if used > int(per_day * one.left / UNIT_MIN + 1e-9):
            return False
    return True


def by_brute_force(candidates, per_day):
    sets = (s for n in range(len(candidates) + 1) for s in combinations(candidates, n))
    return max(sum(c.worth for c in s) for s in sets if in_time(s, per_day))


@pytest.mark.parametrize("seed", range(200))
def test_the_best_set_is_the_best_of_all_sets(seed):
    rng = np.random.default_rng(seed)
    candidates, per_day = drawn(rng, int(rng.integers(1, 9))), float(rng.integers(5, 40))
    chosen = [c for c in candidates if c.topic_id in best_set(candidates, per_day)]
    assert in_time(chosen, per_day)
    assert sum(c.worth for c in chosen) == pytest.approx(by_brute_force(candidates, per_day))


def most_in_time(candidates, per_day):
    """Moore 1968, Management Science 15:102 (from memory): by date; when late, drop the longest."""
    kept = []
    for one in sorted(candidates, key=lambda c: c.left):
        kept.append(one)
        if sum(c.units for c in kept) > int(per_day * one.left / UNIT_MIN + 1e-9):
            kept.remove(max(kept, key=lambda c: c.units))
    return len(kept)


@pytest.mark.parametrize("seed", range(40))
def test_equal_worth_is_the_number_of_late_jobs(seed):
    rng = np.random.default_rng(1000 + seed)
    candidates = drawn(rng, 30, equal=True)
    assert len(best_set(candidates, 30.0)) == most_in_time(candidates, 30.0)


def test_more_minutes_never_lower_what_fits():
    rng = np.random.default_rng(7)
    for _ in range(20):
        candidates = drawn(rng, 12)
        worth = {c.topic_id: c.worth for c in candidates}
        found = [sum(worth[i] for i in best_set(candidates, m)) for m in (5.0, 10.0, 20.0, 60.0)]
        assert found == sorted(found)


def test_nothing_fits_into_no_minutes():
    assert best_set(drawn(np.random.default_rng(1), 5), 0.0) == frozenset()
    assert best_set([], 30.0) == frozenset()


def on(days):
    return DAY + timedelta(days=days)


def pile(topics, *, current=2):
    """Topics (id, steps, days to the date or None, importance); the first few are current."""
    log = Log()
    for n, (name, steps, days, importance) in enumerate(topics):
        date = None if days is None else on(days)
        log.topic(name, steps, on=date, importance=importance, need=60)
        if n >= current:
            log.put(ev.TopicPlaced(topic_id=name, place=Place.WAITING))
    return log


def ids(some):
    return [t.topic_id for t in some]


def test_what_fits_is_taken_on_and_the_rest_is_left_out_with_what_it_would_take():
    log = pile([("a", 4, 30, 4), ("b", 4, 30, 4), ("c", 6, 30, 1)])
    found = triage(log.state, TODAY, per_day=25.0)
    assert set(ids(found.now)) == {"a", "b"}
    (out,) = found.left_out
    assert out.topic_id == "c"
    assert out.alone
    assert not out.goes
    assert out.basis.minutes > 0
    assert out.with_more_min in range(5, 61, 5)
    more = triage(log.state, TODAY, per_day=25.0 + out.with_more_min)
    assert "c" in ids(more.now)
    less = triage(log.state, TODAY, per_day=25.0 + out.with_more_min - 5)
    assert "c" in ids(less.left_out)
    assert out.instead_of == ()  # both matter more
    assert set(out.beside) == {"a", "b"}


def test_raising_the_importance_does_what_was_said():
    topics = [("a", 6, 30, 3), ("b", 6, 30, 3), ("c", 6, 30, 2)]
    (out,) = triage(pile(topics).state, TODAY, per_day=40.0).left_out
    assert out.topic_id == "c"
    assert out.with_importance
    risen = triage(pile([*topics[:2], ("c", 6, 30, 5)]).state, TODAY, per_day=40.0)
    assert "c" not in ids(risen.left_out)


def test_no_more_are_current_than_the_player_s_limit_and_each_has_its_turn():
    log = pile([(f"t{n}", 3, 80, 3) for n in range(7)], current=2)
    log.put(ev.SettingChosen(name="current_topics", value="3"))
    found = triage(log.state, TODAY, per_day=60.0)
    assert (len(found.now), len(found.later), len(found.left_out)) == (3, 4, 0)
    assert {"t0", "t1"} <= set(ids(found.now))  # what has begun keeps its place
    turns = [t.turn for t in found.later]
    middles = [t.middle for t in turns if t.middle]
    assert middles == sorted(middles)
    for turn in turns:
        known = [d for d in (turn.early, turn.middle, turn.late) if d]
        assert known == sorted(known)
        assert all(d > TODAY for d in known)


def test_a_topic_whose_date_is_past_gives_up_its_place():
    log = pile([("old", 4, 3, 3), ("b", 4, 30, 3)])
    found = triage(log.state, TODAY, per_day=60.0)
    (old,) = found.left_out
    assert (old.topic_id, old.past, old.goes) == ("old", True, True)
    assert found.what_if == WhatIf(leave=("old",))


def test_a_topic_that_matters_stays_though_not_all_of_it_can_be_ready():
    log = pile([("big", 20, 9, 5), ("b", 4, 30, 3)])
    found = triage(log.state, TODAY, per_day=30.0)
    (out,) = found.left_out
    assert (out.topic_id, out.alone, out.stays, out.goes) == ("big", False, True, False)
    assert out.basis.minutes > out.minutes_there
    assert not out.with_importance
    assert out.instead_of == ()
    assert found.what_if == WhatIf()


def test_a_kept_up_topic_takes_no_place():
    log = pile([("kept", 1, 40, 3), *((f"t{n}", 2, 60, 3) for n in range(4))], current=5)
    log.practised("kept.0", [0, 2, 4])
    found = triage(log.state, TODAY, per_day=60.0)
    assert {t.topic_id for t in found.now if t.kept_up} == {"kept"}
    assert len(found.now) == 5
    assert found.what_if == WhatIf()


def test_what_was_laid_aside_stays_there_and_an_empty_pile_is_one():
    log = pile([("a", 2, 30, 3), ("b", 2, 30, 3)])
    log.put(ev.TopicPlaced(topic_id="b", place=Place.LAID_ASIDE))
    found = triage(log.state, TODAY)
    assert ids(found.now) == ["a"]
    assert ids([*found.later, *found.left_out]) == []
    empty = triage(Log().state, TODAY)
    assert (empty.now, empty.later, empty.left_out) == ((), (), ())


def test_equal_logs_give_equal_proposals():
    log = pile([("a", 2, 30, 3), ("b", 2, None, 3), ("c", 0, None, 3)])
    assert triage(log.state, TODAY) == triage(log.state, TODAY)


def test_places_come_free_in_order():
    """Two places free on days 3 and 5; each who waits holds one for 4 days: 3, 5, 7, 9."""
    ready = {"a": np.full((1, 20), 3.0), "b": np.full((1, 20), 5.0)}
    waiting = [(name, 4.0, np.inf) for name in "wxyz"]
    found = turns_of(ready, {}, 0, waiting, TODAY)
    assert [(found[n].middle - TODAY).days for n in "wxyz"] == [3, 5, 7, 9]


def test_a_date_before_its_turn_is_said_and_the_next_goes_ahead():
    ready = {"a": np.full((1, 10), 6.0)}
    found = turns_of(ready, {}, 0, [("late", 4.0, 5.0), ("next", 4.0, np.inf)], TODAY)
    assert (found["late"].middle, found["late"].date_first) == (None, 1.0)
    assert (found["next"].middle - TODAY).days == 6


def test_a_place_is_free_at_once_or_not_in_sight():
    never = {"a": np.full((2, 10), -1.0)}
    found = turns_of(never, {}, 1, [("x", 200.0, np.inf), ("y", 4.0, np.inf)], TODAY)
    assert found["x"].middle == TODAY
    assert (found["y"].middle - TODAY).days >= 200
    assert turns_of(never, {}, 0, [("x", 4.0, np.inf)], TODAY)["x"].early is None
    dated = turns_of(never, {"a": 9}, 0, [("x", 4.0, np.inf)], TODAY)["x"]
    assert (dated.middle - TODAY).days == 11  # nine days from tomorrow, and the day after


def of(pile, found=None):
    made = found or triage(pile.state, PILE_DAY, per_day=pile.per_day)
    rows = {t.topic_id: t for t in (*made.now, *made.later, *made.left_out)}
    return made, rows


BY_NAME = {pile.name: pile for pile in PILES}


@pytest.fixture(scope="module")
def advice():
    """What is proposed for each of the ten piles."""
    return {pile.name: of(pile) for pile in PILES}


@pytest.mark.parametrize("name", BY_NAME)
def test_no_pile_gets_advice_that_a_teacher_would_not_sign(advice, name):
    """Nothing that matters and has begun is given up, and each proposal says what it rests on."""
    pile, (made, rows) = BY_NAME[name], advice[name]
    lies = {one.title: one for one in pile.topics}
    assert set(rows) == set(lies)
    for title in made.what_if.leave:
        one = lies[title]
        assert one.importance < 4 or one.days < 0, title
        assert one.met < 2 / 3 * one.steps or one.days < 0, title
    busy = [t for t in made.now if not t.kept_up]
    stays = [t for t in made.left_out if t.stays]
    assert len(busy) + len(stays) <= pile.limit
    state = pile.state
    for title, row in rows.items():
        one, basis = lies[title], row.basis
        assert basis.minutes > 0
        assert (basis.rests_on is RestsOn.GUESS) == (one.steps == 0)
        assert (basis.lent is None) == (one.steps > 0)
        assert (basis.steps, basis.met) == (one.steps, one.met)
        said = said_of(state, made, row)
        stated = (
            "No steps yet. Rough estimate: about "
            if not one.steps
            else f"{one.met} of {one.steps} "
        )
        assert stated in said, said
        if not one.steps:
            assert_its_product(said)
        assert re.search(r"about \d+ (h|min)", said, re.IGNORECASE), said


def assert_its_product(said):
    """A guess is as long as its steps together, to the five minutes or half hour it is told in."""
    told, count, each = re.search(r"about (.+?) \((\d+) steps? of (\d+) min", said).groups()
    hours, minutes = re.match(r"(?:(\d+) h)? ?(?:(\d+) min)?", told).groups(default="0")
    whole = int(count) * int(each)
    step = 5 if whole < 300 else 30
    assert abs(60 * int(hours) + int(minutes) - whole) <= step / 2, said


def said_of(state, made, row):
    if isinstance(row, TakenTopic):
        return " ".join(taken_words(row))
    if isinstance(row, LaterTopic):
        return " ".join(later_words(state, row, PILE_DAY))
    return " ".join(left_out_words(state, row, PILE_DAY, made.per_day_min))


def test_an_audition_keeps_all_its_places(advice):
    made, _ = advice["audition in three weeks"]
    assert made.what_if == WhatIf()
    assert set(ids(made.now)) == {"Excerpt 1", "Excerpt 2", "Excerpt 3", "Concerto, exposition"}


def test_what_is_nearly_done_is_not_given_up_for_what_would_be_nice(advice):
    made, rows = advice["an important piece nearly done, and something nice without a step"]
    assert {"Sonata", "Encore", "Even fingers"} < set(ids(made.now))
    assert rows["Encore"].basis.minutes < 5 * 60
    assert "Reading at sight" in ids(made.later)
    assert rows["Reading at sight"].basis.lent.steps > 0


def test_a_first_evening_has_a_stated_guess_for_everything(advice):
    made, _ = advice["a first evening: nothing has a step"]
    assert len(made.now) == 3
    assert all(t.basis.lent.of == 0 for t in made.now)


def test_a_concerto_that_is_too_long_stays_and_its_steps_are_to_be_chosen(advice):
    made, rows = advice["a concerto that is far too long for the month"]
    assert made.what_if == WhatIf()
    assert rows["Concerto"].stays
    said = said_of(
        BY_NAME["a concerto that is far too long for the month"].state, made, rows["Concerto"]
    )
    assert "It stays current: its importance is high. Not all steps will be ready" in said
    assert re.search(r"With \d+ min more a day it fits\.", said)
    assert "Alone it would be ready by about" in said


def test_a_new_piece_comes_in_beside_what_is_kept_up(advice):
    made, _ = advice["all is kept up, and one new piece waits"]
    assert made.what_if == WhatIf(take_on=("Fantasy",))


def test_a_wedding_takes_the_place_of_one_study_which_is_told_why(advice):
    made, rows = advice["a wedding in ten days, and four studies without a date"]
    assert made.what_if.take_on == ("Wedding march",)
    [gone] = made.what_if.leave
    assert rows[gone].room_for == ("Wedding march",)
    assert rows["Wedding march"].must_begin <= PILE_DAY + timedelta(days=10)


def test_a_dozen_nice_things_do_not_crowd_out_what_matters(advice):
    made, _ = advice["a dozen nice little things, and one that matters a lot"]
    assert ids(made.now)[0] == "Recital piece"
    assert all("Recital piece" not in t.instead_of for t in made.left_out)
    assert all("Recital piece" in t.beside for t in made.left_out)


def test_what_is_over_makes_room(advice):
    made, _ = advice["last week's concert is over"]
    assert made.what_if == WhatIf(take_on=("New programme",), leave=("Old programme",))


def test_a_gig_keeps_its_tunes_and_the_others_come_one_by_one(advice):
    made, _ = advice["a jazz player: a gig, and tunes for some day"]
    assert {"Gig tune 1", "Gig tune 2"} < set(ids(made.now))
    assert made.left_out == ()  # without a date there is always time


def test_a_little_time_goes_to_the_recital(advice):
    made, _ = advice["five minutes a day, and a recital"]
    assert set(ids(made.now)) == {"Waltz", "March"}
    assert ids(made.later) == ["Scales"]

"""What a supposition does, said plainly; the numbers are those that were found."""

import re
from datetime import timedelta

import pytest

from coldtake.domain import events as ev
from coldtake.domain.topic import Place
from coldtake.planning.triage.selection import triage
from coldtake.planning.triage.triage_words import (
    later_words,
    left_out_words,
    proposal_words,
    taken_words,
)
from coldtake.planning.value.topic_queue import StartEstimate
from coldtake.planning.what_if.comparison import Difference, what_if
from coldtake.planning.what_if.what_if_messages import (
    gained,
    more,
    sentences,
    told_apart,
    turn_words,
    within,
)
from coldtake.planning.what_if.what_if_scenario import WhatIf
from coldtake.planning.words import duration
from logs import DAY, Log

TODAY = DAY + timedelta(days=7)


@pytest.fixture(scope="module")
def state():
    log = Log()
    for name in "abcd":
        log.topic(name, 5, on=DAY + timedelta(days=45), need=50)
        for n in range(5 if name in "abc" else 0):
            log.practised(f"{name}.{n}", [0, 2, 5], yes=n % 2 == 0)
    return log.put(ev.TopicPlaced(topic_id="d", place=Place.WAITING)).state


def said(state, **supposed):
    one = WhatIf(**supposed)
    found = what_if(state, TODAY, one)
    return " ".join(sentences(state, one, found)), found


def test_one_more_topic(state):
    words, found = said(state, take_on=("d",))
    own = next(t for t in found.topics if t.topic_id == "d")
    by = f"{float(gained(own)):.0f}"  # as the table has it, in whole ones from three on
    assert words == (
        f"With “d” as a fourth topic, about {by} more of its 5 steps should be clean on "
        f"16 April. Of the other three topics {more(found.others)}: {within(found.others)}."
    )
    assert re.search(r"topics about 0\.\d fewer: .*, right 4 times in 5\.", words)


def test_one_topic_less(state):
    words, found = said(state, leave=("a",))
    assert words.startswith("Without “a”, about ")
    assert f" Of the other two topics {more(found.others)}: " in words


def test_minutes_holiday_date_and_importance(state):
    words, found = said(state, more_min=20)
    assert words == (
        f"With 20 min more a day, {more(found.all)} steps should be clean on their dates in all: "
        f"{within(found.all)}."
    )
    words, _ = said(state, more_min=-10)
    assert re.match(r"With 10 min less a day, about \S+ fewer steps should", words)
    words, _ = said(state, free_from=DAY + timedelta(days=20), free_days=7)
    assert re.match(r"With 7 days without practice from 22 March, about \S+ fewer", words)
    words, found = said(state, dates={"a": DAY + timedelta(days=20)})
    by = gained(next(t for t in found.topics if t.topic_id == "a")).lstrip("−")
    assert words.startswith(f"With “a” on 22 March, about {by} fewer of its 5 steps")
    words, _ = said(state, importances={"a": 5})
    assert words.startswith("With “a” with importance 5 of 5, ")


def test_a_topic_that_would_not_fit_is_said_not_to():
    log = Log().topic("a", 6, on=DAY + timedelta(days=20), need=60)
    log.topic("big", 20, on=DAY + timedelta(days=20), importance=1, need=200)
    log.put(ev.TopicPlaced(topic_id="big", place=Place.WAITING))
    words, found = said(log.state, take_on=("big",))
    big = next(t for t in found.topics if t.topic_id == "big")
    assert not big.fits_then
    assert "It needs more time than is left before 22 March" in words


def test_several_changes_are_told_together(state):
    words, found = said(state, take_on=("d",), more_min=20)
    assert words.startswith(f"With all these changes, {more(found.all)} steps should be clean")
    assert "the other three topics" in words


def test_what_changes_nothing_says_nothing(state):
    assert said(state)[0] == ""
    assert said(state, take_on=("a",))[0] == ""


@pytest.mark.parametrize(
    ("mean", "low", "high", "words"),
    [
        (4.6, 3.6, 5.6, "about 5 more: between 4 and 6, right 4 times in 5"),
        (0.5, 0.2, 0.9, "about 0.5 more: between 0.2 and 0.9, right 4 times in 5"),
        (-0.5, -0.9, -0.2, "about 0.5 fewer: between 0.2 and 0.9, right 4 times in 5"),
        (-0.5, -1.2, 0.3, "about 0.5 fewer: from 0.3 more to 1.2 fewer, right 4 times in 5"),
        (0.5, -0.01, 1.2, "about 0.5 more: at most 1.2, right 4 times in 5"),
    ],
)
def test_a_difference_in_words(mean, low, high, words):
    gain = Difference(mean=mean, error=0.01, low=low, high=high)
    assert f"{more(gain)}: {within(gain)}" == words


def test_what_cannot_be_told_from_the_error_is_not_told():
    assert told_apart(Difference(mean=0.5, error=0.001, low=0.4, high=0.6))
    assert not told_apart(Difference(mean=0.1, error=0.06, low=-1.0, high=1.0))


@pytest.mark.parametrize(
    ("days", "date_first", "words"),
    [
        ((3, 9, 30), 0.0, "about 18 March, between 12 March and 8 April"),
        ((9, 9, 9), 0.0, "about 18 March"),
        ((3, 9, None), 0.2, "about 18 March, between 12 March and a date not known"),
        ((3, None, None), 0.2, "not before 12 March"),
        ((None, None, None), 0.2, "start date not known"),
        ((0, 0, 3), 0.0, "now: a place is free"),
        ((3, None, None), 0.9, "its date is before its start"),
    ],
)
def test_turns_in_words(days, date_first, words):
    early, middle, late = (None if d is None else TODAY + timedelta(days=d) for d in days)
    turn = StartEstimate(early=early, middle=middle, late=late, date_first=date_first)
    assert turn_words(turn, TODAY) == words


def test_the_triage_in_words():
    log = Log()
    for name, steps, days, importance in (
        ("sure", 4, 30, 4),
        ("big", 20, 12, 5),
        ("bare", 0, None, 3),
        ("rest", 4, 30, 1),
        ("old", 2, 3, 3),
    ):
        on = None if days is None else DAY + timedelta(days=days)
        log.topic(name, steps, on=on, importance=importance, need=60)
        if name in ("bare", "rest"):
            log.put(ev.TopicPlaced(topic_id=name, place=Place.WAITING))
    log.put(ev.SettingChosen(name="current_topics", value="2"))
    state = log.state
    found = triage(state, TODAY, per_day=12.0)
    words = {t.topic_id: " ".join(taken_words(t)) for t in found.now}
    words |= {t.topic_id: " ".join(later_words(state, t, TODAY)) for t in found.later}
    words |= {
        t.topic_id: " ".join(left_out_words(state, t, TODAY, found.per_day_min))
        for t in found.left_out
    }
    assert re.fullmatch(
        r"0 of 4 steps met\. About \d h \d+ min of work left "
        r"\(from the minutes entered and your pace\)\.",
        words["sure"],
    )
    assert re.match(
        r"It needs about \d+ h( 30 min)? \(from the minutes entered and your pace\), and before "
        r"14 March only about 50 min are left\. 0 of 20 steps met\. "
        r"It stays current: its importance is high",
        words["big"],
    )
    assert "No steps yet. Rough estimate: about " in words["bare"]
    assert "as your other topics of this kind have" in words["bare"]
    assert "the time goes to “sure”, which has higher importance." in words["rest"]
    assert re.search(r"min more a day it fits", words["rest"])
    assert words["old"].startswith("Its date, 5 March, is past, and it takes a place. Enter a")
    assert proposal_words(state, found) == "Suggested: set “old” aside."


def test_a_proposal_that_moves_nothing():
    state = Log().topic("a", 2).state
    assert "Nothing needs to change" in proposal_words(state, triage(state, TODAY))


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(0.2, "1 min"), (17.4, "17 min"), (62, "60 min"), (91, "1 h 30 min"), (400, "6 h 30 min")],
)
def test_minutes_of_work_are_said_no_finer_than_they_are_known(minutes, said):
    assert duration(minutes) == said

"""A criterion says itself as one yes/no question, and knows when it is passed."""

import pytest

from coldtake.domain.criterion import (
    ConditionsTest,
    Criterion,
    EvennessTest,
    NoStopsTest,
    NotesTest,
    OwnQuestionTest,
    SteadinessTest,
    TempoTest,
    Times,
    TimingTest,
    TuneTest,
    lucky_pass_chance,
    passed,
)
from coldtake.domain.criterion_words import question


@pytest.mark.parametrize(
    ("tests", "times", "words"),
    [
        ([NotesTest()], Times(), "Every note right?"),
        ([NotesTest(allowed=1)], Times(), "At most 1 wrong, missed or extra note?"),
        (
            [NotesTest(), TempoTest(mark=84), NoStopsTest()],
            Times(wanted=3),
            "Every note right, at ♩ = 84 or faster, without stopping, 3 times in a row?",
        ),
        (
            [TempoTest(mark=60, beat_unit_beats=1.5, within_percent=5)],
            Times(wanted=4, among=5),
            "At ♩. = 60 ± 5%, 4 of 5 times?",
        ),
        ([TimingTest()], Times(), "90% of the notes within 50 ms?"),
        ([TuneTest(tolerance_cents=10)], Times(), "90% of the notes in tune within 10 cents?"),
        (
            [SteadinessTest(), EvennessTest()],
            Times(),
            "Tempo steady within 6%, even within 25 ms?",
        ),
        ([ConditionsTest(stated=("from memory", "standing"))], Times(), "From memory, standing?"),
        ([OwnQuestionTest(question="does it swing?")], Times(), "Does it swing?"),
        (
            [NotesTest(), OwnQuestionTest(question="does it swing"), NoStopsTest()],
            Times(wanted=2),
            "Every note right, without stopping? Does it swing, 2 times in a row?",
        ),
    ],
)
def test_the_question(tests, times, words):
    assert question(Criterion(tests=tuple(tests), times=times)) == words


def test_a_tempo_in_another_beat_unit_is_turned_into_quarters():
    assert TempoTest(mark=60, beat_unit_beats=1.5).bpm == 90


def test_only_measurable_tests_are_heard():
    tests = (NotesTest(), OwnQuestionTest(question="free?"), ConditionsTest(stated=("standing",)))
    assert Criterion(tests=tests).heard == (NotesTest(),)


@pytest.mark.parametrize(
    ("times", "answers", "is_passed"),
    [
        (Times(), "", False),
        (Times(), "y", True),
        (Times(), "yn", False),
        (Times(wanted=3), "yynyy", False),
        (Times(wanted=3), "nyyy", True),
        (Times(wanted=2, among=3), "yny", True),
        (Times(wanted=2, among=3), "ynn", False),
        (Times(wanted=2, among=3), "yynn", False),
    ],
)
def test_passed(times, answers, is_passed):
    assert passed(times, tuple(a == "y" for a in answers)) is is_passed


# William Feller, An Introduction to Probability Theory and Its Applications, vol. I (Wiley), ch.
# XIII.7: at least one run of r successes in n trials. Values computed exactly with fractions.
RUNS = [
    (10, 3, 0.5, 0.5078125),
    (20, 5, 0.5, 0.2498703),
    (100, 5, 0.5, 0.810109599),
    (100, 10, 0.5, 0.044137229),
    (10, 5, 0.9, 0.885735),
    (20, 10, 0.9, 0.69735688),
    (5, 5, 0.8, 0.32768),
    (10, 5, 0.8, 0.65536),
]


@pytest.mark.parametrize(("tries", "run", "chance", "published"), RUNS)
def test_lucky_pass_against_feller(tries, run, chance, published):
    found = lucky_pass_chance(Times(wanted=run), chance, tries)
    assert found == pytest.approx(published, abs=5e-8)  # as many places as are given


@pytest.mark.parametrize(
    ("run", "chance", "mean"),
    [(2, 0.5, 6), (3, 0.5, 14), (3, 0.8, 4.765625), (5, 0.8, 10.258789), (5, 0.9, 6.935088)],
)
def test_mean_waiting_time_against_feller(run, chance, mean):
    """E = sum over n of P(not yet passed after n tries); Feller's (1 - p^r) / (q p^r)."""
    not_yet = (1 - lucky_pass_chance(Times(wanted=run), chance, n) for n in range(300))
    assert sum(not_yet) == pytest.approx(mean, abs=1e-6)

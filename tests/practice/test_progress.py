"""What has moved, and how right it was: from a log, by hand where numbers can be counted."""

from datetime import timedelta

import msgspec
import pytest

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, NotesTest, TempoTest
from coldtake.domain.estimate import ForecastChance, Interval, SaidTopic
from coldtake.domain.take import Answer, Figure, Judge, Verdict
from coldtake.domain.topic import Exercise, PassageRef, Place
from coldtake.learning.calibration import LEAST, IntervalOutcome, yes_chance
from coldtake.practice.reports import digests
from coldtake.practice.reports.progress import CleanTempo, ExerciseTempo
from making import DAY, NOON, step


@pytest.fixture
def scales(services):
    """Three steps of one topic: two of the same bars at 60 and 80, one of other bars."""
    topic = services.pile.add("Scales")
    services.pile.place(topic.id, Place.CURRENT)
    made = []
    for name, passage, mark in (("slow", "p", 60), ("fast", "p", 80), ("other", "q", 72)):
        exercise = Exercise(passage=PassageRef(passage_id=passage), tempo_bpm=mark)
        criterion = Criterion(tests=(NotesTest(), TempoTest(mark=mark)))
        one = step(name, criterion=criterion, exercise=exercise)
        made.append(msgspec.structs.replace(one, topic_id=topic.id))
        services.append(ev.StepKept(step=made[-1]))
    return made


def tried(services, of, day, clean=True, tempo=None, judge=Judge.PLAYER, take_id=None):
    at = NOON + timedelta(days=day)
    data = ev.TryAnswered(
        try_id=take_id or f"{of.id} {day} {tempo}",
        step_id=of.id,
        answer=Answer.YES if clean else Answer.NO,
        judge=judge,
        tempo_bpm=tempo,
        take_id=take_id,
    )
    services.append(data, at=at, day=at.date())


def worked(services, of, day, minutes):
    data = ev.SlotEnded(session_id="s", slot_id=str(day), step_id=of.id, played_s=minutes * 60)
    at = NOON + timedelta(days=day, hours=1)
    services.append(data, at=at, day=at.date())


def test_minutes_by_topic_and_week(services, scales, clock):
    """12 January 2027 is a Tuesday; the 18th begins the next week."""
    other = services.pile.add("Tune")
    tune = services.pile.keep_step(msgspec.structs.replace(step("tune"), topic_id=other.id))
    worked(services, scales[0], 0, 10)
    worked(services, scales[1], 5, 4.5)
    worked(services, scales[1], 6, 20)
    worked(services, tune, 6, 7)
    clock.go_on(days=7)
    mondays, rows = services.progress.minutes_by_week(2)
    assert [m.isoformat() for m in mondays] == ["2027-01-11", "2027-01-18"]
    assert rows == {scales[0].topic_id: [14.5, 20.0], other.id: [0.0, 7.0]}
    assert list(rows) == [scales[0].topic_id, other.id]
    assert sum(map(sum, rows.values())) == sum(w.minutes for w in services.reports.weeks())


def test_the_same_bars_at_other_tempi_are_one_exercise(services, scales):
    slow, fast, other = scales
    tried(services, slow, 0, tempo=60.0)
    tried(services, slow, 0, tempo=66.0)
    tried(services, slow, 1, clean=False, tempo=90.0)
    tried(services, fast, 3, tempo=80.0)
    tried(services, other, 2, tempo=50.0)
    found = services.progress.exercises(DAY)
    assert [[s.title for s in e.steps] for e in found] == [["slow", "fast"], ["other"]]
    assert [c[:2] for c in found[0].clean] == [(DAY, 66.0), (DAY + timedelta(days=3), 80.0)]
    assert (found[0].fastest[:2], found[0].goal_bpm) == ((DAY + timedelta(days=3), 80.0), 80.0)
    assert services.progress.exercise_of(fast) == services.progress.exercise_of(slow) == found[0]
    assert services.progress.exercises(DAY + timedelta(days=3)) == found[:1]


def told_at(*tempi, goal=None):
    one = step("one")
    clean = tuple(CleanTempo(DAY + timedelta(days=n), t, one) for n, t in enumerate(tempi))
    return ExerciseTempo(topic_id="t", steps=(one,), clean=clean, goal_bpm=goal, unit_beats=1.0)


def test_a_tempo_measured_by_a_hair_off_is_the_same_tempo():
    told = told_at(84.0, 83.6, 84.03, goal=84.0)
    assert (told.fastest[:2], told.moved, told.is_open) == ((DAY, 84.0), False, False)
    told = told_at(60.0, 83.0, 80.0, goal=84.0)
    assert (told.fastest[1], told.moved, told.is_open) == (83.0, True, True)
    assert told_at(60.0).is_open


@pytest.mark.parametrize(
    ("titles", "name"),
    [
        (["By leap, even, at 60", "By leap, even, at 72"], "By leap, even"),
        (["Two octaves up", "Two octaves, in tune"], "Two octaves"),
        (["Opening", "The coda"], "The coda"),
        (["The run, at 60"], "The run, at 60"),
        (["Bar 2 at quarter = 84", "Bar 2 at quarter = 132"], "Bar 2"),  # as in old logs
        (["Bar 2 at ♩ = 84", "Bar 2 at ♩ = 132"], "Bar 2"),
        (["The gigue, at ♩. = 60", "The gigue, at ♩. = 72"], "The gigue"),
        (["The gigue, at dotted quarter = 60", "The gigue, at dotted quarter = 72"], "The gigue"),
    ],
)
def test_an_exercise_is_called_what_its_steps_are_called_alike(titles, name):
    steps = tuple(step(title) for title in titles)
    clean = tuple(CleanTempo(DAY + timedelta(days=n), 60.0 + n, s) for n, s in enumerate(steps))
    told = ExerciseTempo(topic_id="t", steps=steps, clean=clean, goal_bpm=None, unit_beats=1.0)
    assert told.title == name


def test_a_step_that_was_never_played_lends_no_name_to_a_tempo(services, scales):
    """Two steps of the same bars, each with its own name: the tempo is that of the one played."""
    slow, fast, _ = scales
    tried(services, slow, 0, tempo=40.0)
    [told] = services.progress.exercises(DAY)
    assert told.steps == (slow, fast)
    assert told.played == (slow,)
    assert (told.title, told.fastest.step) == ("slow", slow)
    assert services.progress.exercise_of(fast).fastest.step == slow  # its page says whose it is


def test_an_answer_without_a_take_leaves_no_tempo(services, scales):
    tried(services, scales[0], 0)
    assert services.progress.exercises(DAY) == ()
    assert services.progress.exercise_of(scales[0]) is None


def test_a_take_that_was_only_too_slow_was_clean_at_its_tempo(services, scales):
    slow = scales[0]

    def heard(name, day, notes_passed):
        at = NOON + timedelta(days=day)
        figures = tuple(
            Figure(name=n, value=0, uncertainty=0, threshold=0, unit="", passed=p)
            for n, p in (("notes", notes_passed), ("tempo", False))
        )
        told = Verdict(
            answer=Answer.NO, reason="", tempo_bpm=55.0, tests=figures, notes=(), engine="line-1"
        )
        record = ev.TakeRecorded(
            take_id=name, step_id=slow.id, duration_s=2, sample_rate=8000, sha256="0" * 64
        )
        services.append(record, ev.TakeJudged(take_id=name, verdict=told), at=at, day=at.date())
        tried(services, slow, day, clean=False, tempo=55.0, judge=Judge.TOOL, take_id=name)

    heard("unclean", 0, notes_passed=False)
    assert services.progress.exercise_of(slow) is None
    heard("slow", 1, notes_passed=True)
    assert services.progress.exercise_of(slow).clean == ((DAY + timedelta(days=1), 55.0, slow),)


def said(services, of, day, chance):
    at = NOON + timedelta(days=day - 1)
    chances = (ForecastChance(step_id=of.id, chance=chance),)
    data = ev.ChancesSaid(for_day=(NOON + timedelta(days=day)).date(), chances=chances)
    services.append(data, at=at, day=at.date())


def test_chances_are_held_against_the_cold_takes_of_their_day(services, scales):
    slow, fast, _ = scales
    said(services, slow, 1, 0.8)
    said(services, fast, 1, 0.4)  # was not played that day: nothing to hold it against
    tried(services, slow, 1, clean=True, tempo=1.0)
    tried(services, slow, 1, clean=False, tempo=2.0)  # the second try of a day is not cold
    tried(services, fast, 2, clean=False)
    known = services.progress.how_right()
    assert (known.told, known.next_day) == (1, None)
    past = services.state().past(slow.id)
    assert digests.digest_of(past, "").cold == {DAY + timedelta(days=1): (True, False)}


def test_enough_of_them_are_scored(services, scales):
    for day in range(1, LEAST + 1):
        said(services, scales[0], day, 0.75)
        tried(services, scales[0], day, clean=day % 4 != 0)
    known = services.progress.how_right().next_day
    yes = yes_chance(0.75, heard=False)  # an answer may be wrong
    assert (known.of, known.came, known.expected) == (20, 15, pytest.approx(20 * yes))
    assert known.constant == pytest.approx(0.1875)
    assert known.brier == pytest.approx(0.75 * (1 - yes) ** 2 + 0.25 * yes**2)
    assert [(g.low, g.came, g.of, g.fits) for g in known.groups] == [(0.7, 15, 20, True)]


def foretold(services, scales, on, low, high):
    topic = SaidTopic(
        topic_id=scales[0].topic_id,
        on=DAY + timedelta(days=on),
        clean_steps=Interval(low=low, mid=low, high=high),
        ready_chance=0.1,
        steps=tuple(ForecastChance(step_id=s.id, chance=0.5) for s in scales),
    )
    services.append(ev.OutlookSaid(topics=(topic,)), at=NOON, day=DAY)


def test_a_date_is_held_against_the_cold_takes_near_it(services, scales, clock):
    foretold(services, scales, 10, 1, 2)
    tried(services, scales[0], 6, clean=False)  # four days before: too far
    tried(services, scales[0], 8, clean=True)
    tried(services, scales[1], 13, clean=True)
    assert services.progress.how_right().intervals == ()
    assert services.progress.how_right().next_due == DAY + timedelta(days=10)
    clock.go_on(days=13)
    [told] = services.progress.how_right().intervals
    assert (told.tried, told.clean, told.kept) == (2, 2, IntervalOutcome.CANNOT_TELL)
    assert services.progress.how_right().dates_told == 2
    assert services.progress.how_right().next_due is None
    tried(services, scales[2], 11, clean=False)
    [told] = services.progress.how_right().intervals
    assert (told.tried, told.clean, told.kept) == (3, 2, IntervalOutcome.YES)


def test_what_was_found_is_there_after_the_next_start(services, scales, open_again, monkeypatch):
    monkeypatch.setattr(digests, "SAVE_FROM", 1)
    for day in range(3):
        tried(services, scales[0], day, tempo=60.0 + day)
    worked(services, scales[0], 0, 10)
    known = services.progress.exercises(DAY)
    for thread in digests.threading.enumerate():
        if thread.name == "shelving":
            thread.join()
    again = open_again()
    monkeypatch.setattr(digests, "digest_of", None)  # nothing is to be made anew
    assert again.progress.exercises(DAY) == known
    assert again.progress.minutes_by_week(1)[1] == {scales[0].topic_id: [10.0]}


def test_a_changed_past_is_gone_through_again(services, scales):
    tried(services, scales[0], 0, tempo=60.0)
    [before] = services.progress.exercises(DAY)
    services.append(ev.AnswerTakenBack(try_id=f"{scales[0].id} 0 60.0"))
    assert before.clean
    assert services.progress.exercises(DAY) == ()

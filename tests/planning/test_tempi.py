"""One tempo story of an exercise: title, stave, question, goal and print take it from here."""

import msgspec
import pytest
from builders import state_of, try_on

from coldtake.domain.criterion import Criterion, NotesTest, TempoTest
from coldtake.domain.plan import SlotKind
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import ClickSetting, Exercise, PassageRef, StepPhase
from coldtake.planning.day.goals import goal
from coldtake.planning.tempi import tempi_in, tempi_of, tempi_words

OPEN, MET = StepPhase.OPEN, StepPhase.MET


def of(test=None, *, played=None, unit=1.0):
    """A step that asks for a tempo, or whose exercise has one."""
    step = state_of((1,)).steps["t0s0"]
    tests = (NotesTest(),) if test is None else (NotesTest(), test)
    return msgspec.structs.replace(
        step,
        criterion=Criterion(tests=tests),
        exercise=Exercise(tempo_bpm=played, click=ClickSetting(beat_unit_beats=unit)),
    )


def test_written_asked_for_and_to_begin_at_each_have_their_name():
    """Seen on a print: title 60, stave 80, “begin near 40”."""
    step = of(TempoTest(mark=60.0), played=60.0)
    tempi = tempi_of(step, (), OPEN, written_bpm=80.0)
    assert (tempi.written, tempi.target, tempi.start, tempi.clean) == (80.0, 60.0, 40.0, None)
    assert tempi_words(tempi) == (
        "Target: ♩ = 60 or faster. Start today at ♩ = 40. Written: ♩ = 80."
    )
    assert tempi_words(tempi, target=False, today=False) == "Written: ♩ = 80."
    said = goal(step, SlotKind.WORK, tempi, OPEN)
    assert said.endswith(f"Start near ♩ = {tempi.start:g}.")


def test_a_range_says_both_limits():
    tempi = tempi_of(of(TempoTest(mark=50.0, within_percent=8.0)), (), OPEN)
    assert (tempi.least, tempi.most) == (46.0, 54.0)
    assert tempi_words(tempi, today=False) == "Target: ♩ = 50 (between 46 and 54)."
    tempi = tempi_of(of(TempoTest(mark=66.0, within_percent=10.0)), (), OPEN)
    assert "(between 59.4 and 72.6)" in tempi_words(tempi)  # as the verdict has it: 73 is too fast


@pytest.mark.parametrize(
    ("clean", "phase", "start", "said"),
    [
        ((), OPEN, 56.0, "Start today at ♩ = 56."),
        ((72.0,), OPEN, 76.0, "Clean so far: ♩ = 72. Start today at ♩ = 76."),
        ((96.0,), OPEN, 96.0, "Clean so far: ♩ = 96."),
        ((), MET, 96.0, "Clean so far: ♩ = 96."),
    ],
)
def test_today_begins_above_what_is_clean(clean, phase, start, said):
    tries = tuple(try_on("t0s0", 3, bpm=bpm) for bpm in clean)
    tempi = tempi_of(of(TempoTest(mark=96.0)), tries, phase)
    assert tempi.start == start
    assert tempi_words(tempi, target=False) == said


def test_without_a_tempo_in_the_question_the_exercise_says_it_in_its_own_beat():
    tempi = tempi_of(of(played=99.0, unit=1.5), (), OPEN, written_bpm=99.0)
    assert (tempi.target, tempi.written) == (66.0, 66.0)
    assert tempi_words(tempi, today=False) == "Target: ♩. = 66."
    assert tempi_words(tempi_of(of(), (), OPEN)) == ""


def test_a_step_that_was_met_does_not_begin_slowly_again_without_a_tempo_in_its_question():
    """A singer's week: “Long tones: met. Today: begin at ♩ = 40.”"""
    tempi = tempi_of(of(played=60.0), (), MET)
    assert tempi.start == 60.0
    assert tempi_words(tempi, target=False) == "Clean so far: ♩ = 60."


def bars(state, step_id, first, last, mark, **changed):
    """Make a step these bars of one passage at a mark; the player named 50 as clean."""
    state.steps[step_id] = msgspec.structs.replace(
        state.steps[step_id],
        criterion=Criterion(tests=(NotesTest(), TempoTest(mark=mark))),
        exercise=Exercise(
            passage=PassageRef(passage_id="minuet", first_bar=first, last_bar=last),
            clean_bpm=50.0,
            **changed,
        ),
    )
    return state.steps[step_id]


@pytest.mark.parametrize(
    ("whole", "judge", "answer", "said"),
    [
        ((1, 12), Judge.TOOL, Answer.YES, "Start at ♩ = 69. These bars were clean at 69 in"),
        ((None, None), Judge.TOOL, Answer.YES, "Start at ♩ = 69. These bars were clean"),
        ((1, 6), Judge.TOOL, Answer.YES, "Start at ♩ = 50, your clean tempo."),
        ((1, 12), Judge.TOOL, Answer.NO, "Start at ♩ = 50, your clean tempo."),
        ((1, 12), Judge.PLAYER, Answer.YES, "Start at ♩ = 50, your clean tempo"),  # one hand?
    ],
)
def test_a_part_begins_where_the_whole_was_heard_clean(whole, judge, answer, said):
    """A lived week: “Begin at 50, which you named” of bars that were heard clean at 69."""
    state = state_of((2,))
    bars(state, "t0s0", *whole, 69.0)
    part = bars(state, "t0s1", 5, 8, 96.0)
    attempt = try_on("t0s0", 1, answer, bpm=69.0)
    state.keep_try(msgspec.structs.replace(attempt, judge=judge), "take")
    found = goal(part, SlotKind.WORK, tempi_in(state, part), OPEN)
    assert found.startswith(said)


def test_a_slower_target_is_not_overshot_and_faster_bars_of_its_own_count_more():
    state = state_of((2,))
    bars(state, "t0s0", 1, 12, 69.0)
    heard = msgspec.structs.replace(try_on("t0s0", 1, bpm=69.0), judge=Judge.TOOL)
    state.keep_try(heard, "take")
    slow = bars(state, "t0s1", 5, 8, 60.0)
    assert goal(slow, SlotKind.WORK, tempi_in(state, slow), OPEN) == (
        "Start at ♩ = 60. These bars were clean at 69 in another step."
    )
    fast = bars(state, "t0s1", 5, 8, 96.0)
    own = (try_on("t0s1", 1, bpm=80.0),)
    assert tempi_in(state, fast, tries=own).start == 84.0
    other_key = bars(state, "t0s1", 5, 8, 96.0, key="A")
    assert tempi_in(state, other_key).start == 50.0

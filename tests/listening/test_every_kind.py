"""No test of a criterion is passed over: what nobody measures is named, and never passes."""

from dataclasses import replace

import pytest
from passages import passage_of
from takes import BPM, tune

from coldtake.domain.criterion import (
    ChangesTest,
    Criterion,
    CriterionTest,
    NotesTest,
    PlayerTest,
    TempoTest,
)
from coldtake.domain.take import Answer
from coldtake.listening.improvised.figures import _register
from coldtake.listening.improvised.judging import judge_improvised_keys
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_judge import judge_keys
from coldtake.listening.keyboard.midi_performance import MidiNote, MidiPerformance
from coldtake.listening.rhythm.judging import judge_rhythm_keys
from coldtake.music.passage import Harmony
from making import one_of_each


class BowingTest(CriterionTest, frozen=True, kw_only=True, tag="bowing"):
    """A kind that nobody has built."""


ONE_OF_EACH = [t for t in one_of_each(mark=BPM) if not isinstance(t, PlayerTest)]
OF_THE_PLAYER = [t for t in one_of_each() if isinstance(t, PlayerTest)]


def pressed(passage, bpm=BPM) -> MidiPerformance:
    """The passage on a keyboard, to the millisecond."""
    beat = 60.0 / bpm
    presses = tuple(
        MidiNote(0.5 + n.onset_beats * beat, 0.45 + n.end_beats * beat, n.pitch, 80)
        for n in passage.notes
    )
    return MidiPerformance(presses, presses[-1].offset_s + 0.5)


def written(*tests):
    return judge_keys(pressed(tune()), JudgingRequest(tune(), Criterion(tests=tests)))


def rhythm(*tests):
    asked = JudgingRequest(tune(), Criterion(tests=tests, rhythm_only=True), tempo_bpm=BPM)
    return judge_rhythm_keys(pressed(tune()), asked)


def over_changes(*tests):
    line = passage_of([(60 + p, 0.5) for p in (0, 4, 7, 4, 0, 4, 7, 4) * 4], bpm=BPM)
    marks = tuple(Harmony(4.0 * k, c) for k, c in enumerate(("C", "C6", "C", "C6")))
    asked = JudgingRequest(replace(line, harmonies=marks), Criterion(tests=tests), tempo_bpm=BPM)
    return judge_improvised_keys(pressed(line), asked)


LISTENERS = [
    (written, (NotesTest(),)),
    (rhythm, (NotesTest(),)),
    (over_changes, (ChangesTest(silence_beats=4),)),
]


@pytest.mark.parametrize(("listener", "known"), LISTENERS)
def test_a_kind_that_nobody_knows_is_named_and_never_passes(listener, known):
    assert listener(*known).answer is Answer.YES
    verdict = listener(*known, BowingTest())
    assert verdict.answer is Answer.CANNOT_TELL
    (figure,) = [f for f in verdict.tests if f.name == "bowing"]
    assert (figure.value, figure.passed, figure.measured) == (None, None, False)
    assert "bowing: not measured" in verdict.reason
    assert "answer for this take yourself" in verdict.remedy


def test_what_failed_is_no_all_the_same():
    assert written(TempoTest(mark=2 * BPM), BowingTest()).answer is Answer.NO


@pytest.mark.parametrize(("listener", "known"), LISTENERS)
@pytest.mark.parametrize("test", ONE_OF_EACH, ids=lambda t: t.__struct_config__.tag)
def test_each_listener_has_a_figure_for_each_kind(listener, known, test):
    if isinstance(test, ChangesTest) and listener is over_changes:
        assert len(listener(test).tests) >= 2  # its parts have names of their own
        return
    tag = str(test.__struct_config__.tag)
    verdict = listener(*known, test) if test not in known else listener(*known)
    assert tag in {f.name for f in verdict.tests}
    if any(not f.measured for f in verdict.tests):
        assert verdict.answer is Answer.CANNOT_TELL


@pytest.mark.parametrize("test", OF_THE_PLAYER, ids=lambda t: t.__struct_config__.tag)
def test_what_only_the_player_can_answer_has_no_figure(test):
    assert [f.name for f in written(NotesTest(), test).tests] == ["notes"]


def test_a_range_over_which_nothing_was_heard_is_not_kept():
    figure = _register(ChangesTest(lowest=60), ())
    assert figure.passed is None

"""How a step goes from open to met, held and slipped, and where its topic stands."""

import pytest

from coldtake.domain.criterion import Times
from coldtake.domain.progress import Standing, phase_changes, standing, step_phase
from coldtake.domain.take import Answer
from coldtake.domain.topic import Place, StepPhase
from making import attempt, step

ANSWERS = {"y": Answer.YES, "n": Answer.NO, "?": Answer.CANNOT_TELL}


def tries(told: str):
    """Read "0:ny 1:Y": day 0 a warm no and yes, day 1 a cold yes (capitals are cold)."""
    made = []
    for day_told in told.split():
        day, _, signs = day_told.partition(":")
        for number, sign in enumerate(signs):
            answer = ANSWERS[sign.lower()]
            cold = sign.isupper() or (sign == "?" and number == 0)
            made.append(attempt(answer, day=int(day), cold=cold, number=number))
    return tuple(made)


@pytest.mark.parametrize(
    ("told", "phase"),
    [
        ("", StepPhase.OPEN),
        ("0:?", StepPhase.IN_WORK),
        ("0:n", StepPhase.IN_WORK),
        ("0:ny", StepPhase.MET),
        ("0:y 0:n", StepPhase.MET),  # a warm no on the same day is no check
        ("0:yn 1:n", StepPhase.MET),  # nor is any warm no later
        ("0:y 2:Y", StepPhase.MET),
        ("0:y 2:Y 5:Y", StepPhase.HELD),
        ("0:y 3:Y 5:Y", StepPhase.MET),  # the distance shrank
        ("0:y 3:Y 5:Y 8:Y", StepPhase.HELD),
        ("0:y 2:Y 5:Y 9:N", StepPhase.SLIPPED),
        ("0:y 2:N", StepPhase.SLIPPED),
        ("0:y 2:?", StepPhase.MET),  # "cannot tell" changes nothing
        ("0:y 2:Nn", StepPhase.SLIPPED),
        ("0:y 2:Ny", StepPhase.MET),  # met again after the slip
    ],
)
def test_phase(told, phase):
    assert step_phase(step().criterion, tries(told)) is phase


def test_three_in_a_row_are_needed_where_asked():
    criterion = step(times=Times(wanted=3)).criterion
    assert step_phase(criterion, tries("0:yyn 1:Yy")) is StepPhase.IN_WORK
    assert step_phase(criterion, tries("0:yyn 1:Yyy")) is StepPhase.MET


def test_work_without_an_answer_is_in_work():
    assert step_phase(step().criterion, (), worked=True) is StepPhase.IN_WORK


def test_changes_name_the_try_that_brought_each_phase():
    told = tries("0:ny 2:Y 5:Y 9:N")
    changes = phase_changes(step().criterion, told)
    assert [(told.index(t), p) for t, p in changes] == [
        (0, StepPhase.IN_WORK),
        (1, StepPhase.MET),
        (3, StepPhase.HELD),
        (4, StepPhase.SLIPPED),
    ]


@pytest.mark.parametrize(
    ("place", "phases", "stands"),
    [
        (Place.CURRENT, (), Standing.CURRENT),
        (Place.CURRENT, (StepPhase.MET, StepPhase.HELD), Standing.KEPT_UP),
        (Place.CURRENT, (StepPhase.MET, StepPhase.SLIPPED), Standing.CURRENT),
        (Place.WAITING, (StepPhase.MET,), Standing.WAITING),
        (Place.LAID_ASIDE, (StepPhase.MET,), Standing.LAID_ASIDE),
    ],
)
def test_standing(place, phases, stands):
    assert standing(place, phases) is stands

"""What a pass and the cold takes mean, in sentences: for the step, the take and the session."""

from collections.abc import Mapping, Sequence

from coldtake.domain.criterion import Times
from coldtake.domain.take import Try
from coldtake.domain.topic import Step
from coldtake.learning import pass_evidence
from coldtake.learning.pass_evidence import Cold, HeldTestStanding, Pass
from coldtake.learning.support import Decision, SequentialTest
from coldtake.planning.words import between, in_hundred
from coldtake.settings import value_of
from coldtake.web.rendering import percent

LUCKY_MOST = 40  # tries of one step in one session
FIVE = Times(wanted=5)  # the worked example: what teachers ask for most; common practice, no source


def chosen_test(chosen: Mapping[str, str]) -> SequentialTest | None:
    """Return the test as the settings have it; None while it is not wished for."""
    if not value_of(chosen, "held_test"):
        return None
    poor, good, wrong_yes, wrong_no = (
        value_of(chosen, name) / 100
        for name in ("held_poor", "held_good", "held_wrong_yes", "held_wrong_no")
    )
    return SequentialTest(poor=poor, good=good, false_held=wrong_yes, false_not=wrong_no)


def times_words(times: Times) -> str:
    """Say how often a criterion asks for a yes."""
    if times.among is not None:
        return f"{times.wanted} of {times.among}"
    return "One yes" if times.wanted == 1 else f"{times.wanted} in a row"


def pass_words(times: Times, known: Pass) -> tuple[str, ...]:
    """Say what passing a criterion supports, and how lucky a pass may be."""
    at_once = f"{times_words(times)}, passed at once"
    said = [
        f"{at_once}: the chance of a clean first try is {between(known.supports)}.",
        f"A passage that is clean only half the time also passes {_chances(known.lucky)}.",
    ]
    if known.took is not None and known.took_lucky is not None:
        tries = "the first try" if known.took == 1 else f"{known.took} tries"
        said.append(
            f"You passed it within {tries}. A passage that is clean only half the time does so "
            f"{_times(known.took_lucky)}."
        )
    return tuple(said)


def _times(chance: float) -> str:
    """Say how often out of a hundred: “81 times in 100”."""
    whole = in_hundred(chance)
    count, _, _ = whole.rpartition(" in 100")
    return f"{count} time{'' if count.endswith(' 1') or count == '1' else 's'} in 100"


def _chances(lucky: Sequence[tuple[int, float]]) -> str:
    return " and ".join(f"within {n} tries {_times(p)}" for n, p in lucky)


def example_words() -> str:
    """Tell the worked example: five in a row."""
    known = pass_evidence.pass_of(FIVE, ())
    return (
        "Five in a row says less than it seems. A passage that is clean only half the time passes "
        f"{_chances(known.lucky)}. If passed at once, the chance of a clean first try is "
        f"{between(known.supports)}."
    )


def cold_words(known: Cold) -> str:
    """Say what the last cold takes support, counted by themselves."""
    if known.of == 1:
        told = f"The only cold take was {'' if known.clean else 'not '}clean"
    else:
        were = "was" if known.clean == 1 else "were"
        told = f"{known.clean} of the last {known.of} cold takes {were} clean"
    return (
        f"{told}. From cold takes only, the chance of a clean first try is "
        f"{between(known.supports)}, right 4 times in 5."
    )


def test_words(test: SequentialTest, known: HeldTestStanding) -> str:
    """Say how the held-test stands after the newest cold take."""
    asked = f"Held-test, {percent(test.poor)} against {percent(test.good)}"
    if known.ended is Decision.HELD:
        return f"{asked}: held. This is wrong for at most {percent(test.false_held)} of weak steps."
    if known.ended is Decision.NOT_HELD:
        return (
            f"{asked}: not held. This is wrong for at most {percent(test.false_not)} of good steps."
        )
    count = f"{known.yeses} clean, {known.noes} not" if known.yeses + known.noes else "new count"
    before = {Decision.HELD: " The count before: held.", None: ""}.get(
        known.before, " The count before: not held."
    )
    return (
        f"{asked}: {count}, no decision yet. Held after {known.to_held} more clean in a row, "
        f"not held after {known.to_not_held} more unclean.{before}"
    )


def cold_said(answers: Sequence[bool], test: SequentialTest | None) -> tuple[str, ...]:
    """Say what all cold takes mean, oldest first; nothing without one."""
    known = pass_evidence.cold_of(answers)
    if known is None:
        return ()
    told = (cold_words(known),)
    return (
        told
        if test is None
        else (*told, test_words(test, pass_evidence.standing_of(test, answers)))
    )


def after_cold(tries: Sequence[Try], test: SequentialTest | None) -> dict[str, str]:
    """Say beforehand what the next cold take will mean, by its answer: pages without a server."""
    before = pass_evidence.answers_of(tries, cold=True)
    return {
        answer: " ".join(cold_said((*before, answer == "yes"), test)) for answer in ("yes", "no")
    }


def lucky_said(step: Step, tries: Sequence[Try]) -> list[str]:
    """Say beforehand how lucky a pass would be after each of the next tries."""
    return [_times(p) for p in pass_evidence.lucky_ahead(step.criterion, tries, LUCKY_MOST)]

"""What a pass and the cold takes mean, in sentences: for the step, the take and the session."""

from collections.abc import Mapping, Sequence

from coldtake.domain.criterion import Times
from coldtake.domain.take import Try
from coldtake.domain.topic import Step
from coldtake.learning import meaning
from coldtake.learning.meaning import Cold, Pass, Standing
from coldtake.learning.support import Decision, SequentialTest
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
    low, high = percent(known.supports.low), percent(known.supports.high)
    asked = times_words(times)
    said = [
        f"{asked}, at the very first chance, supports a clean first try of {low} to {high}.",
        f"A passage that works half the time passes within {_chances(known.lucky)}.",
    ]
    if known.took is not None and known.took_lucky is not None:
        tries = "the first try" if known.took == 1 else f"{known.took} tries"
        said.append(
            f"It was passed within {tries}: so would a passage that works half the time, "
            f"with a chance of {percent(known.took_lucky)}."
        )
    return tuple(said)


def _chances(lucky: Sequence[tuple[int, float]]) -> str:
    return ", within ".join(f"{n} tries with a chance of {percent(p)}" for n, p in lucky)


def example_words() -> str:
    """Tell the worked example: five in a row."""
    known = meaning.pass_of(FIVE, ())
    (few, rare), (many, often) = known.lucky
    return (
        f"Five in a row says less than it seems: a passage that works half the time gets there "
        f"within {few} tries with a chance of {percent(rare)}, within {many} with "
        f"{percent(often)}. Passed at once it supports {percent(known.supports.low)} and more."
    )


def cold_words(known: Cold) -> str:
    """Say what the last cold takes support."""
    if known.of == 1:
        told = f"The only cold take {'came' if known.clean else 'did not come'} out clean"
    else:
        told = f"Of the last {known.of} cold takes {known.clean} came out clean"
    low, high = percent(known.supports.low), percent(known.supports.high)
    return f"{told}: that supports a clean first try of {low} to {high}."


def test_words(test: SequentialTest, known: Standing) -> str:
    """Say how the held-test stands after the newest cold take."""
    asked = f"Held-test, {percent(test.poor)} against {percent(test.good)}"
    if known.ended is Decision.HELD:
        return f"{asked}: held. Of poor steps it says so {percent(test.false_held)} at most."
    if known.ended is Decision.NOT_HELD:
        return f"{asked}: not held. Of good steps it says so {percent(test.false_not)} at most."
    count = (
        f"{known.yeses} clean, {known.noes} not" if known.yeses + known.noes else "a fresh count"
    )
    before = {Decision.HELD: " The count before said held.", None: ""}.get(
        known.before, " The count before said not held."
    )
    return (
        f"{asked}: {count}, nothing decided. Held after {known.to_held} more clean in a row, "
        f"not held after {known.to_not_held} more unclean.{before}"
    )


def cold_said(answers: Sequence[bool], test: SequentialTest | None) -> tuple[str, ...]:
    """Say what all cold takes mean, oldest first; nothing without one."""
    known = meaning.cold_of(answers)
    if known is None:
        return ()
    told = (cold_words(known),)
    return told if test is None else (*told, test_words(test, meaning.standing_of(test, answers)))


def after_cold(tries: Sequence[Try], test: SequentialTest | None) -> dict[str, str]:
    """Say beforehand what the next cold take will mean, by its answer: pages without a server."""
    before = meaning.answers_of(tries, cold=True)
    return {
        answer: " ".join(cold_said((*before, answer == "yes"), test)) for answer in ("yes", "no")
    }


def lucky_said(step: Step, tries: Sequence[Try]) -> list[str]:
    """Say beforehand how lucky a pass would be after each of the next tries."""
    return [percent(p) for p in meaning.lucky_ahead(step.criterion, tries, LUCKY_MOST)]

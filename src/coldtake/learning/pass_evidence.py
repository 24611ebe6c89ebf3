"""What an answer means: what the cold takes support, how lucky a pass may have been, and a test.

The cold takes are taken as if each had the same chance, which a step that is learnt or forgotten
has not; the estimate of the step (`memory`) goes by days instead. So only the last few count here.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from coldtake.domain.criterion import Criterion, Times, passed
from coldtake.domain.estimate import Interval
from coldtake.domain.progress import phase_changes, step_phase
from coldtake.domain.take import Answer, Try
from coldtake.domain.topic import StepPhase
from coldtake.learning.support import (
    Decision,
    SequentialTest,
    clean_chance_interval,
    lucky_passes,
    passed_supports,
)

COLD_LATEST = 10  # cold takes that are counted together, the last ones
HALF_THE_TIME = 0.5  # a passage that nobody would call safe
USUAL_TRIES = (20, 100)


@dataclass(frozen=True, slots=True)
class Pass:
    """What passing a criterion means.

    supports : chance of a clean first try when it was passed at the very first chance
    lucky : (tries, chance that a passage which works half the time passes within them)
    took, took_lucky : tries that the pass took, and the same chance for them; None: no pass
    """

    supports: Interval
    lucky: tuple[tuple[int, float], ...]
    took: int | None
    took_lucky: float | None


@dataclass(frozen=True, slots=True)
class Cold:
    """The last cold takes: `clean` of `of`, and the chance of a clean first try they support."""

    clean: int
    of: int
    supports: Interval


@dataclass(frozen=True, slots=True)
class HeldTestStanding:
    """Where the sequential test stands: its count since it last came to an end.

    ended : how it came to an end with the newest cold take, or GO_ON
    before : how it came to an end the time before, None: never
    to_held, to_not_held : clean (not clean) cold takes in a row that would end the present count
    """

    yeses: int
    noes: int
    ended: Decision
    before: Decision | None
    to_held: int
    to_not_held: int


def answers_of(tries: Sequence[Try], *, cold: bool = False) -> tuple[bool, ...]:
    """Return the yeses and noes, oldest first; "cannot tell" says nothing.

    cold : only those of cold takes, which what a run of the piece said is not
    """
    return tuple(
        t.answer is Answer.YES
        for t in tries
        if t.answer is not Answer.CANNOT_TELL and (not cold or (t.cold and t.run_id is None))
    )


def pass_of(times: Times, answers: Sequence[bool]) -> Pass:
    """Say what a criterion's pass means; `answers` since it slipped last, oldest first."""
    took = _took(times, answers)
    lucky = lucky_passes(times, HALF_THE_TIME, max(*USUAL_TRIES, took or 0))
    return Pass(
        supports=passed_supports(times),
        lucky=tuple((n, lucky[n - 1]) for n in USUAL_TRIES),
        took=took,
        took_lucky=None if took is None else lucky[took - 1],
    )


def lucky_ahead(criterion: Criterion, tries: Sequence[Try], more: int) -> tuple[float, ...]:
    """Chance of a lucky pass within the tries so far and 1, 2, ... `more`; none once it is met."""
    if step_phase(criterion, tuple(tries)) in (StepPhase.MET, StepPhase.HELD):
        return ()
    so_far = len(answers_of(since_slip(criterion, tries)))
    return lucky_passes(criterion.times, HALF_THE_TIME, so_far + more)[so_far:]


def since_slip(criterion: Criterion, tries: Sequence[Try]) -> tuple[Try, ...]:
    """Return the tries after the last slip: with it the way to a pass begins anew."""
    slips = [
        t.id for t, phase in phase_changes(criterion, tuple(tries)) if phase is StepPhase.SLIPPED
    ]
    if not slips:
        return tuple(tries)
    last = next(n for n, attempt in enumerate(tries) if attempt.id == slips[-1])
    return tuple(tries[last + 1 :])


def _took(times: Times, answers: Sequence[bool]) -> int | None:
    """Count the tries to the first pass; None when there was none."""
    ends = range(1, len(answers) + 1)
    return next((n for n in ends if passed(times, tuple(answers[:n]))), None)


def cold_of(answers: Sequence[bool]) -> Cold | None:
    """Say what the last cold takes support; None without any."""
    latest = answers[-COLD_LATEST:]
    if not latest:
        return None
    clean = sum(latest)
    return Cold(clean, len(latest), clean_chance_interval(clean, len(latest)))


def standing_of(test: SequentialTest, answers: Sequence[bool]) -> HeldTestStanding:
    """Walk all cold takes, oldest first; the count begins anew after each end.

    The chosen errors hold for each count, not for all of them together.
    """
    yeses = noes = 0
    ended, before = Decision.GO_ON, None
    for answer in answers:
        if ended is not Decision.GO_ON:
            before, yeses, noes = ended, 0, 0
        yeses, noes = yeses + answer, noes + (not answer)
        ended = test.standing(yeses, noes)
    fresh = ended is not Decision.GO_ON
    now = (0, 0) if fresh else (yeses, noes)
    return HeldTestStanding(
        yeses=yeses,
        noes=noes,
        ended=ended,
        before=before,
        to_held=_more(test, now, Decision.HELD),
        to_not_held=_more(test, now, Decision.NOT_HELD),
    )


def _more(test: SequentialTest, now: tuple[int, int], wanted: Decision) -> int:
    """Count the like answers in a row that bring a count to an end."""
    clean = wanted is Decision.HELD
    count = 1
    while test.standing(now[0] + clean * count, now[1] + (not clean) * count) is not wanted:
        count += 1
    return count

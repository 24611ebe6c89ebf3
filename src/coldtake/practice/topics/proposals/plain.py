"""Anything else: a plain list, one step a line, in the player's own words."""

from coldtake.domain.criterion import Criterion, OwnQuestionTest
from coldtake.domain.topic import Exercise
from coldtake.errors import RuleError
from coldtake.practice.topics.proposals.asks import STEPS_MOST, PlainAsk, Proposal
from coldtake.practice.topics.proposals.laying import Laying
from coldtake.practice.validation import title_of

PLAIN_MIN = 30  # a guess
QUESTION = "Is it clean at the first try"


def propose(topic_id: str, ask: PlainAsk) -> Proposal:
    """One step a line, blank lines skipped. Raises RuleError."""
    lines = [line for line in ask.lines.splitlines() if line.strip()]
    if not lines:
        raise RuleError("There are no lines yet.", remedy="Write one step on each line.")
    if len(lines) > STEPS_MOST:
        raise RuleError(
            f"{len(lines)} lines. At most {STEPS_MOST} are allowed.", remedy="Write fewer."
        )
    laying = Laying(topic_id, ask)
    last = ""
    for line in lines:
        needs = (last,) if last and ask.in_order else ()
        criterion = Criterion(tests=(OwnQuestionTest(question=QUESTION),))
        last = laying.step(title_of(line, "line"), criterion, Exercise(), PLAIN_MIN, needs)
    return laying.proposal(
        f"From your lines: {PLAIN_MIN} min for each step, and a question. You can edit both."
    )

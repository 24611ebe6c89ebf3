"""The first minutes: from one typed line to a session, without anything laid out before.

The line becomes a current topic with one step and a question that only the player answers, since
there is no notation yet. Today's plan opens with a cold take of it: the first finished slot comes
after two minutes, and whoever begins meets at once what the rest is about.
"""

from coldtake.domain.criterion import Criterion, OwnQuestionTest
from coldtake.domain.plan import Plan, PlanRequest, SlotKind, Wish
from coldtake.domain.topic import Place, Step
from coldtake.practice.access import Action, needs
from coldtake.practice.plans.plans import PlanService
from coldtake.practice.state.log import Log
from coldtake.practice.topics.pile import Pile
from coldtake.settings import value_of

STEP = "Once through"
QUESTION = "Was it clean"


class QuickStart:
    """Use case of the first minutes."""

    def __init__(self, log: Log, pile: Pile, evening: PlanService) -> None:
        self._log = log
        self._pile = pile
        self._evening = evening

    @needs(Action.CHANGE_TOPICS)
    def play_now(self, title: str, minutes: int) -> Plan:
        """Add a topic with its first step and plan today with it. Raises RuleError, PlanError.

        The topic waits when as many are current as may be; the plan then goes without it.
        """
        state = self._log.state()
        current = sum(t.place is Place.CURRENT for t in state.topics.values())
        room = current < value_of(state.settings, "current_topics")
        topic = self._pile.add(title, place=Place.CURRENT if room else Place.WAITING)
        asked = Criterion(tests=(OwnQuestionTest(question=QUESTION),))
        step = self._pile.keep_step(
            Step(id=self._log.new_id(), topic_id=topic.id, title=STEP, criterion=asked)
        )
        today = self._log.today()
        cold = Wish(
            step_id=step.id, kind=SlotKind.COLD, minutes=value_of(state.settings, "cold_minutes")
        )
        return self._evening.propose(
            PlanRequest(
                day=today,
                starts_at=self._evening.default_request(today).starts_at,
                minutes=minutes,
                wishes=(cold,) if room else (),
            )
        )

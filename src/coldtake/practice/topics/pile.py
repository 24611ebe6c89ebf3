"""The pile and its topic maps: everything goes in within seconds, few topics are current."""

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Any

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.history.state import State
from coldtake.domain.progress import Standing
from coldtake.domain.topic import Place, Step, StoredPassage, Topic
from coldtake.errors import NoRoomError, RuleError
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log
from coldtake.practice.topics import rules
from coldtake.practice.topics.passages import Passages, same, with_passage
from coldtake.practice.topics.proposals.asks import AnyAsk, Proposal
from coldtake.practice.topics.proposals.door import Proposals
from coldtake.practice.validation import title_of, whole
from coldtake.settings import value_of

if TYPE_CHECKING:
    from coldtake.music.passage import Passage

LINES_MOST = 500


class Pile:
    """Use cases for topics, steps and passages. Every change is one event, or none."""

    def __init__(self, log: Log) -> None:
        self._log = log
        self.passages = Passages(log)
        self._proposals = Proposals(log, self.passages)

    @needs(Action.CHANGE_TOPICS)
    def add(self, title: str, **fields: Any) -> Topic:
        """Add a topic; fields are those of `Topic`. Raises RuleError."""
        topic = Topic(id=self._log.new_id(), title=title, **fields)
        return self.keep_topic(topic)

    @needs(Action.CHANGE_TOPICS)
    def add_many(self, text: str) -> tuple[Topic, ...]:
        """Add one waiting topic per line, blank lines skipped; all of them or, on a fault, none.

        Raises RuleError that names every line at fault: too long, twice, already in the pile.
        """
        with self._log.deciding() as state:
            titles = _titles(text, state)
            topics = tuple(Topic(id=self._log.new_id(), title=title) for title in titles)
            self._log.append(*(ev.TopicKept(topic=topic) for topic in topics))
        return topics

    @needs(Action.CHANGE_TOPICS)
    def keep_topic(self, topic: Topic) -> Topic:
        """Keep a topic's title, kind, importance, date and notes. Raises RuleError.

        The place of a known topic stays as it is; `place` changes that.
        """
        topic = msgspec.structs.replace(
            topic, title=title_of(topic.title), notes=topic.notes.strip()
        )
        topic = whole(topic, where=topic.title)
        with self._log.deciding() as state:
            known = state.topics.get(topic.id)
            rules.check_date(topic, known, self._log.today())
            if known:
                topic = msgspec.structs.replace(topic, place=known.place)
            elif topic.place is Place.CURRENT:
                _check_room(state, topic)
            if topic != known:
                self._log.append(ev.TopicKept(topic=topic))
        return topic

    @needs(Action.CHANGE_TOPICS)
    def place(self, topic_id: str, place: Place) -> Topic:
        """Move a topic to waiting, current or laid aside; nothing of it is lost by that.

        Raises NoRoomError past the limit of current topics; kept-up topics take no place.
        """
        place = Place(place)
        with self._log.deciding() as state:
            topic = lookup.topic(state, topic_id)
            if topic.place is place:
                return topic
            if place is Place.CURRENT:
                _check_room(state, topic)
            self._log.append(ev.TopicPlaced(topic_id=topic_id, place=place))
        return msgspec.structs.replace(topic, place=place)

    @needs(Action.CHANGE_TOPICS)
    def exchange(self, topic_id: str, leaving_id: str, to: Place) -> Topic:
        """Make a topic current in another's place, which moves to waiting or aside: both or none.

        Raises NoRoomError when that makes no room; an exchange is allowed above a lowered limit.
        """
        to = Place(to)
        if to is Place.CURRENT or topic_id == leaving_id:
            raise RuleError(
                "Choose a topic that makes room.", remedy="Choose another current topic."
            )
        with self._log.deciding() as state:
            topic, leaving = lookup.topic(state, topic_id), lookup.topic(state, leaving_id)
            if topic.place is not Place.CURRENT:
                _check_room(state, topic, leaving_id)
            self._log.append(
                *(
                    ev.TopicPlaced(topic_id=t.id, place=place)
                    for t, place in ((leaving, to), (topic, Place.CURRENT))
                    if t.place is not place
                )
            )
        return msgspec.structs.replace(topic, place=Place.CURRENT)

    @needs(Action.CHANGE_TOPICS)
    def keep_step(self, step: Step) -> Step:
        """Add a step at the end of its topic, or change it in place. Raises RuleError."""
        step = msgspec.structs.replace(step, title=title_of(step.title, "step's title"))
        step = whole(step, where=step.title)
        if step.exercise.passage:
            self.passages.check(step.exercise.passage)
        with self._log.deciding() as state:
            rules.check_step(state, step)
            if step != state.steps.get(step.id):
                self._log.append(ev.StepKept(step=step))
        return step

    @needs(Action.CHANGE_TOPICS)
    def give_notation(self, step_id: str, data: bytes, filename: str) -> Step:
        """Keep notation and let a step be played from it: both, or on any fault neither.

        Raises NotFoundError, PassageError, RuleError.
        """
        step = self.step(step_id)
        stored, read = self.passages.read_in(data, filename, untitled=step.title)
        with self._log.deciding() as state:
            known = same(state, stored)
            stored = known or stored
            step = self._on_passage(state, step_id, stored.id, read)
            kept = () if known else (ev.PassageKept(passage=stored),)
            self._log.append(*kept, ev.StepKept(step=step))
        return step

    @needs(Action.CHANGE_TOPICS)
    def give_passage(self, step_id: str, passage_id: str) -> Step:
        """Let a step be played from a passage of the pile. Raises NotFoundError, RuleError."""
        read = self.passages.read(passage_id)
        with self._log.deciding() as state:
            step = self._on_passage(state, step_id, passage_id, read)
            if step != state.steps.get(step_id):
                self._log.append(ev.StepKept(step=step))
        return step

    def _on_passage(self, state: State, step_id: str, passage_id: str, read: "Passage") -> Step:
        step = lookup.step(state, step_id)
        exercise = with_passage(step.exercise, passage_id, read)
        changed = whole(msgspec.structs.replace(step, exercise=exercise), where=step.title)
        rules.check_step(state, changed)
        return changed

    @needs(Action.CHANGE_TOPICS)
    def order_steps(self, topic_id: str, step_ids: Sequence[str]) -> None:
        """Put a topic's steps into a new order; steps not named stay at the end."""
        with self._log.deciding() as state:
            lookup.topic(state, topic_id)
            for step_id in step_ids:
                if lookup.step(state, step_id).topic_id != topic_id:
                    raise RuleError(
                        "A step of another topic cannot be moved here.",
                        where=state.steps[step_id].title,
                        remedy="Use only steps of this topic.",
                    )
            self._log.append(ev.StepsOrdered(topic_id=topic_id, step_ids=tuple(step_ids)))

    @needs(Action.CHANGE_TOPICS)
    def drop_step(self, step_id: str) -> None:
        """Take a step off its topic's map; its tries and takes stay in the log."""
        with self._log.deciding() as state:
            lookup.step(state, step_id)
            self._log.append(ev.StepDropped(step_id=step_id))

    @needs(Action.CHANGE_TOPICS)
    def keep_passage(
        self, data: bytes, filename: str, title: str = "", *, untitled: str = ""
    ) -> StoredPassage:
        """Keep notation after reading it. Raises PassageError with the place of the fault.

        untitled : its title where neither the caller nor the notation gives one, else the file's
        """
        return self.passages.keep(data, filename, title, untitled)

    @needs(Action.SEE)
    def passage(self, passage_id: str) -> "Passage":
        """Return a passage's note list. Raises NotFoundError."""
        return self.passages.read(passage_id)

    @needs(Action.SEE)
    def exercise_passage(self, step: Step) -> "Passage | None":
        """Return the bars to be played for a step, None when its exercise has no passage."""
        return self.passages.of_step(step)

    @needs(Action.SEE)
    def propose_steps(self, topic_id: str, ask: AnyAsk) -> Proposal:
        """Propose a topic's map; nothing is kept. Raises NotFoundError, InputError."""
        return self._proposals.propose(topic_id, ask)

    @needs(Action.CHANGE_TOPICS)
    def keep_proposal(
        self, proposal: Proposal, step_ids: Collection[str] | None = None
    ) -> tuple[Step, ...]:
        """Keep a proposal's steps, all or those named, in one append. Raises RuleError."""
        return self._proposals.keep(proposal, step_ids)

    @needs(Action.SEE)
    def topic(self, topic_id: str) -> Topic:
        """Return a topic. Raises NotFoundError."""
        return lookup.topic(self._log.state(), topic_id)

    @needs(Action.SEE)
    def step(self, step_id: str) -> Step:
        """Return a step. Raises NotFoundError."""
        return lookup.step(self._log.state(), step_id)


def _check_room(state: State, topic: Topic, leaving_id: str = "") -> None:
    """Raise NoRoomError when one more current topic would pass the limit; `leaving_id` goes."""
    if rules.takes_no_place(state, topic.id):
        return
    standings = state.standings()
    taken = [t for t in state.topics.values() if standings[t.id] is Standing.CURRENT]
    limit = value_of(state.settings, "current_topics")
    if len(taken) < limit or any(t.id == leaving_id for t in taken):
        return
    names = ", ".join(f"“{t.title}”" for t in taken)
    raise NoRoomError(
        f"{len(taken)} topics are current already ({names}) and your limit is {limit}. "
        "With more topics, each is practised too rarely.",
        where=topic.title,
        remedy="Move one to waiting, set one aside, or raise the limit in the settings. Steps and "
        "takes stay.",
        topic_id=topic.id,
        current=tuple(t.id for t in taken),
    )


def _titles(text: str, state: State) -> tuple[str, ...]:
    """Read one title per line; raise one RuleError naming every line at fault."""
    numbered = [(n, line) for n, line in enumerate(text.splitlines(), start=1) if line.strip()]
    if not numbered:
        raise RuleError("There is no title in this text.", remedy="Write one topic per line.")
    if len(numbered) > LINES_MOST:
        raise RuleError(
            f"{len(numbered)} lines at once. At most {LINES_MOST} are allowed.",
            remedy="Paste fewer lines at once.",
        )
    first_line = {t.title.casefold(): 0 for t in state.topics.values()}
    titles, faults = [], []
    for number, line in numbered:
        fault = _line_fault(line, first_line)
        if fault:
            faults.append(f"line {number} {fault}")
            continue
        titles.append(title_of(line))
        first_line[titles[-1].casefold()] = number
    if faults:
        raise RuleError(
            f"Nothing was added: {'; '.join(faults)}.", remedy="Edit these lines and try again."
        )
    return tuple(titles)


def _line_fault(line: str, first_line: dict[str, int]) -> str:
    try:
        title = title_of(line)
    except RuleError as fault:
        return f"cannot be a title ({fault.what.rstrip('.')})"
    before = first_line.get(title.casefold())
    if before is None:
        return ""
    if before == 0:
        return f"(“{title}”) is already one of your topics"
    return f"(“{title}”) is the same as line {before}"

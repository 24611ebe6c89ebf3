"""Tomorrow's plan: from what minutes are worth to a session with reasons.

Pure: no clock, no chance, nothing kept; equal states and requests give equal plans. The library's
short way, without web or database (`events` is any log):

    from datetime import date, time
    from coldtake.domain.plan import PlanRequest
    from coldtake.domain.history.projection import fold
    from coldtake.planning.day.plan_day import plan_day

    state = fold(events)
    request = PlanRequest(day=date(2026, 1, 12), starts_at=time(17), minutes=60)
    for period in plan_day(state, request).periods:
        for slot in period.slots:
            print(slot.minutes, slot.question, slot.reason)
"""

from collections.abc import Collection, Sequence
from dataclasses import replace

import msgspec

from coldtake.domain.criterion_words import question
from coldtake.domain.history.state import State
from coldtake.domain.ids import named_id
from coldtake.domain.plan import (
    Period,
    Plan,
    PlannedRun,
    PlanRequest,
    PlanRules,
    Slot,
    SlotKind,
    Wish,
    session_name,
    violations,
)
from coldtake.domain.topic import Exercise, Place, Step, StepPhase
from coldtake.errors import PlanError
from coldtake.planning.day.alternatives import left_out_steps, spare_pieces
from coldtake.planning.day.changes import settled
from coldtake.planning.day.composition.around import compose_around
from coldtake.planning.day.composition.compose import Task
from coldtake.planning.day.composition.options import limits_of
from coldtake.planning.day.composition.slot_drafts import PinnedSlot, SlotDraft
from coldtake.planning.day.composition.user_constraints import UserConstraints, read_wishes
from coldtake.planning.day.earlier_sessions import after_earlier, one_first_try
from coldtake.planning.day.goals import begins_cold, goal
from coldtake.planning.day.going_round import Rotation, due_topics, rotation_of
from coldtake.planning.day.keeping import (
    SHARE_MIN,
    KeepingTerms,
    asked_again,
    asked_for,
    kept_steps,
)
from coldtake.planning.day.load import load_notice
from coldtake.planning.day.reasons import Reasons
from coldtake.planning.day.unmet import unmet
from coldtake.planning.programme.run_worth import best_run
from coldtake.planning.programme.stage_day import REMARK, on_stage_today, only_looks
from coldtake.planning.programme.taper import tapered
from coldtake.planning.tempi import tempi_in
from coldtake.planning.value import at_hand, at_hand_words
from coldtake.planning.value.lookahead import day_values
from coldtake.planning.value.values import StepValue
from coldtake.planning.words import counted
from coldtake.settings import value_of

LEAST_MIN = 5
FEW_COLD_FROM = 10  # minutes of a session from which most of it is work
ASKED_WORTH = 1e-6  # points of a cold take that is asked for and else worth nothing

NO_HISTORY = "There are no takes yet. This plan uses your importance, dates and estimates."
NO_STEPS = "There is nothing to plan yet. Make a topic current and add its first steps."
NONE_CURRENT = "No topic is current, so this plan uses waiting topics. Make a few topics current."
NOTHING_WORTH = (
    "No step gains from practice on this day. Rest, play what you like, or make another topic "
    "current."
)
ONE_TOPIC = "Only one topic has steps to practise. Two or three topics in turn work better."


def rules_of(state: State) -> PlanRules:
    """Read the rules of a plan from the settings."""

    def chosen(name: str) -> int:
        return value_of(state.settings, name)

    return PlanRules(
        period_cap_min=chosen("period_cap"),
        break_min=chosen("break_minutes"),
        slot_least_min=chosen("slot_least"),
        slot_most_min=max(chosen("slot_most"), chosen("slot_least")),
        tightness_percent=chosen("tightness"),
        topics_least=min(chosen("topics_least"), chosen("topics_most")),
        topics_most=chosen("topics_most"),
        touch_days=chosen("touch_days"),
        topic_share_percent=chosen("topic_share"),
        cold_min=chosen("cold_minutes"),
    )


def plan_day(
    state: State, request: PlanRequest, *, values: Sequence[StepValue] | None = None
) -> Plan:
    """Plan one day's session.

    values : what minutes are worth, by step; the lookahead's where not given

    Returns a plan that keeps the hard rules whatever is wished; `remarks` say which wish broke
    which rule. With nothing to plan it has no periods and a remark saying what to do first.
    Raises PlanError under five minutes.
    """
    if request.minutes < LEAST_MIN:
        raise PlanError(
            f"{counted(request.minutes, 'minute')} are not enough for a session.",
            where="minutes",
            remedy=f"Enter at least {LEAST_MIN} min.",
        )
    rules = rules_of(state)
    state = after_earlier(state, request)
    if values is None:
        there = at_hand.at_hand_on(state, request)
        values = day_values(state, request.day, slot_most=2 * rules.slot_most_min, at_hand=there)
    values = tapered(state, request.day, values, rules.slot_most_min)
    values = only_looks(state, request.day, values, rules.slot_least_min)
    values = one_first_try(state, request.day, values)
    day = _Day(state, request, rules, values)
    plan = day.plan()
    run = best_run(state, request.day, rules, request.minutes) if request.run_through else None
    return _named(plan if run is None else _with_run(day, plan, values, run))


def _named(plan: Plan) -> Plan:
    """Give a finished plan its id: the same for the same plan."""
    plan = msgspec.structs.replace(plan, request=settled(plan))
    return msgspec.structs.replace(plan, id=named_id("plan", _text(plan)))


def _with_run(day: "_Day", plan: Plan, values: Sequence[StepValue], run: PlannedRun) -> Plan:
    """Put a run-through before the slots where it is worth more than the minutes it takes.

    It gives way where a slot that the player pinned could not stay because of it. What it goes
    through is not cold any more that day, so its steps have no cold takes after it: it tells what
    these would have told.
    """
    rest = plan.request.minutes - run.minutes - plan.rules.break_min
    if rest < LEAST_MIN:
        return plan
    lead = plan.request.minutes - rest
    wishes = tuple(_earlier(wish, lead) for wish in plan.request.wishes)
    shorter = msgspec.structs.replace(plan.request, minutes=rest, wishes=wishes)
    after = [replace(v, cold_value=0.0) if v.topic_id in run.topic_ids else v for v in values]
    rest_of_day = _Day(
        day.state, shorter, plan.rules, after, before_min=run.minutes, told=run.topic_ids
    )
    made = rest_of_day.plan()
    if rest_of_day.unkept - day.unkept:
        return plan
    hard = any(v.hard for v in violations(made))
    colds = [s for s in plan.slots if s.kind is SlotKind.COLD and s.topic_id in run.topic_ids]
    worth = made.value + run.gain + sum(s.gain for s in colds)
    if hard or not made.slots or worth <= plan.value:
        return plan
    return msgspec.structs.replace(made, request=plan.request, run=run)


def _earlier(wish: Wish, minutes: int) -> Wish:
    """Count a wished minute from so many minutes after the start; before that it cannot be kept."""
    if wish.at_min is None:
        return wish
    return msgspec.structs.replace(wish, at_min=wish.at_min - minutes)


class _Day:
    """One day being planned. `unkept` : numbers of the wishes that `plan` could not keep."""

    def __init__(
        self,
        state: State,
        request: PlanRequest,
        rules: PlanRules,
        values: Sequence[StepValue],
        *,
        before_min: int = 0,
        told: Collection[str] = (),
    ) -> None:
        self.before_min = before_min  # played before the slots
        self.state, self.request, self.rules = state, request, rules
        self.limits = limits_of(rules, request.minutes)
        self.wishes: UserConstraints = read_wishes(state, request, rules, self.limits)
        self.there = at_hand.at_hand_on(state, request)
        self.kept = tuple(
            k for k in kept_steps(state, request.day) if not state.touched(k.step_id, request.day)
        )
        self.phases = state.phases()
        values = at_hand.only_playable(state, values, self.there)
        known = [v for v in values if v.step_id in state.steps and v.topic_id in state.topics]
        self.topics, self.none_current = self._plannable(known)
        self.values = self._in_turn(self._usable(known))
        ids = [v.step_id for v in self.values]
        self.reasons = Reasons(state, rules, request.day, ids, self.there, self.kept)
        wished = {s.step_id for s in self.wishes.insisted}
        self.refused = [v for v in known if v.step_id in self.wishes.refused - wished]
        self.rows = {v.step_id: row for row, v in enumerate(self.values)}
        self.asked = self._asked(told)
        self.values = self._few_cold([self._askable(v) for v in self.values])
        self.taken: dict[tuple[str, SlotKind], list[int]] = {}
        self.unkept: frozenset[int] = frozenset()

    def _usable(self, known: Sequence[StepValue]) -> tuple[StepValue, ...]:
        """Steps that may be planned: those of current topics, and any the player insists on."""
        wished = {s.step_id for s in self.wishes.insisted}
        out = self.wishes.refused
        usable = [
            v
            for v in known
            if v.step_id in wished or (v.step_id not in out and v.topic_id in self.topics)
        ]
        have = {v.step_id for v in usable}
        missing = [
            i for i in dict.fromkeys(s.step_id for s in self.wishes.insisted) if i not in have
        ]
        return (*usable, *(self._unvalued(step_id) for step_id in missing))

    def _in_turn(self, usable: Sequence[StepValue]) -> tuple[StepValue, ...]:
        """Say which steps' topics must be touched on this day."""
        topics = dict.fromkeys(v.topic_id for v in usable if self._open(v))
        due = due_topics(
            self.state, self.request.day, self.rules, list(topics), self.request.minutes
        )
        return tuple(replace(v, due=v.due or v.topic_id in due) for v in usable)

    def _open(self, value: StepValue) -> bool:
        """Say whether a step can be worked on and is still to be met."""
        met = self.phases[value.step_id] in (StepPhase.MET, StepPhase.HELD)
        return value.available and not met

    def _asked(self, told: Collection[str]) -> dict[str, KeepingTerms]:
        """Steps whose cold takes are asked for, but for topics of which a run-through tells."""
        free = [
            k
            for k in self.kept
            if k.step_id in self.rows
            and self.values[self.rows[k.step_id]].available
            and self.values[self.rows[k.step_id]].topic_id not in told
        ]
        cold = self.limits.cold
        found = asked_for(self.state, self.request.day, free, self.request.minutes, cold)
        return {k.step_id: k for k in found}

    def _askable(self, value: StepValue) -> StepValue:
        """A cold take that is asked for can be chosen, whatever it is worth."""
        if value.step_id not in self.asked:
            return value
        return replace(value, cold_value=max(value.cold_value, ASKED_WORTH))

    def _few_cold(self, values: Sequence[StepValue]) -> tuple[StepValue, ...]:
        """Leave the best cold takes a chance, those asked for first: most minutes are for work.

        However much cold takes tell, an evening of many of them and little work is no session that
        anybody would plan. Where there is nothing to work on they may have all of it.
        """
        wished = {s.step_id for s in self.wishes.insisted if s.kind is SlotKind.COLD}
        free = [v for v in values if v.available and v.cold_value > 0 and v.step_id not in wished]
        if self.request.minutes < FEW_COLD_FROM or not any(max(v.work_value) > 0 for v in values):
            return tuple(values)
        most = self.request.minutes // SHARE_MIN // self.limits.cold
        best = sorted(free, key=lambda v: (v.step_id not in self.asked, -v.cold_value))
        over = {v.step_id for v in best[max(max(most, 1) - len(wished), 0) :]}
        return tuple(replace(v, cold_value=0.0) if v.step_id in over else v for v in values)

    def _plannable(self, known: Sequence[StepValue]) -> tuple[set[str], bool]:
        """Topics to plan from: the current ones; while none is current, those that wait."""
        places = {v.topic_id: self.state.topics[v.topic_id].place for v in known}
        current = {t for t, place in places.items() if place is Place.CURRENT}
        waiting = {t for t, place in places.items() if place is Place.WAITING}
        return (current, False) if current else (waiting, bool(waiting))

    def _unvalued(self, step_id: str) -> StepValue:
        """Stand in for a wished step of which the lookahead says nothing."""
        step = self.state.steps[step_id]
        return StepValue(
            step_id=step_id,
            topic_id=step.topic_id,
            work_value=(0.0,),
            cold_value=0.0,
            available=False,
            chance_without=0.5,
            chance_with=0.5,
            need_left_min=float(step.need_min),
        )

    def plan(self) -> Plan:
        """Solve, and put the solution into words."""
        task = self._task()
        composed = compose_around(task)
        periods = tuple(Period(slots=tuple(map(self._slot, p))) for p in composed.periods)
        spare = tuple(map(self._slot, spare_pieces(task, composed)))
        planned = [s for p in periods for s in p.slots]
        value = round(sum(s.gain for s in planned), 6)
        shared = composed.solved.shared_rows(composed.playing_min, sum(s.minutes for s in planned))
        cold = {s.step_id for s in planned if s.kind is SlotKind.COLD or s.begins_cold}
        plan = Plan(
            id="",
            request=self.request,
            rules=self.rules,
            periods=periods,
            spare=spare,
            left_out=left_out_steps(task, composed, self.reasons, self.refused),
            value=value,
            bound=max(round(composed.bound, 6), value),
            shared=tuple(dict.fromkeys(self.values[r].topic_id for r in sorted(shared))),
            asked_again=asked_again(self.state, self.request.day, self.kept, cold),
        )
        lead = self.before_min + self.rules.break_min if self.before_min else 0
        late = unmet(self.state, plan, self.wishes.said, before_min=lead)
        self.unkept = self.wishes.said | set(late)
        return msgspec.structs.replace(plan, remarks=self._remarks(plan, tuple(late.values())))

    def _task(self) -> Task:
        insisted: dict[int, tuple[PinnedSlot, ...]] = {}
        for wish in self.wishes.insisted:
            row = self.rows[wish.step_id]
            insisted[row] = (*insisted.get(row, ()), wish)
        return Task(
            values=self.values,
            exercises=tuple(_exercise(self.state.steps[v.step_id]) for v in self.values),
            fresh=tuple(self.reasons.fresh(v.step_id) for v in self.values),
            insisted=insisted,
            rules=self.rules,
            limits=self.limits,
            minutes=self.request.minutes,
            closed=frozenset(self.rows[i] for i in self.wishes.refused if i in self.rows),
            open_ones=tuple(map(self._open, self.values)),
            asked=frozenset(self.rows[i] for i in self.asked),
            rotation=self._rotation(),
        )

    def _rotation(self) -> Rotation | None:
        topics: dict[str, bool] = {}
        for value in self.values:
            topics[value.topic_id] = topics.get(value.topic_id, False) or self._open(value)
        day, minutes = self.request.day, self.request.minutes
        return rotation_of(self.state, day, self.rules, topics, minutes)

    def _slot(self, piece: SlotDraft) -> Slot:
        step, value = self.state.steps[piece.step_id], self.values[self.rows[piece.step_id]]
        done = self.taken.setdefault((step.id, piece.kind), [])
        before, count = sum(done), len(done)
        again = any(self.taken.get((step.id, kind)) for kind in SlotKind)
        again = again or self.state.touched(step.id, self.request.day)
        cold = begins_cold(piece.kind, self.phases[step.id], again=again)
        done.append(piece.minutes)
        day = session_name(self.request)
        return Slot(
            id=named_id("slot", day, step.id, piece.kind.value, str(count)),
            step_id=step.id,
            topic_id=piece.topic_id,
            kind=piece.kind,
            minutes=piece.minutes,
            question=question(step.criterion),
            goal=goal(
                step, piece.kind, tempi_in(self.state, step), self.phases[step.id], cold=cold
            ),
            reason=self.reasons.slot(value, piece.kind, piece.minutes, before),
            gain=round(max(piece.gain, 0.0), 6),
            pinned=piece.wish is not None,
            wish=piece.wish.number if piece.wish else None,
            begins_cold=cold,
        )

    def _remarks(self, plan: Plan, late: tuple[str, ...]) -> tuple[str, ...]:
        return (
            *self._standing_remarks(plan),
            *self.wishes.remarks,
            *self._wished_without(),
            *late,
            *_broken_rules(plan),
            *_some(load_notice(self.state, self.request.day, self.before_min + _playing(plan))),
        )

    def _wished_without(self) -> list[str]:
        """Say which wished steps lack something; the player knows what will be there."""
        wished = dict.fromkeys(s.step_id for s in self.wishes.insisted)
        steps = [self.state.steps[i] for i in wished]
        found = [(s, at_hand.lacks(self.state, s, self.there)) for s in steps]
        return [at_hand_words.wished_without(step, lacks) for step, lacks in found if lacks]

    def _standing_remarks(self, plan: Plan) -> list[str]:
        if not plan.periods:
            return [NOTHING_WORTH if self.values else NO_STEPS]
        said = [NONE_CURRENT] if self.none_current else []
        if on_stage_today(self.state, self.request.day):
            return [*said, REMARK]
        if not self.state.try_count and not self.state.minutes_on:
            said.append(NO_HISTORY)
        workable = {v.topic_id for v in self.values if _worth_something(v)}
        if self.rules.topics_least > 1 and len(workable) == 1:
            said.append(ONE_TOPIC)
        return said


def _worth_something(value: StepValue) -> bool:
    return value.available and (value.cold_value > 0 or max(value.work_value, default=0.0) > 0)


def _playing(plan: Plan) -> int:
    return sum(p.minutes for p in plan.periods)


def _some(words: str | None) -> tuple[str, ...]:
    return () if words is None else (words,)


def _broken_rules(plan: Plan) -> tuple[str, ...]:
    """Say each soft rule that the player's own wishes break."""
    said = dict.fromkeys(v.words for v in violations(plan))
    return tuple(f"{words} It stays because you chose it." for words in said)


def _exercise(step: Step) -> str:
    """Text that says what is played; empty where the player has written nothing down."""
    exercise = step.exercise
    if exercise == Exercise():
        return ""
    return msgspec.json.encode(exercise).decode()


def _text(plan: Plan) -> str:
    return msgspec.json.encode(plan).decode()

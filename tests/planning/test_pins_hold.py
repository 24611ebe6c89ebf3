"""What was pinned stands, or the plan says why not: all wishes in any order, the state changing."""

from datetime import time

import msgspec
import pytest
from builders import random_values, request, state_of
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from coldtake.domain.plan import violations
from coldtake.domain.topic import Place
from coldtake.planning.day import changes
from coldtake.planning.day.plan_day import plan_day

pytestmark = pytest.mark.long
NTH = st.integers(0, 99)
# How a sentence goes on that says why a wish was not kept, after the step's name.
WHY_NOT = (
    "begins at",
    "has no room",
    "has ",
    "is slot",
    "is left out",
    "is in the last period",
    "was moved",
)


def kept(state, plan):
    """Give (wish, its slot, whether it stands as wished) for each wish for a slot."""
    there = {at[0].wish: at for at in changes.places(plan) if at[0].wish is not None}
    for number, wish in enumerate(plan.request.wishes):
        if not wish.refused and wish.step_id in state.steps:
            slot, *place = there.get(number, (None,))
            yield wish, slot, slot is not None and _stands(wish, slot, *place)


def _stands(wish, slot, period, index, at_min):
    alike = (slot.step_id, slot.kind) == (wish.step_id, wish.kind)
    if not alike or wish.minutes not in (None, slot.minutes):
        return False
    if wish.at_min is not None:
        return at_min == wish.at_min
    return wish.period is None or (period, index) == (wish.period, wish.index)


def said(state, plan, step_id):
    starts = tuple(f"“{state.steps[step_id].title}” {why}" for why in WHY_NOT)
    return any(r.startswith(starts) for r in plan.remarks)


def assert_pins_hold(state, plan):
    for wish, _slot, stands in kept(state, plan):
        assert stands or said(state, plan, wish.step_id), (wish, plan.remarks)


def key(slot):
    return slot.step_id, slot.kind, slot.minutes


def pinned_at(plan):
    """(step, kind, minutes) -> minutes from the start, of the slots that have a place by wish."""
    return {
        key(s): at
        for s, _, _, at in changes.places(plan)
        if s.wish is not None and plan.request.wishes[s.wish].period is not None
    }


class PlanUnderWishes(RuleBasedStateMachine):
    """One evening before a plan, and its player."""

    @initialize(seed=st.integers(0, 999), topics=st.integers(2, 4), minutes=st.integers(25, 120))
    def begin(self, seed, topics, minutes):
        self.seed, self.state = seed, state_of((4,) * topics)
        self.plan = None
        self.solve(request(minutes))

    def solve(self, asked, *, touched=()):
        """Solve again; slots pinned before, but for those touched, are where they were or named."""
        before = pinned_at(self.plan) if self.plan else {}
        values = random_values(self.state, self.seed)
        made = plan_day(self.state, asked, values=values)
        if not made.slots:  # the page refuses this and keeps the plan that there is
            return
        after = pinned_at(made)
        before = {key: at for key, at in before.items() if key not in touched}
        for (step_id, kind, minutes), at in before.items():
            if step_id not in self.state.steps:
                continue
            named = said(self.state, made, step_id) or said(self.state, self.plan, step_id)
            assert named or after.get((step_id, kind, minutes)) == at, (step_id, kind, at)
        self.plan = made

    def slot(self, nth):
        return self.plan.slots[nth % len(self.plan.slots)]

    def out(self, nth):
        steps = sorted(set(self.state.steps) - {s.step_id for s in self.plan.slots})
        return steps[nth % len(steps)] if steps else None

    @rule(nth=NTH)
    def pin(self, nth):
        self.solve(changes.pin(self.plan, self.slot(nth).id))

    @rule(nth=NTH)
    def unpin(self, nth):
        slot = self.slot(nth)
        self.solve(changes.unpin(self.plan, slot.id), touched={key(slot)})

    @rule(nth=NTH, by=st.sampled_from([-1, 1, 4]))
    def stretch(self, nth, by):
        """What is pinned straight behind it is carried along: nothing else could stand between."""
        slot = self.slot(nth)
        after = self.plan.slots[self.plan.slots.index(slot) :]
        along = {key(s) for s in after if s.pinned}
        self.solve(changes.longer(self.plan, slot.id, by), touched={key(slot), *along})

    @rule(nth=NTH, period=st.integers(0, 3), index=st.integers(0, 5))
    def move(self, nth, period, index):
        asked = changes.move(self.plan, self.slot(nth).id, period, index)
        # Those in between make room.
        self.solve(asked, touched=set(map(key, self.plan.slots)))

    @rule(nth=NTH)
    def refuse(self, nth):
        slot = self.slot(nth)
        self.solve(changes.refuse(self.plan, slot.id), touched={key(slot)})
        free = [s for s in self.plan.slots if s.step_id == slot.step_id and s.wish is None]
        assert not free

    @rule(nth=NTH, other=NTH)
    def swap(self, nth, other):
        slot, step_id = self.slot(nth), self.out(other)
        if step_id:
            self.solve(changes.swap(self.plan, slot.id, step_id), touched={key(slot)})

    @rule(nth=NTH)
    def insist(self, nth):
        step_id = self.out(nth)
        if step_id:
            self.solve(changes.add(self.plan, step_id))

    @precondition(lambda self: any(w.refused for w in self.plan.request.wishes))
    @rule(nth=NTH)
    def allow(self, nth):
        refused = [w.step_id for w in self.plan.request.wishes if w.refused]
        self.solve(changes.allow(self.plan, refused[nth % len(refused)]))

    @rule(minutes=st.integers(10, 150), hour=st.integers(8, 22))
    def plan_again(self, minutes, hour):
        asked = msgspec.structs.replace(self.plan.request, minutes=minutes, starts_at=time(hour))
        self.solve(asked)

    @rule()
    def undo_all(self):
        self.plan = None
        self.solve(request(60))

    @precondition(lambda self: len(self.state.steps) > 5)
    @rule(nth=NTH)
    def a_step_is_deleted(self, nth):
        self.state = self.state.copy()
        step = list(self.state.steps.values())[nth % len(self.state.steps)]
        del self.state.steps[step.id]
        left = tuple(i for i in self.state.order[step.topic_id] if i != step.id)
        self.state.order[step.topic_id] = left
        self.solve(self.plan.request)

    @rule(nth=NTH, place=st.sampled_from([Place.CURRENT, Place.WAITING, Place.LAID_ASIDE]))
    def a_topic_is_moved(self, nth, place):
        self.state = self.state.copy()
        topic = list(self.state.topics.values())[nth % len(self.state.topics)]
        self.state.topics[topic.id] = msgspec.structs.replace(topic, place=place)
        self.solve(self.plan.request)

    @rule(cap=st.sampled_from(["20", "30", "45"]), rest=st.sampled_from(["3", "5", "10"]))
    def rules_change(self, cap, rest):
        self.state = self.state.copy()
        self.state.settings |= {"period_cap": cap, "break_minutes": rest}
        self.solve(self.plan.request)

    @rule(seed=st.integers(0, 999))
    def what_minutes_are_worth_changes(self, seed):
        self.seed = seed
        self.solve(self.plan.request)

    @invariant()
    def every_wish_is_kept_or_said(self):
        assert_pins_hold(self.state, self.plan)

    @invariant()
    def no_hard_rule_is_broken(self):
        assert not [v for v in violations(self.plan) if v.hard]


TestPlanUnderWishes = PlanUnderWishes.TestCase
TestPlanUnderWishes.settings = settings(max_examples=25, stateful_step_count=12, deadline=None)

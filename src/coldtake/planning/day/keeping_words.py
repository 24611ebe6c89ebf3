"""When a met step is asked back, in words."""

from datetime import date

from coldtake.domain.history.state import State
from coldtake.domain.plan import AskedAgain, Plan
from coldtake.planning.day.keeping import due_by, kept_steps
from coldtake.planning.words import in_hundred, weekday
from coldtake.settings import value_of


def when_words(asked: AskedAgain, plan: Plan, wanted: int) -> str:
    """Say when a step that has no cold take in a plan is asked; wanted : chance, in 100."""
    day = plan.request.day
    if asked.on <= day:
        below = "" if round(100 * asked.chance) < wanted else " It falls below that later."
        return (
            f"Due. Chance of a clean first try: {in_hundred(asked.chance)}. "
            f"Your limit: {wanted} in 100.{below} {_waits(asked.step_id, plan)}"
        )
    return _about(asked.on, day, wanted)


def _waits(step_id: str, plan: Plan) -> str:
    """Say why it is not in: as the plan's own list says it where the player took it out."""
    wishes = [wish for wish in plan.request.wishes if wish.step_id == step_id]
    taken_out = bool(wishes) and wishes[-1].refused
    return "Removed by you." if taken_out else "There is no time for it."


def asked_again_of(state: State, step_id: str, day: date) -> str:
    """Say when a step is asked back, seen from a day; empty for a step that is not met."""
    wanted = value_of(state.settings, "keep_chance")
    found = kept_steps(state, day, {step_id})
    if not found:
        return ""
    [kept] = found
    if kept.on <= due_by(state, day):
        return "Its cold take is due in the next plan."
    return _about(kept.on, day, wanted)


def _about(on: date, day: date, wanted: int) -> str:
    return (
        f"Next cold take around {weekday(on, day)}, before the chance of a clean first try is "
        f"below {wanted} in 100."
    )

"""`coldtake outlook`: what will be ready on its date, and how sure that is."""

from argparse import Namespace
from typing import TYPE_CHECKING

from coldtake.cli.opened import print_json, services_of

if TYPE_CHECKING:
    from coldtake.domain.estimate import TopicOutlook
    from coldtake.domain.state import State


def run(arguments: Namespace) -> int:
    """Print the outlook of every current topic."""
    with services_of(arguments) as services:
        outlooks = services.looking.outlook(minutes_per_day=arguments.minutes)
        state = services.state()
    if arguments.json:
        print_json(outlooks)
    elif not outlooks:
        print("No topic is current yet: make one current, and the outlook begins.")
    else:
        print("\n".join(line for outlook in outlooks for line in _lines(outlook, state)))
    return 0


def _lines(outlook: "TopicOutlook", state: "State") -> list[str]:
    topic = state.topics.get(outlook.topic_id)
    head = f"{topic.title if topic else outlook.topic_id}, on {outlook.on.isoformat()}"
    if not outlook.enough:
        return [f"{head}: not enough takes yet."]
    clean = outlook.clean_steps
    sure = f"{clean.low:.0f} to {clean.high:.0f} of {len(outlook.steps)} steps clean"
    all_of_them = f"all of them with {outlook.ready_chance:.0%} chance"
    lines = [f"{head}: {sure} (80 % interval); {all_of_them}."]
    early, _, late = outlook.ready_by
    if early:
        until = late.isoformat() if late else "a day not in sight"
        lines.append(f"  ready between {early.isoformat()} and {until}")
    for step in outlook.steps:
        chance = f"{step.chance.low:.0%} to {step.chance.high:.0%}"
        known = state.steps.get(step.step_id)
        title = known.title if known else step.step_id
        lines.append(f"  {title}: {chance if step.enough else 'not enough takes yet'}")
    return lines

"""`coldtake outlook`: what will be ready on its date, and how sure that is."""

from argparse import Namespace
from datetime import date
from typing import TYPE_CHECKING

from coldtake.cli.opened import print_json, services_of

if TYPE_CHECKING:
    from coldtake.domain.estimate import TopicOutlook
    from coldtake.domain.history.state import State
    from coldtake.domain.performance import ProgrammeOutlook


def run(arguments: Namespace) -> int:
    """Print the outlook of every current topic, and of the performances ahead."""
    with services_of(arguments) as services:
        outlooks = services.reports.outlook(minutes_per_day=arguments.minutes)
        state = services.state()
        stages = [] if arguments.minutes else services.performances.all_ahead()
    if arguments.json:
        print_json(outlooks)
    elif not outlooks:
        print("There is no outlook yet. Make a topic current first.")
    else:
        print("\n".join(line for outlook in outlooks for line in _lines(outlook, state)))
        for stage in stages:
            print("\n".join(_stage_lines(stage, state)))
    return 0


def _lines(outlook: "TopicOutlook", state: "State") -> list[str]:
    from coldtake.planning.outlook.outlook_words import ready_words
    from coldtake.planning.words import about_steps, between, in_hundred

    topic = state.topics.get(outlook.topic_id)
    head = f"{topic.title if topic else outlook.topic_id}, on {outlook.on.isoformat()}"
    if not outlook.enough:
        return [f"{head}: not enough takes yet."]
    clean, count = outlook.clean_steps, len(outlook.steps)
    about = about_steps(outlook.expected_steps, clean)
    limits = f" (between {clean.low:.0f} and {clean.high:.0f}, right 4 times in 5)"
    whole = in_hundred(outlook.ready_chance)
    lines = [f"{head}:"]
    lines.append(f"  about {about} of {count} steps clean{limits * (clean.low < clean.high)}")
    lines.append(f"  all steps clean, each at its first try in the practice room: {whole}")
    if outlook.on_stage:
        lines.append(f"  the piece clean on stage: {between(outlook.on_stage)}")
    lines.append(f"  {ready_words(outlook, date.isoformat)}")
    for step in outlook.steps:
        known = state.steps.get(step.step_id)
        rough = "" if step.enough else "rough estimate: "
        title = known.title if known else step.step_id
        lines.append(f"  {title}, clean first try: {rough}{between(step.chance)}")
    return lines


def _stage_lines(found: "ProgrammeOutlook", state: "State") -> list[str]:
    from coldtake.planning.words import between, in_hundred

    title = state.performances[found.performance_id].title
    head = f"{title}, on {found.on.isoformat()}: every piece clean on stage"
    if not found.enough:
        return [f"{head}: not enough takes yet."]
    return [
        f"{head}: {in_hundred(found.chance.mid)} ({between(found.chance)}, right 4 times in 5)."
    ]

"""`coldtake topics`: all topics."""

from argparse import Namespace
from datetime import date
from typing import Any

from coldtake.cli.opened import print_json, services_of
from coldtake.domain.criterion_words import question
from coldtake.domain.history.state import State
from coldtake.domain.progress import Standing
from coldtake.domain.topic import StepPhase

_ORDER = (Standing.CURRENT, Standing.KEPT_UP, Standing.WAITING, Standing.LAID_ASIDE)
_WORDS = {
    Standing.CURRENT: "Current",
    Standing.KEPT_UP: "Kept up",
    Standing.WAITING: "Waiting",
    Standing.LAID_ASIDE: "Set aside",
}


def run(arguments: Namespace) -> int:
    """Print every topic by where it stands."""
    with services_of(arguments) as services:
        topics = topics_of(services.state(), services.today())
    if arguments.json:
        print_json(topics)
    elif not topics:
        print("There are no topics yet. Start the app with `coldtake` and add one.")
    else:
        _print(topics)
    return 0


def topics_of(state: State, today: date) -> list[dict[str, Any]]:
    """Return each topic with its steps, in the order in which they stand."""
    standings, phases = state.standings(), state.phases()
    topics = [
        {
            "id": topic.id,
            "title": topic.title,
            "standing": standings[topic.id],
            "kind": topic.kind,
            "importance": topic.importance,
            "performance_on": state.topic_date(topic.id, today),
            "notes": topic.notes,
            "steps": [
                {
                    "id": step.id,
                    "title": step.title,
                    "phase": phases[step.id],
                    "question": question(step.criterion),
                    "needs": step.needs,
                }
                for step in state.topic_steps(topic.id)
            ],
        }
        for topic in state.topics.values()
    ]
    return sorted(topics, key=lambda t: _ORDER.index(Standing(t["standing"])))


def _print(topics: list[dict[str, Any]]) -> None:
    for standing in _ORDER:
        own = [t for t in topics if t["standing"] == standing]
        if own:
            print(f"{_WORDS[standing]}:")
        for topic in own:
            print(f"  {_line(topic)}")


def _line(topic: dict[str, Any]) -> str:
    steps = topic["steps"]
    done = sum(s["phase"] in (StepPhase.MET, StepPhase.HELD) for s in steps)
    parts = [topic["title"]]
    if steps:
        parts.append(f"{done} of {len(steps)} steps met")
    if topic["performance_on"]:
        parts.append(f"on {topic['performance_on']}")
    return ", ".join(parts)

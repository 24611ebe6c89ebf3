"""`coldtake what-if`: what one change costs and brings each topic."""

from argparse import Namespace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from coldtake.cli.opened import ShownProgress, print_json, services_of
from coldtake.errors import InputError, NotFoundError

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.planning.what_if.comparison import TopicThen, WhatIfFound
    from coldtake.planning.what_if.what_if_scenario import WhatIf

IMPORTANCES = tuple("12345")


def run(arguments: Namespace) -> int:
    """Print the answer; nothing is kept."""
    with services_of(arguments) as services:
        state, today = services.state(), services.today()
        supposed = supposed_of(arguments, state, today)
        found = services.what_if.answer(supposed, ShownProgress())
    if arguments.json:
        print_json(found)
    elif not found.topics:
        print("There is no outlook yet. Add steps to a current topic first.")
    else:
        print("\n".join(lines_of(state, supposed, found)))
    return 0


def supposed_of(arguments: Namespace, state: "State", today: date) -> "WhatIf":
    """Read what is supposed. Raises InputError when nothing is, NotFoundError for a topic."""
    from coldtake.planning.what_if.what_if_scenario import WhatIf

    given = WhatIf(
        take_on=tuple(_topic_id(state, one) for one in arguments.take_on or ()),
        leave=tuple(_topic_id(state, one) for one in arguments.leave or ()),
        more_min=arguments.minutes or 0,
        free_from=_on(arguments.free_from, today),
        free_days=arguments.free_days or 0,
        dates={_topic_id(state, name): _date(day) for name, day in arguments.date or ()},
        importances={
            _topic_id(state, name): _importance(number)
            for name, number in arguments.importance or ()
        },
    )
    if given == WhatIf():
        raise InputError(
            "No change is named.", where="what-if", remedy="Name a change, such as --minutes 20."
        )
    if bool(given.free_days) != bool(given.free_from):
        raise InputError(
            "Days without practice need a first day and a number.",
            where="what-if",
            remedy="Use both --free-from and --free-days.",
        )
    return given


def _topic_id(state: "State", name: str) -> str:
    """Find a topic by its id or title."""
    if name in state.topics:
        return name
    found = [t.id for t in state.topics.values() if t.title.casefold() == name.strip().casefold()]
    if len(found) == 1:
        return found[0]
    if found:
        raise InputError(f"{len(found)} topics are called “{name}”.", remedy="Use the id instead.")
    raise NotFoundError(f"The topic “{name}” was not found.", remedy="See coldtake topics --json.")


def _on(given: date | timedelta | None, today: date) -> date | None:
    return today + given if isinstance(given, timedelta) else given


def _date(text: str) -> date | None:
    """Read a date; “none” takes it away."""
    if text == "none":
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"“{text}” is not a date.", where="--date", remedy="Enter it as 2027-01-31, or none."
        ) from None


def _importance(text: str) -> int:
    if text not in IMPORTANCES:
        raise InputError(
            f"“{text}” is not an importance.", where="--importance", remedy="Enter 1 to 5."
        )
    return int(text)


def lines_of(state: "State", supposed: "WhatIf", found: "WhatIfFound") -> list[str]:
    """Write the answer as lines of text."""
    from coldtake.planning.what_if.what_if_messages import sentences

    said = sentences(state, supposed, found) or ("It is like this already. Nothing changes.",)
    head = "Steps clean at the first try on the date, now and with the change:"
    return [*said, head, *(f"  {_line(state, topic)}" for topic in found.topics)]


def _line(state: "State", one: "TopicThen") -> str:
    from coldtake.planning.what_if.what_if_messages import gained
    from coldtake.planning.words import in_hundred

    gain = gained(one)
    lent = " (no steps yet: like the other topics)" if one.lent else ""
    numbers = f"{one.steps_now:.1f}, with change {one.steps_then:.1f} of {one.steps}"
    whole = f"all of them: {in_hundred(one.whole_now)} then {in_hundred(one.whole_then)}"
    title = state.topics[one.topic_id].title
    return f"{title}, on {one.on}: {numbers} ({gain or 'no clear difference'}); {whole}{lent}"

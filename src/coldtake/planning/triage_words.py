"""What the triage says of each topic: why in or out, what it would take, when its turn comes."""

from datetime import date

from coldtake.domain.state import State
from coldtake.planning.suppose_words import turn_words
from coldtake.planning.triage import LaterTopic, LeftOutTopic, TakenTopic, Triage
from coldtake.planning.words import counted, listed, on_day


def _lent(lent: bool) -> list[str]:
    return ["It has no steps yet and is taken to be like your other topics."] if lent else []


def taken_words(state: State, one: TakenTopic, today: date) -> tuple[str, ...]:
    """Say what is expected of a topic that is taken on."""
    on = state.topic_date(one.topic_id, today)
    when = f"on {on_day(on)}" if on else "in eight weeks"
    steps = f"{one.clean:.1f} of {counted(one.steps, 'step')} should be clean {when}"
    if one.kept_up:
        return (f"All its steps are met, so it takes no place; {steps}.",)
    minutes = counted(one.minutes, "minute")
    return (f"{steps}, with about {minutes} on it.", *_lent(one.lent))


def later_words(one: LaterTopic, today: date) -> tuple[str, ...]:
    """Say when the turn of a topic that fits comes."""
    minutes = counted(one.minutes, "minute")
    known = turn_words(one.turn, today)
    turn = f"its turn comes {known}" if known.startswith("a") else known or "its turn is open"
    return (f"About {minutes}; {turn}.", *_lent(one.lent))


def left_out_words(state: State, one: LeftOutTopic, today: date) -> tuple[str, ...]:
    """Say why a topic does not fit, what it would take, and when its turn comes if ever."""
    if one.past:
        on = state.topic_date(one.topic_id, today)
        past = f"Its date{', ' + on_day(on) + ',' if on else ''} is past"
        return (f"{past}{', and it holds a place' if one.current else ''}.",)
    return (
        _why(state, one, today),
        *_what_it_takes(state, one),
        *_turn(one, today),
        *_lent(one.lent),
    )


def _why(state: State, one: LeftOutTopic, today: date) -> str:
    on = state.topic_date(one.topic_id, today)
    until = f"until {on_day(on)}" if on else "in eight weeks"
    minutes = counted(one.minutes, "minute")
    if not one.alone:
        return f"It still takes about {minutes}, and {until} there are {one.minutes_there} in all."
    return f"It still takes about {minutes}; {until} they are gone to what brings more."


def _what_it_takes(state: State, one: LeftOutTopic) -> list[str]:
    ways = []
    if one.with_more_min is not None:
        ways.append(f"with {counted(one.with_more_min, 'minute')} more a day it fits")
    if one.with_importance:
        ways.append("it comes in if everything hangs on it")
    if one.instead_of:
        titles = [f"“{state.topics[i].title}”" for i in one.instead_of]
        ways.append(f"it could have the minutes of {listed(titles)}")
    if not ways:
        return ["Not even an hour more a day would bring it in."]
    said = "; ".join(ways)
    return [f"{said[:1].upper()}{said[1:]}."]


def _turn(one: LeftOutTopic, today: date) -> list[str]:
    known = turn_words(one.turn, today)
    return [f"Else its turn comes {known}."] if known.startswith("about") else []


def proposal_words(state: State, found: Triage) -> str:
    """Say in one sentence what the proposal changes."""
    change = found.what_if
    parts = [
        f"{_titles(state, ids)} {one if len(ids) == 1 else many}"
        for ids, one, many in (
            (change.take_on, "becomes current", "become current"),
            (change.leave, "makes room", "make room"),
        )
        if ids
    ]
    if not parts:
        return "What is current now is what fits best: nothing needs to move."
    return f"{' and '.join(parts)}."


def _titles(state: State, ids: tuple[str, ...]) -> str:
    return listed([f"“{state.topics[i].title}”" for i in ids])

"""What the triage says of each topic: what it rests on, why in or out, what it would take."""

from datetime import date, timedelta

from coldtake.domain.history.state import State
from coldtake.domain.topic import TopicKind
from coldtake.planning.triage.selection import MATTERS, LaterTopic, LeftOutTopic, TakenTopic, Triage
from coldtake.planning.value.minutes_ahead import shares_ahead
from coldtake.planning.what_if.pile_needs import Basis, RestsOn
from coldtake.planning.what_if.what_if_messages import turn_words
from coldtake.planning.what_if.what_if_scenario import Lent
from coldtake.planning.words import as_told, counted, duration, listed, on_day

NAMED_MOST = 2
NO_PLACE = (
    "There is time for it, but no free place before its date. Raise the limit of current "
    "topics, or set another topic aside."
)
_SEVERAL = {
    TopicKind.PIECE: "pieces",
    TopicKind.TUNE: "tunes",
    TopicKind.OTHER: "topics of this kind",
}


def basis_words(one: Basis) -> str:
    """Say what a proposal rests on: steps met, minutes left, and where these come from."""
    if one.lent is not None:
        return f"No steps yet. {_guess(one.lent, one.minutes)}"
    return f"{_met(one)} About {duration(one.minutes)} of work left ({_source(one)})."


def _met(one: Basis) -> str:
    return f"{one.met} of {counted(one.steps, 'step')} met."


def _source(one: Basis) -> str:
    return {
        RestsOn.TAKES: "estimated from your takes",
        RestsOn.ENTERED: "from the minutes entered and your pace",
        RestsOn.GUESS: "rough estimate",
    }[one.rests_on]


def _guess(lent: Lent, minutes: int) -> str:
    one = as_told(minutes / lent.steps)
    each = f"{counted(lent.steps, 'step')} of {duration(one)}"
    if lent.of == 0:
        like = "as a topic often has"
    elif lent.like is None:
        like = "as your other topics have"
    else:
        like = f"as your other {_SEVERAL.get(lent.like, f'{lent.like} topics')} have"
    whole = duration(one * lent.steps)  # of the rounded minutes beside it, so that they agree
    return f"Rough estimate: about {whole} ({each}, {like}). Add its steps for a better estimate."


def taken_words(one: TakenTopic) -> tuple[str, ...]:
    """Say of a topic to have current what it rests on, and why now."""
    if one.kept_up:
        return ("All its steps are met, so it takes no place.", basis_words(one.basis))
    why = "" if one.current else "It fits, and a place is free."
    if one.must_begin is not None:
        why = f"Start it by {on_day(one.must_begin)}."
    return tuple(s for s in (why, basis_words(one.basis)) if s)


def later_words(state: State, one: LaterTopic, today: date) -> tuple[str, ...]:
    """Say when the turn of a topic that fits comes."""
    known = turn_words(one.turn, today)
    turn = f"It can start {known}." if known.startswith("a") else f"{known.capitalize()}."
    if one.turn is not None and one.turn.middle is None and one.turn.date_first > 0.5:
        turn = NO_PLACE
    room = ""
    if one.room_for:
        begin = "must start now"
        room = f"It makes room for {_named(state, one.room_for)}, which {begin}."
    return tuple(s for s in (room, basis_words(one.basis), turn if known else "") if s)


def left_out_words(
    state: State, one: LeftOutTopic, today: date, per_day_min: float
) -> tuple[str, ...]:
    """Say why a topic does not fit, what it would take, and when its turn comes if ever."""
    if one.past:
        on = state.topic_date(one.topic_id, today)
        past = f"Its date{', ' + on_day(on) + ',' if on else ''} is past"
        holds = ", and it takes a place" if one.current else ""
        return (f"{past}{holds}. Enter a new date, or set it aside.", basis_words(one.basis))
    said = (
        _why(state, one, today),
        _met(one.basis) if one.basis.lent is None else basis_words(one.basis),
        _stays(state, one),
        *_what_it_takes(state, one, today, per_day_min),
        _turn(one, today),
    )
    return tuple(s for s in said if s)


def _before(state: State, one: LeftOutTopic, today: date) -> str:
    on = state.topic_date(one.topic_id, today)
    return f"before {on_day(on)}" if on else "in half a year"


def _why(state: State, one: LeftOutTopic, today: date) -> str:
    need = f"{duration(one.basis.minutes)} ({_source(one.basis)})"
    when = _before(state, one, today)
    if not one.alone:
        return (
            f"It needs about {need}, and {when} only about {duration(one.minutes_there)} are left."
        )
    if not one.beside:
        return f"It needs about {need}, and {when} other topics need the time."
    own = state.topics[one.topic_id].importance
    above = [i for i in one.beside if state.topics[i].importance > own]
    whom = _named(state, above or one.beside)
    matter = "has higher importance" if len(above) == 1 else "have higher importance"
    more = f", which {matter}" if above else ""
    return f"It needs about {need}, and {when} the time goes to {whom}{more}."


def _stays(state: State, one: LeftOutTopic) -> str:
    if not one.stays:
        return ""
    if state.topics[one.topic_id].importance >= MATTERS:
        why = "its importance is high"
    elif one.basis.nearly_done:
        why = "most of its steps are met"
    else:
        why = "no other topic needs its place"
    return (
        f"It stays current: {why}. Not all steps will be ready, so choose the most important ones."
    )


def _named(state: State, ids: tuple[str, ...] | list[str]) -> str:
    """Name a few topics; how many more there are."""
    titles = [f"“{state.topics[i].title}”" for i in ids[:NAMED_MOST]]
    more = len(ids) - len(titles)
    return listed([*titles, f"{more} more"] if more else titles)


def _what_it_takes(state: State, one: LeftOutTopic, today: date, per_day_min: float) -> list[str]:
    ways = []
    if one.with_more_min is not None:
        ways.append(f"With {one.with_more_min} min more a day it fits.")
    if one.with_importance:
        ways.append("With the highest importance it fits.")
    if one.instead_of:
        ways.append(f"It fits if it gets the time of {_named(state, one.instead_of)}.")
    if not one.alone and per_day_min > 0.0:
        shares = shares_ahead(state, today + timedelta(days=1))
        days = int(shares.days_for(one.basis.minutes / per_day_min)) + 1
        ways.append(f"Alone it would be ready by about {on_day(today + timedelta(days=days))}.")
    return ways or ["Even one hour more a day is not enough."]


def _turn(one: LeftOutTopic, today: date) -> str:
    known = "" if one.stays else turn_words(one.turn, today)
    return f"Otherwise it can start {known}." if known.startswith("about") else ""


def proposal_words(state: State, found: Triage) -> str:
    """Say in one sentence what the proposal changes."""
    change = found.what_if
    aside = tuple(t.topic_id for t in found.left_out if t.goes and t.past)
    wait = tuple(i for i in change.leave if i not in aside)
    parts = [
        words.format(_titles(state, ids))
        for ids, words in (
            (change.take_on, "make {} current"),
            (wait, "move {} to waiting"),
            (aside, "set {} aside"),
        )
        if ids
    ]
    if not parts:
        return "The current topics fit best. Nothing needs to change."
    return f"Suggested: {'; '.join(parts)}."


def _titles(state: State, ids: tuple[str, ...]) -> str:
    return listed([f"“{state.topics[i].title}”" for i in ids])

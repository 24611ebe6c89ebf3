"""Who may do what with whose practice, and why not: the one table of rights.

An actor asks for a named action on the practice of a player; `TABLE` says who may. A use case
declares the action that it needs above its method, a page above its route (`needs`); what declares
none is closed. Pages, commands and tasks are given use cases behind `Permitted`
(`House.as_(actor).practice_of(player)`): what their actor may do, and no store, log or files.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Any, TypeVar

from coldtake.errors import AccessError

Function = TypeVar("Function", bound=Callable[..., Any])


class Kind(StrEnum):
    """What somebody is to a practice. How they are known is a matter of the door they come by."""

    PLAYER = "player"
    DEVICE = "paired device"
    TEACHER = "teacher"
    TOOL = "tool"
    STRANGER = "stranger"


@dataclass(frozen=True, slots=True)
class Actor:
    """Somebody who asks; `player` is the id of the player whom they are or act for, or empty."""

    kind: Kind
    player: str = ""


class Action(StrEnum):
    """What can be asked for."""

    PAIR = "pair a device"
    USE_TOOLS = "use the tools"
    SEE = "see practice"
    HEAR = "hear takes"
    PLAY = "add tries and takes"
    ANSWER = "answer takes"
    JUDGE = "have takes judged"
    DELETE_TAKES = "delete takes for good"
    PLAN = "plan a day"
    ADD_ELSEWHERE = "add practice done elsewhere"
    CHANGE_TOPICS = "change topics and steps"
    CHANGE_DATES = "change dates and days"
    CHANGE_SETTINGS = "change settings"
    RUN_TASKS = "run background tasks"
    EXPORT = "export"
    MANAGE_DATA = "look after data"
    SHARE = "share with a device"
    FILL = "fill with the example"


@dataclass(frozen=True, slots=True)
class Rule:
    """Who may do something with their own practice (or for its player), and who with any."""

    own: frozenset[Kind] = frozenset()
    any: frozenset[Kind] = frozenset()


_PLAYER = frozenset({Kind.PLAYER})
_AT_THE_STAND = frozenset({Kind.PLAYER, Kind.DEVICE})
_TOOL = frozenset({Kind.TOOL})

# A teacher is in no row yet: there is no way to share a topic, so nobody's practice is theirs.
TABLE: Mapping[Action, Rule] = {
    Action.PAIR: Rule(any=frozenset(Kind)),  # what shows and uses the code; touches no practice
    Action.USE_TOOLS: Rule(own=_AT_THE_STAND),  # tuner, slowing down, what pages are drawn with
    Action.SEE: Rule(own=_AT_THE_STAND, any=_TOOL),
    Action.HEAR: Rule(own=_AT_THE_STAND, any=_TOOL),
    Action.PLAY: Rule(own=_AT_THE_STAND),
    Action.ANSWER: Rule(own=_AT_THE_STAND),
    Action.JUDGE: Rule(own=_AT_THE_STAND, any=_TOOL),
    Action.PLAN: Rule(own=_AT_THE_STAND),
    Action.DELETE_TAKES: Rule(own=_PLAYER),
    Action.ADD_ELSEWHERE: Rule(own=_PLAYER),
    Action.CHANGE_TOPICS: Rule(own=_PLAYER),
    Action.CHANGE_DATES: Rule(own=_PLAYER),
    Action.CHANGE_SETTINGS: Rule(own=_PLAYER),
    Action.RUN_TASKS: Rule(own=_PLAYER),
    Action.EXPORT: Rule(own=_PLAYER),
    Action.MANAGE_DATA: Rule(own=_PLAYER),
    Action.SHARE: Rule(own=_PLAYER),
    Action.FILL: Rule(own=_PLAYER),
}

# Why not: what is wrong, and what to do.
REASONS: Mapping[Kind, tuple[str, str]] = {
    Kind.PLAYER: ("This practice belongs to another player.", "Open your own practice."),
    Kind.DEVICE: ("This is possible only on the computer.", "Nothing was changed."),
    Kind.TEACHER: ("The player does not share this.", "Nothing was changed."),
    Kind.TOOL: ("Coldtake does this only for a player.", "Nothing was changed."),
    Kind.STRANGER: ("This device is not paired.", "Open “Connect a tablet” on the computer."),
}


def may(actor: Actor, action: Action | None, player: str) -> bool:
    """Say whether an actor may do something with a player's practice; None: it names no action."""
    if action is None:
        return False
    rule = TABLE[action]
    return actor.kind in rule.any or (actor.kind in rule.own and actor.player == player)


def why_not(actor: Actor, action: Action | None, player: str) -> AccessError | None:
    """Return the reason why an actor may not, None where they may."""
    if may(actor, action, player):
        return None
    if action is None:
        return AccessError("Coldtake does not offer this.", remedy="Nothing was changed.")
    return denied(actor.kind)


def denied(kind: Kind) -> AccessError:
    """Return what is said to somebody who may not."""
    what, remedy = REASONS[kind]
    return AccessError(what, remedy=remedy)


def check(actor: Actor, action: Action | None, player: str) -> None:
    """Raise AccessError where an actor may not."""
    refusal = why_not(actor, action, player)
    if refusal is not None:
        raise refusal


def needs(action: Action) -> Callable[[Function], Function]:
    """Declare the action that a use case or a route needs: `@needs(Action.SEE)` above it."""

    def declare(function: Function) -> Function:
        function.__dict__["needs"] = action
        return function

    return declare


def needed_by(function: object) -> Action | None:
    """Return the action that a function declares, None where it declares none."""
    found: Action | None = getattr(function, "needs", None)
    return found


def _is_use_case(subject: object) -> bool:
    return any(needed_by(value) is not None for value in vars(type(subject)).values())


class Permitted:
    """A use case as one actor has it: a method that they may not is refused before it is called.

    whole : names of parts of which everything needs one action
    What declares no action, and has no part that does, cannot be had at all (AttributeError).
    """

    __slots__ = ("_actor", "_player", "_subject", "_whole")

    def __init__(
        self,
        subject: object,
        actor: Actor,
        player: str,
        whole: Mapping[str, Action] = MappingProxyType({}),
    ) -> None:
        self._subject = subject
        self._actor = actor
        self._player = player
        self._whole = whole

    def __getattr__(self, name: str) -> Any:
        """Give what the actor may have. Raises AccessError."""
        found = getattr(self._subject, name)
        action = self._whole.get(name) or needed_by(getattr(type(self._subject), name, None))
        if action is not None:
            check(self._actor, action, self._player)
            return found
        if _is_use_case(found):
            return Permitted(found, self._actor, self._player)
        raise AttributeError(f"{type(self._subject).__name__}.{name} declares no action")

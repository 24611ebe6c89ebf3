"""The table of rights, and a player's practice as one actor has it."""

import ast
import re
from contextvars import ContextVar
from pathlib import Path

import pytest

from coldtake.errors import AccessError, NotFoundError
from coldtake.practice import access
from coldtake.practice.access import TABLE, Action, Actor, Kind, may, needed_by, needs, why_not
from coldtake.practice.services import House, Services
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import sqlite_url
from coldtake.storage.takes import FolderTakes

MINE, OTHER = "01a1e03d-0000-7000-8000-000000000001", "01a1e03d-0000-7000-8000-000000000002"


def allowed(kind, practice=MINE):
    return {a for a in Action if may(Actor(kind, MINE), a, practice)}


def test_every_action_has_its_rule_and_every_actor_a_reason():
    assert set(TABLE) == set(Action)
    assert set(access.REASONS) == set(Kind)
    assert all(what and remedy for what, remedy in access.REASONS.values())


def test_a_player_may_everything_with_their_own_practice_and_nothing_with_anothers():
    assert allowed(Kind.PLAYER) == set(Action)
    assert allowed(Kind.PLAYER, OTHER) == {Action.PAIR}
    refusal = why_not(Actor(Kind.PLAYER, MINE), Action.SEE, OTHER)
    assert str(refusal) == "This practice belongs to another player. Open your own practice."


def test_a_paired_device_plays_and_leaves_what_lasts_to_the_computer():
    assert allowed(Kind.DEVICE) == {
        Action.PAIR,
        Action.USE_TOOLS,
        Action.SEE,
        Action.HEAR,
        Action.PLAY,
        Action.ANSWER,
        Action.JUDGE,
        Action.PLAN,
    }
    assert allowed(Kind.DEVICE, OTHER) == {Action.PAIR}


def test_the_tool_sees_and_judges_whosever_practice_and_changes_none():
    seen = {Action.PAIR, Action.SEE, Action.HEAR, Action.JUDGE}
    assert allowed(Kind.TOOL) == allowed(Kind.TOOL, OTHER) == seen


@pytest.mark.parametrize("kind", [Kind.STRANGER, Kind.TEACHER])
def test_a_stranger_may_pair_and_a_teacher_has_nothing_while_nothing_is_shared(kind):
    assert allowed(kind) == allowed(kind, OTHER) == {Action.PAIR}
    if kind is Kind.TEACHER:
        assert str(why_not(Actor(kind), Action.HEAR, MINE)).startswith("The player does not share")


def test_what_declares_no_action_is_closed_to_all():
    for kind in Kind:
        refusal = why_not(Actor(kind, MINE), None, MINE)
        assert refusal.what == "Coldtake does not offer this."


# --- a practice as somebody has it


def test_a_player_is_given_all_use_cases(services):
    mine = services.as_(Actor(Kind.PLAYER, services.player)).practice_of(services.player)
    topic = mine.pile.add("Air in C")
    assert mine.state().topics == {topic.id: topic}
    assert mine.settings.choose("current_topics", "3") == 3
    assert mine.care is None, "this folder is looked after by nobody"


def test_a_device_is_refused_by_the_use_case_itself(services):
    device = services.own(Kind.DEVICE)
    assert device.state().topics == {}
    for refused in (
        lambda: device.pile.add("Planted"),
        lambda: device.settings.choose("current_topics", "1"),
        lambda: device.elsewhere.keep,
        lambda: device.archiving.export,
        lambda: device.care,
        lambda: device.jobs.stop(),
        lambda: device.refused(),
    ):
        with pytest.raises(AccessError, match="This is possible only on the computer"):
            refused()
    assert services.state().topics == {}


def test_the_tool_judges_and_cannot_play(services):
    tool = services.own(Kind.TOOL)
    tool.get_ready()
    assert tool.rejudging.resume() is None
    with pytest.raises(AccessError, match="only for a player"):
        tool.sessions.start()


def test_a_stranger_is_shown_nothing(services):
    stranger = services.own(Kind.STRANGER)
    for name in ("state", "today", "amiss", "is_empty"):
        with pytest.raises(AccessError, match="not paired"):
            getattr(stranger, name)


def test_another_players_practice_is_refused_and_an_unknown_one_is_not_there(services):
    me = services.as_(Actor(Kind.PLAYER, OTHER))
    with pytest.raises(AccessError, match="belongs to another player"):
        me.practice_of(services.player).state()
    with pytest.raises(NotFoundError, match="no such player"):
        me.practice_of(OTHER)


def test_two_players_in_one_house_keep_to_themselves(services, tmp_path, clock):
    """A second practice, over a log of its own: the embedded tool never has one."""
    folder = tmp_path / "other"
    folder.mkdir()
    second = House(SqlStore(sqlite_url(folder)), FolderTakes(folder / "takes"), clock)
    services.practices[OTHER] = second
    first, theirs = Actor(Kind.PLAYER, services.player), Actor(Kind.PLAYER, OTHER)
    services.as_(first).practice_of(services.player).pile.add("Mine")
    services.as_(theirs).practice_of(OTHER).pile.add("Theirs")
    for actor, own, strange in ((first, services.player, OTHER), (theirs, OTHER, services.player)):
        state = services.as_(actor).practice_of(own).state()
        assert [t.title for t in state.topics.values()] == ["Mine" if actor is first else "Theirs"]
        with pytest.raises(AccessError, match="belongs to another player"):
            services.as_(actor).practice_of(strange).state()
        with pytest.raises(AccessError, match="only on the computer"):
            services.as_(Actor(Kind.DEVICE, own)).practice_of(strange).takes.sound("any")
    tool = services.as_(Actor(Kind.TOOL))
    assert [len(tool.practice_of(p).state().topics) for p in (services.player, OTHER)] == [1, 1]
    second.close()


def test_behind_the_door_there_is_no_store_no_log_and_no_file(services):
    mine = services.own()
    inner = set(vars(services)) | {"append", "close", "as_", "own"}
    had = {n for n in inner if not n.startswith("_") and had_by(mine, n)}
    assert not had & {
        "store",
        "log",
        "take_files",
        "append",
        "close",
        "as_",
        "own",
        "player",
        "practices",
    }
    assert {"pile", "takes", "sessions", "settings", "jobs", "judging", "care"} <= had
    for private in ("_log", "_store", "_take_files"):
        with pytest.raises(AttributeError, match="declares no action"):
            getattr(mine, private)
    with pytest.raises(AttributeError, match="declares no action"):
        _ = mine.pile._log


def had_by(practice, name):
    try:
        getattr(practice, name)
    except AttributeError:
        return False
    return True


def test_every_use_case_is_behind_the_door(services):
    """What pages are given by its type they can have: a part that declares nothing is a slip."""
    mine = services.own()
    public = [n for n in vars(Services) if not n.startswith("_") and n != "WHOLE"]
    parts = [n for n in vars(services) if not n.startswith("_")]
    kept = {"store", "log", "take_files", "player", "practices"}
    assert [n for n in (*public, *parts) if n not in kept and not had_by(mine, n)] == []


SRC = Path(access.__file__).parents[1]
CHAIN = re.compile(r"(?:\bservices|self\._services)((?:\.[a-z_]+){1,2})$")


def asked_of_services():
    """(file, names after `services`) of everything that pages, commands and the example ask for."""
    for path in (p for room in ("web", "cli", "demo") for p in (SRC / room).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            found = isinstance(node, ast.Attribute) and CHAIN.fullmatch(ast.unparse(node))
            if found:
                yield path.relative_to(SRC).as_posix(), found[1].strip(".").split(".")


def test_whatever_is_asked_for_declares_its_action(services):
    """A method without one would fail at the first request for it, and only then."""
    asked = list(asked_of_services())
    assert len(asked) > 200
    silent = []
    for where, (first, *rest) in asked:
        whole = first in Services.WHOLE or needed_by(getattr(Services, first, None)) is not None
        case = None if whole else getattr(services, first)
        own = where.startswith("demo/") and first == "append"  # on a draft of its own
        if (
            case is not None
            and not own
            and any(needed_by(getattr(type(case), name, None)) is None for name in rest)
        ):
            silent.append((where, first, *rest))
    assert silent == []


def test_a_task_keeps_the_rights_of_whoever_began_it(services):
    who = ContextVar("who")
    who.set("tablet")
    found = []
    services.jobs.start("look", "Looking", lambda _progress: found.append(who.get()) or "done")
    services.jobs.wait()
    assert found == ["tablet"]


def test_needs_declares_and_changes_nothing_else():
    @needs(Action.PLAY)
    def play(times: int) -> int:
        return times + 1

    assert needed_by(play) is Action.PLAY
    assert play(1) == 2
    assert issubclass(House, Services)

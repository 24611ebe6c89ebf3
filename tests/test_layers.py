"""Imports point only to rows above; rooms on one row do not know each other (design, section 6)."""

import ast
from collections import Counter
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

SRC = Path(__file__).parents[1] / "src" / "coldtake"
ROWS = {
    "errors": 0,
    "units": 1,
    "durable": 1,
    "messages": 1,
    "subprocesses": 1,
    "domain": 2,
    "music": 2,
    "settings": 2,
    "listening": 3,
    "learning": 3,
    "ports": 3,
    "planning": 4,
    "practice": 5,
    "storage": 5,
    "demo": 6,
    "web": 6,
    "bootstrap": 6,
    "cli": 7,
}
# bootstrap puts the parts of its own row together; nothing else may look sideways.
SIDEWAYS = {("bootstrap", "web"), ("bootstrap", "demo")}
MOST_IN_A_FOLDER = 20


def room_of(path: Path) -> str:
    return path.relative_to(SRC).parts[0].removesuffix(".py")


def imported(path: Path) -> set[str]:
    """Modules and names of ours that a file imports, without `coldtake.` in front."""
    names = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import; write the room's full name"
            names += [f"{node.module}.{a.name}" for a in node.names]
        elif isinstance(node, ast.Import):
            names += [a.name for a in node.names]
    return {n.removeprefix("coldtake.") for n in names if n.startswith("coldtake.")}


def imported_rooms(path: Path) -> set[str]:
    return {n.split(".")[0] for n in imported(path)} & set(ROWS)


def test_every_room_has_its_row():
    rooms = {room_of(p) for p in SRC.rglob("*.py")} - {"__init__", "__main__"}
    assert rooms == set(ROWS)


def test_imports_fall_one_way():
    faults = []
    for path in SRC.rglob("*.py"):
        room = room_of(path)
        if room in ("__init__", "__main__"):
            continue
        for other in imported_rooms(path) - {room}:
            falls = ROWS[other] < ROWS[room] or (room, other) in SIDEWAYS
            if not falls:
                faults.append(f"{path.relative_to(SRC)} imports {other}")
    assert faults == []


def inner_arrows(room: str) -> dict[str, set[str]]:
    """Which part of a room (a file or a room inside it) imports which other part of it."""
    arrows: dict[str, set[str]] = {}
    for path in (SRC / room).rglob("*.py"):
        part = path.relative_to(SRC / room).parts[0].removesuffix(".py")
        dotted = room.replace("/", ".") + "."
        others = {
            n.removeprefix(dotted).split(".")[0] for n in imported(path) if n.startswith(dotted)
        }
        arrows.setdefault(part, set()).update(others - {part})
    return arrows


ROOMS_WITH_ROOMS = sorted(
    {
        p.parent.parent.relative_to(SRC).as_posix()
        for p in SRC.rglob("__init__.py")
        if p.parent.parent.is_relative_to(SRC) and p.parent.parent != SRC
    }
)


@pytest.mark.parametrize("room", ROOMS_WITH_ROOMS)
def test_rooms_inside_a_room_form_no_circle(room):
    arrows = {part: others for part, others in inner_arrows(room).items() if part != "__init__"}
    try:
        list(TopologicalSorter(arrows).static_order())
    except CycleError as circle:
        raise AssertionError(f"{room}: {' -> '.join(circle.args[1])}") from None


def test_no_folder_is_a_heap():
    folders = {p.parent for p in [*SRC.rglob("*.py"), *(SRC / "web/static/session").rglob("*.js")]}
    full = {
        f.relative_to(SRC).as_posix(): len(files)
        for f in folders
        if len(files := [p for p in f.iterdir() if p.suffix in (".py", ".js")]) > MOST_IN_A_FOLDER
    }
    assert full == {}


def test_every_room_says_what_lives_there():
    doors = [p for p in SRC.rglob("__init__.py") if len(list(p.parent.glob("*.py"))) > 1]
    silent = [p for p in doors if not ast.get_docstring(ast.parse(p.read_text(encoding="utf-8")))]
    assert [p.relative_to(SRC).as_posix() for p in silent] == []


def test_no_two_test_files_have_one_name():
    """pytest imports them by their names alone; a second one of a name is not collected."""
    names = [path.name for path in Path(__file__).parent.rglob("test_*.py")]
    assert sorted(names) == sorted(set(names))


# Who serves a person is given use cases, as that person may have them (`practice.access`).
SERVING = ("web", "cli")
BEHIND = {"store", "log", "take_files", "_store", "_log", "_take_files"}
CLOSED = ("storage.database.log.SqlStore", "storage.takes", "practice.state", "ports.Store")
# What opens the house hands it on; `Binding` asks it as whoever sent a request.
HOLDS_THE_HOUSE = {"web/app.py", "web/bound.py"}


def parsed(room: str) -> list[tuple[str, ast.Module]]:
    paths = sorted((SRC / room).rglob("*.py"))
    return [
        (p.relative_to(SRC).as_posix(), ast.parse(p.read_text(encoding="utf-8"))) for p in paths
    ]


def past_the_door(tree: ast.AST) -> list[str]:
    """Uses of the store, the log or files, and events appended, by somebody who serves a person."""
    uses = [n for n in ast.walk(tree) if isinstance(n, ast.Attribute)]
    appends = ("services.append", "_services.append", "house.append")
    return [ast.unparse(n) for n in uses if n.attr in BEHIND or ast.unparse(n).endswith(appends)]


@pytest.mark.parametrize("room", SERVING)
def test_no_page_and_no_command_goes_past_the_door(room):
    faults = {name: found for name, tree in parsed(room) if (found := past_the_door(tree))}
    assert faults == {}
    for path in (SRC / room).rglob("*.py"):
        name = path.relative_to(SRC).as_posix()
        names = imported(path)
        assert not [n for n in names if n.startswith(CLOSED)], name
        assert name in HOLDS_THE_HOUSE or "practice.services.House" not in names, name


@pytest.mark.parametrize(
    "line", ["services.store.events()", "self._services.append(event)", "s.log.new_id()"]
)
def test_going_past_the_door_is_noticed(line):
    assert past_the_door(ast.parse(line))


def test_every_command_works_as_somebody():
    """As the player, by `services_of`; `serve` alone opens the house, and hands it to the app."""
    openers = {
        name for name, _ in parsed("cli") if "bootstrap.open_services" in imported(SRC / name)
    }
    assert openers == {"cli/opened.py", "cli/serve.py"}


# Two of a name that stand for different things, still to be parted.
TWICE = {"Kind", "Limits", "Tone"}


def test_a_public_class_name_means_one_thing_in_the_whole_package():
    named = Counter(
        node.name
        for path in SRC.rglob("*.py")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
    )
    assert {name for name, count in named.items() if count > 1} <= TWICE

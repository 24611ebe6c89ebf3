"""Imports point only to rows above; rooms on one row do not know each other (design, section 6)."""

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

SRC = Path(__file__).parents[1] / "src" / "coldtake"
ROWS = {
    "errors": 0,
    "units": 1,
    "durable": 1,
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

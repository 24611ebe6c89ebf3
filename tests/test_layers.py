"""Imports point only to rows above; rooms on one row do not know each other (design, section 6)."""

import ast
from pathlib import Path

SRC = Path(__file__).parents[1] / "src" / "coldtake"
ROWS = {
    "errors": 0,
    "units": 1,
    "durable": 1,
    "bounded": 1,
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


def room_of(path: Path) -> str:
    return path.relative_to(SRC).parts[0].removesuffix(".py")


def imported_rooms(path: Path) -> set[str]:
    rooms = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import; write the room's full name"
            names = [f"{node.module}.{a.name}" for a in node.names]
        elif isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        for name in names:
            parts = name.split(".")
            if parts[0] == "coldtake" and len(parts) > 1 and parts[1] in ROWS:
                rooms.add(parts[1])
    return rooms


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


def test_no_two_test_files_have_one_name():
    """pytest imports them by their names alone; a second one of a name is not collected."""
    names = [path.name for path in Path(__file__).parent.rglob("test_*.py")]
    assert sorted(names) == sorted(set(names))

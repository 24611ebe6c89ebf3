"""The documents cannot drift: what the code has must have its line; what is written must run."""

import argparse
import importlib
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

from coldtake import settings
from coldtake.bootstrap import open_services
from coldtake.cli.parser import DEFAULT, build_parser
from coldtake.domain.events import to_json
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.playback.sounding import schedule
from coldtake.music.playback.synth import render
from coldtake.practice.access import Action, Actor, Kind, may
from coldtake.practice.services import Services
from coldtake.web.app import MODULES
from coldtake.web.rendering import make_templates

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
FRONT = ("README.md", "CHANGELOG.md", "CONTRIBUTING.md")
PAGES = sorted([*(ROOT / name for name in FRONT), *DOCS.rglob("*.md")])
BENCH = sorted((ROOT / "bench").rglob("*.md"))
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
PYTHON_BLOCK = re.compile(r"```python\n(.*?)```", re.DOTALL)
PARAMETER = re.compile(r"\{[^}]*\}")


def settings_row(setting: settings.Setting) -> str:
    limits = f"{setting.least} to {setting.most}"
    return f"| `{setting.name}` | {setting.default} | {limits} | {setting.unit} | {setting.help} |"


def test_every_setting_has_its_exact_line():
    lines = (DOCS / "settings.md").read_text(encoding="utf-8").splitlines()
    rows = [line for line in lines if line.startswith("| `")]
    assert rows == [settings_row(s) for s in settings.SETTINGS]


@pytest.mark.parametrize("page", PAGES + BENCH, ids=lambda p: str(p.relative_to(ROOT)))
def test_links_point_to_something(page):
    targets = LINK.findall(page.read_text(encoding="utf-8"))
    local = [t.split("#")[0] for t in targets if not re.match(r"(https?:|mailto:|#)", t)]
    assert [t for t in local if not (page.parent / t).exists()] == []


def commands(parser: argparse.ArgumentParser) -> set[str]:
    groups = [a for a in parser._actions if isinstance(a, argparse._SubParsersAction)]
    return {name for group in groups for name in group.choices}


def test_every_command_has_its_line_in_the_readme():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = re.findall(r"^    coldtake ([\w-]+)", readme, re.MULTILINE)
    assert commands(build_parser()) <= {*lines, DEFAULT}
    assert "\n    coldtake  " in readme  # the default command, without a name
    assert set(lines) <= commands(build_parser())


def routes(services: Services) -> set[str]:
    found = set()
    for name in MODULES:
        module = importlib.import_module(f"coldtake.web.{name}")
        for route in module.router(services, make_templates()).routes:
            found |= {f"{method} {route.path}" for method in route.methods}
    return found


def test_every_address_has_its_line(tmp_path):
    services = open_services(tmp_path)
    page = (DOCS / "pages.md").read_text(encoding="utf-8")
    told = set(re.findall(r"^\| `([A-Z]+ [^`]+)` \|", page, re.MULTILINE)) - {"GET /static/…"}
    assert told == routes(services)
    services.close()


def test_rights_are_as_the_page_on_security_says():
    page = (DOCS / "security.md").read_text(encoding="utf-8")
    told = re.findall(r"^\| ([a-z ]+) \| (yes|no) \| (yes|no) \| (yes|no) \|$", page, re.MULTILINE)
    actors = [Actor(kind, "me") for kind in (Kind.PLAYER, Kind.DEVICE, Kind.STRANGER)]
    rights = [(a, *("yes" if may(x, a, "me") else "no" for x in actors)) for a in Action]
    assert told == rights


def test_readme_example_runs(example, tmp_path, monkeypatch, capsys):
    [block] = PYTHON_BLOCK.findall((ROOT / "README.md").read_text(encoding="utf-8"))
    lines = [to_json(event).decode() for _, event in example.store.events()]
    (tmp_path / "log.jsonl").write_text("\n".join(lines), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    exec(compile(block, "README.md", "exec"), {"__name__": "readme"})
    printed = capsys.readouterr().out.splitlines()
    assert len(printed) >= 4
    assert all(re.match(r"\d+ \S.*\?", line) for line in printed)


TUNE = "X:1\nM:4/4\nL:1/4\nQ:1/4=96\nK:C\nCDEF|GABc|cBAG|FEDC|]\n"  # invented


def test_library_examples_run(example, tmp_path, monkeypatch, capsys):
    lines = [to_json(event).decode() for _, event in example.store.events()]
    (tmp_path / "log.jsonl").write_text("\n".join(lines), encoding="utf-8")
    (tmp_path / "tune.abc").write_text(TUNE, encoding="utf-8")
    sound = render(schedule(read_passage(TUNE, "abc"), 96.0), rate=22_050)
    quiet = np.zeros(11_025, np.float32)
    soundfile.write(tmp_path / "take.wav", np.concatenate([quiet, sound, quiet]), 22_050)
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {"__name__": "library"}
    said = []
    for block in PYTHON_BLOCK.findall((DOCS / "library.md").read_text(encoding="utf-8")):
        exec(compile(block, "library.md", "exec"), names)
        said.append(capsys.readouterr().out)
    judged, read, estimated, planned, ahead = said
    assert judged.startswith("yes ")
    assert judged.endswith("[]\n")
    assert all(int(count) > 0 for count in read.split())
    assert re.search(r"^\S.* 0\.\d\d to [01]\.\d\d$", estimated, re.MULTILINE)
    assert planned.count("?") >= 4
    assert ahead.count("Every step ready at least once") == len(ahead.splitlines()) / 2


def test_every_decision_is_listed_with_what_was_measured_and_what_it_costs():
    notes = {p for p in (DOCS / "decisions").glob("*.md") if p.name != "README.md"}
    page = (DOCS / "decisions" / "README.md").read_text(encoding="utf-8")
    assert {p.name for p in notes} == set(LINK.findall(page))
    for note in notes:
        text = note.read_text(encoding="utf-8")
        assert all(f"**{part}" in text for part in ("Decision.", "Measured", "Cost.")), note.name
        assert re.search(r"\d", text.split("**Measured")[1])


def test_every_study_is_linked_from_the_methods():
    page = (DOCS / "methods.md").read_text(encoding="utf-8")
    studies = [p.relative_to(ROOT).as_posix() for p in BENCH if p.name == "RESULTS.md"]
    assert [s for s in studies if f"(../{s})" not in page] == []


SOURCE_FILE = re.compile(r"`((?:[a-z_]+/)+(?:[a-z_]+\.py)?)`")


@pytest.mark.parametrize(
    "page", [DOCS / "methods.md", DOCS / "security.md", DOCS / "house.md", ROOT / "CONTRIBUTING.md"]
)
def test_rooms_and_files_named_are_there(page):
    named = SOURCE_FILE.findall(page.read_text(encoding="utf-8"))
    roots = (ROOT / "src" / "coldtake", ROOT)
    assert named
    assert [n for n in named if not any((root / n).exists() for root in roots)] == []


def resolves(name: str) -> bool:
    """Say whether `room.module.Thing` or `Thing.field` of the glossary is there."""
    *modules, thing = name.split(".")
    if modules and modules[0] in {p.name for p in (ROOT / "src" / "coldtake").iterdir()}:
        try:
            found = importlib.import_module("coldtake." + name)
        except ModuleNotFoundError:
            found = getattr(importlib.import_module("coldtake." + ".".join(modules)), thing, None)
        return found is not None
    owners = [vars(importlib.import_module(m)).get(modules[0]) for m in HOMES]
    return any(thing in dir(owner) for owner in owners if owner)


HOMES = [
    f"coldtake.domain.{name}"
    for name in ("topic", "take", "events", "estimate", "plan", "performance")
]


def test_names_in_the_glossary_are_there():
    page = (DOCS / "glossary.md").read_text(encoding="utf-8")
    last_cells = re.findall(r"\| ([^|]+) \|$", page, re.MULTILINE)
    names = [n for cell in last_cells for n in re.findall(r"`((?:\w+\.)+\w+)`", cell)]
    assert len(names) > 30
    assert [n for n in names if not resolves(n)] == []

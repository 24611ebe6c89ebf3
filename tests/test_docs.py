"""The documents cannot drift: what the code has must have its line; what is written must run."""

import argparse
import re
from pathlib import Path

import pytest

from coldtake import settings

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
PAGES = sorted([ROOT / "README.md", ROOT / "CHANGELOG.md", *DOCS.rglob("*.md")])
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

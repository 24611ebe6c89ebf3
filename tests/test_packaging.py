"""`pip install .` gives a command that carries its own pages, fonts, migrations and example."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SRC = ROOT / "src" / "coldtake"


def run(*words: str, **extra_env: str) -> str:
    env = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"} | extra_env
    done = subprocess.run(words, capture_output=True, text=True, env=env, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    target = tmp_path_factory.mktemp("installed")
    pip = (sys.executable, "-m", "pip", "--disable-pip-version-check", "--quiet", "install")
    run(*pip, "--no-deps", "--no-build-isolation", "--target", str(target), str(ROOT))
    return target


@pytest.mark.packaging
def test_every_file_of_the_package_is_installed(installed):
    ours = {
        p.relative_to(SRC) for p in SRC.rglob("*") if p.is_file() and "__pycache__" not in p.parts
    }
    there = {p.relative_to(installed / "coldtake") for p in (installed / "coldtake").rglob("*")}
    assert len(ours) > 200
    assert Path("py.typed") in ours  # its types count for whoever imports it (PEP 561)
    assert ours - there == set()


@pytest.mark.packaging
def test_the_installed_command_opens_a_data_folder(installed, tmp_path):
    # -P and the folder first on the path: the installed copy, not the checkout, answers.
    words = (sys.executable, "-P", "-m", "coldtake", "topics", "--json", "--data", str(tmp_path))
    assert run(*words, PYTHONPATH=str(installed)).strip() == "[]"
    where = run(
        sys.executable,
        "-P",
        "-c",
        "import coldtake; print(coldtake.__file__)",
        PYTHONPATH=str(installed),
    )
    assert Path(where.strip()).is_relative_to(installed)
    assert (installed / "bin" / "coldtake").exists()

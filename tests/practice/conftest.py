"""House over a real database and a real folder, with a clock that stands still."""

import shutil

import pytest

from coldtake.practice.services import House
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import sqlite_url
from coldtake.storage.takes import FolderTakes
from making import SteppingClock

AIR = b"X:1\nT:Air\nM:4/4\nL:1/4\nQ:1/4=96\nK:C\nCDEF|GFED|C4|\n"


@pytest.fixture
def clock():
    return SteppingClock()


@pytest.fixture(scope="session")
def empty_database(tmp_path_factory):
    """A database with its tables and nothing in them; copying it is faster than making it."""
    folder = tmp_path_factory.mktemp("empty")
    SqlStore(sqlite_url(folder)).close()
    [file] = folder.iterdir()
    return file


@pytest.fixture
def open_again(tmp_path, clock, empty_database):
    """Open the same folder as another process would."""
    opened = []
    shutil.copy(empty_database, tmp_path)

    def open_one() -> House:
        store = SqlStore(sqlite_url(tmp_path))
        opened.append(House(store, FolderTakes(tmp_path / "takes"), clock))
        return opened[-1]

    yield open_one
    for services in opened:
        services.close()


@pytest.fixture
def services(open_again):
    return open_again()


@pytest.fixture
def air() -> bytes:
    return AIR

"""The application over a real database and folder, with a clock that stands still."""

import shutil

import pytest
from desk import Desk, TestClient

from coldtake.bootstrap import open_services
from coldtake.web.app import create_app
from making import SteppingClock


@pytest.fixture
def clock():
    return SteppingClock()


@pytest.fixture(scope="session")
def empty_folder(tmp_path_factory):
    """A data folder with its tables and nothing in them; copying it is faster than making it."""
    folder = tmp_path_factory.mktemp("empty")
    open_services(folder).close()
    return folder


@pytest.fixture
def services(tmp_path, clock, empty_folder):
    shutil.copytree(empty_folder, tmp_path / "data")
    opened = open_services(tmp_path / "data", clock=clock)
    yield opened
    opened.close()


@pytest.fixture
def client(services):
    with TestClient(create_app(services), base_url="http://localhost") as one:
        yield one


@pytest.fixture
def desk(services):
    return Desk(services)

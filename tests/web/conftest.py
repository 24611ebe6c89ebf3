"""The application over a real database and folder, with a clock that stands still."""

import shutil
from types import SimpleNamespace

import pytest
from desk import Desk, TestClient

from coldtake.bootstrap import open_services
from coldtake.web import app as building
from coldtake.web.app import create_app
from coldtake.web.bound import practice
from making import SteppingClock


@pytest.fixture(scope="session", autouse=True)
def pages_made_once():
    """Every app of these tests has the same pages, which hold only the practice of a request.

    FastAPI looks at each parameter of 140 routes: most of what making an app costs.
    """
    templates = building.make_templates()
    routers = [module.router(practice(), templates) for module in building.page_modules()]
    pages = [SimpleNamespace(router=lambda *_, made=router: made) for router in routers]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(building, "make_templates", lambda: templates)
        patch.setattr(building, "page_modules", lambda: pages)
        yield


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

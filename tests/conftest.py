"""What every test shares."""

import os
from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import HealthCheck, settings

# One thread per numeric library: two test workers on two cores must not fight each other.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

# No test fails because a machine is busy: how long an example takes is looked at in bench/. Drawn
# examples are the same in every run, or a change would be refused for what it has nothing to do
# with; to draw new ones: COLDTAKE_EXPLORE=1.
settings.register_profile(
    "house",
    deadline=None,
    derandomize="COLDTAKE_EXPLORE" not in os.environ,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("house")


# What files share is made once: PostgreSQL's server, and the example, for which these ask.
TOGETHER = dict.fromkeys(
    ("tests/test_docs.py", "tests/web/test_one_truth.py"), "tests/demo/test_example.py"
)
_CONTRACTS = "tests/contracts/"


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Give each file to one worker, or what a file lays out once is laid out by every worker.

    Marks cannot say it: pytest-xdist 3.8 adds a test's group to its name, which pytest 9 forbids
    without a word, and every test goes where there is room.
    """
    from xdist.scheduler.loadscope import LoadScopeScheduling

    class ByFile(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            file = nodeid.partition("::")[0]
            return _CONTRACTS if file.startswith(_CONTRACTS) else TOGETHER.get(file, file)

    config.option.loadscopereorder = False  # few tests may be long ones
    return ByFile(config, log)


@pytest.fixture(scope="session")
def example(tmp_path_factory):
    """House over the example, told once. Only read it; its today is 12 January 2027."""
    from coldtake import demo
    from coldtake.practice.services import House
    from coldtake.storage.database.log import SqlStore
    from coldtake.storage.folder import sqlite_url
    from coldtake.storage.takes import FolderTakes
    from making import SteppingClock

    if "PYTEST_XDIST_WORKER" in os.environ:  # fails for a second worker: see ByFile
        (tmp_path_factory.getbasetemp().parent / "example").mkdir()
    folder = tmp_path_factory.mktemp("example")
    clock = SteppingClock(datetime(2027, 1, 12, 9, tzinfo=timezone(timedelta(hours=1))))
    services = House(SqlStore(sqlite_url(folder)), FolderTakes(folder / "takes"), clock)
    demo.build(services, today=services.today())
    yield services
    services.close()

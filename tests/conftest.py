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


@pytest.fixture(scope="session")
def example(tmp_path_factory):
    """House over the example, told once. Only read it; its today is 12 January 2027."""
    from coldtake import demo
    from coldtake.practice.services import House
    from coldtake.storage.database.log import SqlStore
    from coldtake.storage.folder import sqlite_url
    from coldtake.storage.takes import FolderTakes
    from making import SteppingClock

    folder = tmp_path_factory.mktemp("example")
    clock = SteppingClock(datetime(2027, 1, 12, 9, tzinfo=timezone(timedelta(hours=1))))
    services = House(SqlStore(sqlite_url(folder)), FolderTakes(folder / "takes"), clock)
    demo.build(services, today=services.today())
    yield services
    services.close()

"""Databases of every released shape are opened, brought up to date and used."""

import shutil
import sqlite3
import sys
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

import coldtake.storage
from coldtake.bootstrap import open_services
from coldtake.domain import events as ev
from coldtake.domain.history.projection import fold
from coldtake.domain.topic import StepPhase
from coldtake.errors import StoreError
from coldtake.storage.database import engine, schema
from coldtake.storage.database.log import SqlStore
from coldtake.storage.database.tables import METADATA
from coldtake.storage.folder import sqlite_url

RELEASED = sorted((Path(__file__).parent / "released").glob("*.db"))
MIGRATIONS = Path(coldtake.storage.__file__).parent / "migrations"


def written(database: Path) -> list[ev.Event]:
    lines = database.with_suffix(".jsonl").read_text(encoding="utf-8").splitlines()
    return [ev.from_json(line) for line in lines]


def test_every_known_shape_has_its_database():
    assert tuple(d.stem for d in RELEASED) == schema.KNOWN


def test_the_newest_shape_is_the_newest_file():
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    scripts = ScriptDirectory.from_config(config)
    assert scripts.get_current_head() == schema.HEAD
    in_order = [s.revision for s in scripts.walk_revisions()][::-1]
    assert tuple(in_order) == schema.KNOWN


@pytest.mark.parametrize("database", RELEASED, ids=lambda d: d.stem)
def test_a_released_database_opens_and_goes_on(database, tmp_path):
    shutil.copy(database, tmp_path / "coldtake.db")
    services = open_services(tmp_path)
    assert [event for _, event in services.store.events()] == written(database)
    assert services.state() == fold(written(database))
    assert len(services.store.refused()) == 1
    services.pile.add("something new")
    services.close()
    again = open_services(tmp_path)
    titles = {t.title for t in again.state().topics.values()}
    assert titles == {"scales", "something new"}
    again.close()


@pytest.mark.parametrize("database", RELEASED, ids=lambda d: d.stem)
def test_a_released_log_has_every_kind_of_event_of_its_time(database):
    kinds = {type(event.data) for event in written(database)}
    missing = {kind.__name__ for kind in ev.AnyData.__args__} - {k.__name__ for k in kinds}
    if database.stem == schema.HEAD:
        assert missing == set()
    state = fold(written(database))
    assert len(state.takes) == len(state.tries) == len(state.sessions) == 1
    assert StepPhase.IN_WORK in state.phases().values()


def test_migrating_gives_the_tables_that_the_code_uses(tmp_path):
    SqlStore(sqlite_url(tmp_path)).close()
    opened = engine.open_engine(sqlite_url(tmp_path))
    with opened.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []
    opened.dispose()


def test_a_database_of_a_newer_coldtake_is_refused_and_left_alone(tmp_path):
    SqlStore(sqlite_url(tmp_path)).close()
    with sqlite3.connect(tmp_path / "coldtake.db") as other:
        other.execute("UPDATE alembic_version SET version_num = '9999'")
    other.close()
    before = (tmp_path / "coldtake.db").read_bytes()
    with pytest.raises(StoreError, match="newer Coldtake") as told:
        SqlStore(sqlite_url(tmp_path))
    assert "Install" in told.value.remedy
    assert (tmp_path / "coldtake.db").read_bytes() == before


def test_a_migration_that_fails_leaves_the_database_as_it_was(tmp_path):
    """Its second table stands in the way: the first one and the record of it must not stay."""
    path = tmp_path / "coldtake.db"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE quarantine (mine TEXT)")
    other.close()
    with pytest.raises(StoreError, match="OperationalError"):
        SqlStore(sqlite_url(tmp_path))
    with sqlite3.connect(path) as other:
        tables = {name for (name,) in other.execute("SELECT name FROM sqlite_master")}
    other.close()
    assert tables == {"quarantine"}


def test_opening_a_database_that_is_up_to_date_needs_no_migration_tool(tmp_path):
    SqlStore(sqlite_url(tmp_path)).close()
    code = (
        "import sys; from pathlib import Path; from coldtake.storage.database.log import SqlStore; "
        "from coldtake.storage.folder import sqlite_url; SqlStore(sqlite_url(Path(sys.argv[1])));"
        "print('alembic' in sys.modules)"
    )
    import os
    import subprocess

    environment = {**os.environ, "PYTHONPATH": str(Path(coldtake.storage.__file__).parents[2])}
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == "False"

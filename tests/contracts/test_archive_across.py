"""An archive from one kind of database to the other and back: the same, event by event."""

from pathlib import Path

import pytest

from coldtake.practice.archive import Archive, export, restore
from coldtake.practice.services import House
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import sqlite_url
from coldtake.storage.takes import FolderTakes
from making import SteppingClock

RELEASED = Path(__file__).parents[1] / "upgrade" / "released"


def services_over(url, folder) -> House:
    return House(SqlStore(url), FolderTakes(folder), SteppingClock())


def told_by(services: House):
    events = [event for _, event in services.store.events()]
    takes = {t: services.take_files.path(t).read_bytes() for t in services.take_files.there()}
    return events, takes, list(services.store.refused())


@pytest.mark.postgres
def test_from_sqlite_to_postgresql_and_back(postgres_database, tmp_path):
    """Begun with the archive of an older release, which holds every kind of event and a take."""
    example = services_over(sqlite_url(tmp_path), tmp_path / "takes")
    with Archive(RELEASED / "archive-1.zip") as archive:
        restore(example, archive)
    export(example, tmp_path / "all.zip")
    studio = services_over(postgres_database, tmp_path / "studio")
    with Archive(tmp_path / "all.zip") as archive:
        restore(studio, archive)
    assert told_by(studio) == told_by(example)
    assert studio.state() == example.state()
    export(studio, tmp_path / "studio.zip")
    studio.close()
    (tmp_path / "other").mkdir()
    back = services_over(sqlite_url(tmp_path / "other"), tmp_path / "back")
    with Archive(tmp_path / "studio.zip") as archive:
        restore(back, archive)
    assert told_by(back) == told_by(example)
    back.close()
    example.close()
    assert len(list((tmp_path / "back").iterdir())) == 1
    assert (tmp_path / "studio.zip").read_bytes() == (tmp_path / "all.zip").read_bytes()

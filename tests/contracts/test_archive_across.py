"""An archive from one kind of database to the other and back: the same, event by event."""

import pytest

from coldtake.practice.archive import Archive, export, restore
from coldtake.practice.services import Services
from coldtake.storage.folder import sqlite_url
from coldtake.storage.log import SqlStore
from coldtake.storage.takes import FolderTakes
from making import SteppingClock


def services_over(url, folder) -> Services:
    return Services(SqlStore(url), FolderTakes(folder), SteppingClock())


def told_by(services: Services):
    events = [event for _, event in services.store.events()]
    takes = {t: services.takes.sound(t).read_bytes() for t in services.state().takes}
    return events, takes, list(services.store.refused())


@pytest.mark.postgres
@pytest.mark.xdist_group("postgres")
def test_from_sqlite_to_postgresql_and_back(example, postgres_database, tmp_path):
    export(example, tmp_path / "all.zip")
    studio = services_over(postgres_database, tmp_path / "studio")
    with Archive(tmp_path / "all.zip") as archive:
        restore(studio, archive)
    assert told_by(studio) == told_by(example)
    assert studio.state() == example.state()
    export(studio, tmp_path / "studio.zip")
    studio.close()
    back = services_over(sqlite_url(tmp_path), tmp_path / "back")
    with Archive(tmp_path / "studio.zip") as archive:
        restore(back, archive)
    assert told_by(back) == told_by(example)
    back.close()
    assert (tmp_path / "studio.zip").read_bytes() == (tmp_path / "all.zip").read_bytes()

"""Every kind of store, fresh for each test."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from coldtake.storage.folder import sqlite_url
from coldtake.storage.log import SqlStore


def server_programme(name: str) -> str | None:
    """Find a programme of PostgreSQL's server, which Debian keeps off the PATH."""
    places = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), reverse=True)
    return str(places[0]) if places else shutil.which(name)


def server_user() -> str | None:
    """PostgreSQL refuses to run as root: use the account that its package makes."""
    return "postgres" if os.name == "posix" and os.geteuid() == 0 else None


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """Start a PostgreSQL of our own on a socket in a temporary folder; give the socket's folder."""
    initdb, postgres = server_programme("initdb"), server_programme("pg_ctl")
    if not (initdb and postgres):
        pytest.skip("PostgreSQL's server (initdb, pg_ctl) is not installed")
    user = server_user()
    folder = Path(tempfile.mkdtemp(prefix="ct-pg-"))
    if user:
        shutil.chown(folder, user)
    data = folder / "data"
    run = {"user": user, "cwd": folder, "check": True, "stdout": subprocess.DEVNULL}
    subprocess.run([initdb, "-D", data, "-U", "coldtake", "-A", "trust", "-N"], **run)
    options = f"-c listen_addresses='' -k {folder} -c fsync=off"
    start = [postgres, "-D", data, "-w", "-o", options, "-l", folder / "log"]
    subprocess.run([*start, "start"], **run)
    try:
        yield str(folder)
    finally:
        subprocess.run([postgres, "-D", data, "-w", "-m", "immediate", "stop"], **run)
        shutil.rmtree(folder, ignore_errors=True)


def postgres_url(folder: str, database: str) -> str:
    return f"postgresql://coldtake@/{database}?host={folder}"


@pytest.fixture
def postgres_database(postgres_server, request) -> str:
    """A new database; its URL."""
    import psycopg

    name = f"t{abs(hash(request.node.nodeid))}"
    admin = f"host={postgres_server} user=coldtake dbname=postgres"
    with psycopg.connect(admin, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}" TEMPLATE template0')
    return postgres_url(postgres_server, name)


@pytest.fixture(
    params=[
        "sqlite",
        pytest.param(
            "postgresql", marks=[pytest.mark.postgres, pytest.mark.xdist_group("postgres")]
        ),
    ]
)
def url(request, tmp_path):
    if request.param == "sqlite":
        return sqlite_url(tmp_path)
    return request.getfixturevalue("postgres_database")


@pytest.fixture
def open_store(url):
    """Open the same database as often as asked; all are closed at the end."""
    opened = []

    def open_one() -> SqlStore:
        opened.append(SqlStore(url))
        return opened[-1]

    yield open_one
    for store in opened:
        store.close()


@pytest.fixture
def store(open_store):
    return open_store()

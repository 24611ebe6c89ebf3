"""Every kind of store, fresh for each test."""

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import sqlite_url


def server_programme(name: str) -> str | None:
    """Find a programme of PostgreSQL's server, which Debian keeps off the PATH."""
    places = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), reverse=True)
    return str(places[0]) if places else shutil.which(name)


def server_user() -> str | None:
    """PostgreSQL refuses to run as root: use the account that its package makes."""
    return "postgres" if os.name == "posix" and os.geteuid() == 0 else None


# The server lives as long as our end of its standard input is open, so that a killed test run
# leaves neither a server nor a folder behind.
WATCHED = """
"$@" >"$FOLDER/log" 2>&1 &
cat >/dev/null
kill -QUIT $!
wait $!
rm -rf "$FOLDER"
"""
READY_S = 120


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """Start a PostgreSQL of our own on a socket in a temporary folder; give the socket's folder."""
    initdb, postgres = server_programme("initdb"), server_programme("postgres")
    if not (initdb and postgres):
        pytest.skip("PostgreSQL's server (initdb, postgres) is not installed")
    user = server_user()
    folder = tempfile.mkdtemp(prefix="ct-pg-")
    if user:
        shutil.chown(folder, user)
    common = {"user": user, "cwd": folder}
    make = [initdb, "-D", f"{folder}/data", "-U", "coldtake", "-A", "trust", "-N"]
    subprocess.run(make, check=True, stdout=subprocess.DEVNULL, **common)
    serve = [postgres, "-D", f"{folder}/data", "-k", folder, "-c", "listen_addresses="]
    server = subprocess.Popen(
        ["sh", "-c", WATCHED, "sh", *serve, "-c", "fsync=off"],
        env={**os.environ, "FOLDER": folder},
        stdin=subprocess.PIPE,
        **common,
    )
    wait_until_ready(folder)
    yield folder
    server.communicate()


def wait_until_ready(folder: str) -> None:
    import psycopg

    until = time.monotonic() + READY_S
    while True:
        try:
            psycopg.connect(f"host={folder} user=coldtake dbname=postgres").close()
        except psycopg.OperationalError:
            assert time.monotonic() < until, Path(folder, "log").read_text()
            time.sleep(0.05)
        else:
            return


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


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
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

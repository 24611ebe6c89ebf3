"""The one place where the parts are put together. Nothing opens at import."""

import os
import random
import threading
from datetime import datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from coldtake.domain.ids import uuid7
from coldtake.domain.instants import believed
from coldtake.ports import Clock, Progress
from coldtake.practice.services import House, Services
from coldtake.practice.state.putting_right import put_right
from coldtake.storage.database.log import DATABASE
from coldtake.storage.folder import data_folder
from coldtake.storage.opening import open_folder
from coldtake.storage.repair.source import DatabaseSource, is_database

if TYPE_CHECKING:
    from fastapi import FastAPI

    from coldtake.practice.archive import Archive

_LOCALTIME = Path("/etc/localtime")
_COUNTS = 1 << 12  # what fits into the 12 bits after the version


class SystemClock:
    """`ports.Clock` of this machine. Ids given within one millisecond keep their order."""

    def __init__(self, zone: tzinfo | None = None) -> None:
        self._zone = zone or local_zone()
        self._lock = threading.Lock()
        self._last_ms = 0
        self._count = 0

    def now(self) -> datetime:
        """Return the present instant, aware of its zone."""
        if self._zone is None:
            return datetime.now().astimezone()
        return datetime.now(self._zone)

    def new_id(self) -> str:
        """Return a fresh UUIDv7, later than every one before (RFC 9562, section 6.2)."""
        with self._lock:
            now_ms = max(int(datetime.now().timestamp() * 1000), 0)
            if now_ms > self._last_ms:
                self._last_ms, self._count = now_ms, random.randrange(_COUNTS // 4)
            elif self._count + 1 < _COUNTS:
                self._count += 1
            else:
                self._last_ms, self._count = self._last_ms + 1, 0
            return uuid7(self._last_ms, self._count.to_bytes(2, "big") + os.urandom(8))


def local_zone() -> ZoneInfo | None:
    """Find the zone of this machine's clock by name, None where the system does not tell."""
    for name in (os.environ.get("TZ", "").lstrip(":"), _linked_zone()):
        try:
            if name:
                return ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError):
            continue
    return None


def _linked_zone() -> str:
    """Read the zone's name from where /etc/localtime points to (tz database, `tzfile`)."""
    try:
        return str(_LOCALTIME.resolve(strict=True)).rpartition("/zoneinfo/")[2]
    except OSError:
        return ""


def open_services(
    data: Path | None = None,
    *,
    database_url: str | None = None,
    clock: Clock | None = None,
    new_log: bool = False,
) -> House:
    """Open the data folder; the log is in it unless `database_url` or COLDTAKE_DATABASE is given.

    A damaged log is put right first. new_log : begin an empty one in a folder that lost its own.
    Raises StoreError, BusyError.
    """
    time, url = clock or SystemClock(), database_url or os.environ.get(DATABASE)
    opened = open_folder(data_folder(data), time.now, url, new_log=new_log)
    try:
        put_right(opened.store, believed(time.now(), None))
        opened.begin()
    except BaseException:
        opened.keeper.close()
        raise
    return House(opened.store, opened.takes, time, care=opened.keeper)


def source_of(path: Path) -> "Archive | DatabaseSource":
    """Open an archive, or a copy of the log, to restore from. Raises InputError, StoreError."""
    if is_database(path):
        return DatabaseSource(path)
    from coldtake.practice.archive import Archive

    return Archive(path)


def make_app(house: House, *, data: Path | None = None) -> "FastAPI":
    """Make the web application over what was opened; its pile offers the example when empty.

    With the data folder given it can be shared with a paired device, once somebody asks for it.
    """
    from coldtake.web.app import create_app
    from coldtake.web.sharing.listener import Sharing

    sharing = Sharing(data) if data else None
    app = create_app(house, build_demo=fill_with_demo, sharing=sharing)
    app.state.open_source = source_of
    return app


def read_ahead() -> None:
    """Import what `make_app` needs. While SQLite looks a large log over, Python can do this."""
    from coldtake.web import app, routes  # noqa: F401
    from coldtake.web.sharing import listener  # noqa: F401

    routes.page_modules()


def fill_with_demo(services: Services, progress: Progress | None = None) -> None:
    """Fill an empty log with the example. Raises RuleError when something is there already."""
    from coldtake.demo import build

    build(services, today=services.today(), progress=progress)

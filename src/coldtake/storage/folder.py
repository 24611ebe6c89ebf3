"""Where the data lies: `--data`, else COLDTAKE_DATA, else the platform's own place."""

import os
from pathlib import Path

from sqlalchemy.engine import URL

from coldtake.durable import private_folder
from coldtake.errors import StoreError
from coldtake.storage.fault_messages import of_system

ENVIRONMENT = "COLDTAKE_DATA"
LOG_NAME = "coldtake.db"
TAKES_NAME = "takes"


def data_folder(override: str | Path | None = None) -> Path:
    """Return the data folder, made if need be. Raises StoreError where that cannot be done."""
    folder = data_path(override)
    try:
        private_folder(folder)
    except FileExistsError as fault:
        raise StoreError(
            "This is a file, not a folder.", where=str(folder), remedy="Name a folder with --data."
        ) from fault
    except OSError as fault:
        raise of_system(fault, folder) from fault
    return folder


def data_path(override: str | Path | None = None) -> Path:
    """Return where the data folder is, or would be."""
    chosen = override or os.environ.get(ENVIRONMENT)
    return Path(chosen).expanduser().absolute() if chosen else _usual()


def sqlite_url(folder: Path) -> URL:
    """Return the database URL of the log in a data folder, whatever signs its name holds."""
    return sqlite_url_of(folder / LOG_NAME)


def sqlite_url_of(database: Path) -> URL:
    """Return the database URL of a file of SQLite."""
    return URL.create("sqlite", database=str(database))


def _usual() -> Path:
    from platformdirs import user_data_path

    return user_data_path("coldtake", appauthor=False)

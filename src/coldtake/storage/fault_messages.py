"""What the operating system and the database complain about, in words for the player."""

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from coldtake.errors import BusyError, ColdtakeError, StoreError

KEPT = "Everything saved before is safe."
_FULL = (f"Free some space and try again. {KEPT}", "The disk is full.")
_FAILING = (
    f"Free some space, check the disk and try again. {KEPT}",
    "The disk is full or failing.",
)
_READ_ONLY = (
    "Allow writing there, or choose another folder with --data.",
    "The data folder cannot be written.",
)
_ERRNO = {
    errno.ENOSPC: _FULL,
    errno.EDQUOT: _FULL,
    errno.EFBIG: _FULL,
    errno.EROFS: _READ_ONLY,
    errno.EACCES: _READ_ONLY,
    errno.EPERM: _READ_ONLY,
}
# Words of SQLite's own messages (sqlite.org/rescode.html) and what they mean to the player.
_SAID = (
    ("full", _FULL),
    ("disk i/o error", _FAILING),
    ("readonly", _READ_ONLY),
    ("unable to open", _READ_ONLY),
)
# Words of PostgreSQL's and its client's messages (PostgreSQL 15 documentation, "Error Codes").
_SERVER_SAID = (
    ("authentication failed", "The database does not accept the user or the password."),
    ("no pg_hba.conf entry", "The database does not accept the user or the password."),
    ("does not exist", "The database does not have what is asked for."),
    ("connection", "There is no connection to the database."),
    ("could not translate host name", "There is no connection to the database."),
    ("timeout", "The database did not answer in time."),
    ("permission denied", "The database does not allow this user to do that."),
)
_DAMAGED = ("malformed", "not a database", "corrupt")


def of_system(fault: OSError, where: Path | str) -> StoreError:
    """Turn a fault of the operating system into an error for the player."""
    remedy, what = _ERRNO.get(
        fault.errno or 0,
        ("Check the folder and the disk.", f"{fault.strerror or fault}."),
    )
    return StoreError(what, where=str(where), remedy=remedy)


def of_database(fault: SQLAlchemyError, where: str) -> ColdtakeError:
    """Turn a fault of the database into an error for the player."""
    said = str(fault.orig if isinstance(fault, DBAPIError) else fault).strip()
    low = said.lower()
    if "locked" in low or "lock timeout" in low:
        remedy = "Close the other program that uses this folder, then try again."
        return BusyError("The log is in use by another process.", where=where, remedy=remedy)
    if any(word in low for word in _DAMAGED):
        remedy = "Close Coldtake and start it again: it then repairs the log and says what it did."
        return StoreError("The log is damaged.", where=where, remedy=remedy)
    for word, (remedy, what) in _SAID:
        if word in low:
            return StoreError(what, where=where, remedy=remedy)
    return StoreError(
        _of_server(said, fault),
        where=where,
        remedy="Check that it runs and that its address is right.",
    )


def _of_server(said: str, fault: SQLAlchemyError) -> str:
    """Say what a database server complains about, never with the address, user or name in it."""
    low = said.lower()
    for word, what in _SERVER_SAID:
        if word in low:
            return what
    code = getattr(getattr(fault, "orig", None), "sqlstate", None)
    return f"The database reported a fault ({code or type(fault).__name__})."


@contextmanager
def spoken(where: str) -> Iterator[None]:
    """Let only errors of our own tree out of a block that uses the database."""
    try:
        yield
    except SQLAlchemyError as fault:
        raise of_database(fault, where) from fault
    except OSError as fault:
        raise of_system(fault, where) from fault
    except ModuleNotFoundError as fault:
        raise StoreError(
            f"This kind of database needs {fault.name}, which is not installed.",
            where=where,
            remedy="Install it with: pip install 'coldtake[studio]'.",
        ) from fault

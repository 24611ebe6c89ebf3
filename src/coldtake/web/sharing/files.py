"""Small secret files: written whole or not at all, readable by this account only."""

import os
from pathlib import Path

from coldtake.errors import StoreError

_FOLDER_RIGHTS = 0o700
_FILE_RIGHTS = 0o600


def private_folder(folder: Path) -> Path:
    """Make a folder that only this account can enter. Raises StoreError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        folder.chmod(_FOLDER_RIGHTS)
    except OSError as fault:
        raise _store_error(fault, folder) from fault
    return folder


def write_private(path: Path, content: bytes) -> None:
    """Write a file that only this account can read, in one move. Raises StoreError."""
    new = path.with_name(f"{path.name}.new")
    try:
        new.unlink(missing_ok=True)
        handle = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _FILE_RIGHTS)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        new.replace(path)
    except OSError as fault:
        raise _store_error(fault, path) from fault


def read_private(path: Path) -> bytes | None:
    """Return what such a file holds, None when there is none. Raises StoreError."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as fault:
        raise _store_error(fault, path) from fault


def remove_private(path: Path) -> None:
    """Take a file away; it is fine when there is none. Raises StoreError."""
    try:
        path.unlink(missing_ok=True)
    except OSError as fault:
        raise _store_error(fault, path) from fault


def _store_error(fault: OSError, path: Path) -> StoreError:
    return StoreError(
        f"This file cannot be used: {fault.strerror or fault}.",
        where=str(path),
        remedy="Check the access rights of the data folder, then share again.",
    )

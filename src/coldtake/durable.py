"""Putting what was written on the disk itself, so that a power cut does not take it away."""

import os
from pathlib import Path


def flush_file(path: Path) -> None:
    """Put a file that was written and closed on disk. Raises OSError."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def flush_folder(folder: Path) -> None:
    """Put a folder's own entries (new and changed names) on disk, where the system knows how to.

    Raises OSError.
    """
    if os.name == "nt":  # no handle of a folder can be flushed there
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

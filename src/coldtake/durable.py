"""Files on the disk itself, so that a power cut does not take them away, and for this account only.

Rights are set on each file and folder and do not hang on the umask. Windows has no such rights:
there a folder of the account is private by itself.
"""

import contextlib
import os
import stat
from collections.abc import Iterable
from pathlib import Path

FOLDER_RIGHTS, FILE_RIGHTS = 0o700, 0o600


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


def private_folder(folder: Path) -> None:
    """Make a folder that only this account can enter; one that is there keeps its rights.

    Raises OSError.
    """
    if not folder.is_dir():
        folder.mkdir(mode=FOLDER_RIGHTS, parents=True, exist_ok=True)
        folder.chmod(FOLDER_RIGHTS)


def private_file(path: Path) -> Path:
    """Make an empty file that only this account can read, unless it is there. Raises OSError."""
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE_RIGHTS))
    return path


def make_private(paths: Iterable[str | Path]) -> None:
    """Take away the rights of other accounts, as far as these files and folders are ours to change.

    A folder that everybody shares (sticky, such as /tmp) is left, and a link is not followed.
    """
    for path in paths:
        with contextlib.suppress(OSError):
            found = os.lstat(path).st_mode
            wanted = FOLDER_RIGHTS if stat.S_ISDIR(found) else FILE_RIGHTS
            ours = stat.S_ISDIR(found) or stat.S_ISREG(found)
            if ours and not found & stat.S_ISVTX and stat.S_IMODE(found) != wanted:
                os.chmod(path, wanted)

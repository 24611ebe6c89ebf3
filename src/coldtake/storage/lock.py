"""One server per data folder. Other commands may read and write beside it; the log allows that.

The lock belongs to the operating system, so a killed server never leaves it behind.
"""

import os
import sys
from pathlib import Path
from typing import IO

from coldtake.durable import private_file
from coldtake.errors import BusyError
from coldtake.storage.fault_messages import of_system

_NAME = "server.lock"
_FREE_FOR_WORDS = 4096  # where the lock lies in the file on systems that lock byte ranges


class FolderLock:
    """Held from `hold` until `release` or the end of the process."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / _NAME
        self._file: IO[str] | None = None

    def hold(self, words: str) -> None:
        """Take the lock and leave a word on who holds it. Raises BusyError, StoreError."""
        try:
            file = private_file(self._path).open("a+", encoding="utf-8")
        except OSError as fault:
            raise of_system(fault, self._path) from fault
        if not _try_lock(file):
            holder = self._holder()
            file.close()
            raise BusyError(
                f"Coldtake is already running on this folder ({holder}).",
                where=str(self._path.parent),
                remedy="Open that address, or stop it first, or choose another folder with --data.",
            )
        self._file = file
        self.say(words)

    def say(self, words: str, log: Path | None = None) -> None:
        """Change the word on who holds the lock. log : the file that it has open (`served_log`)."""
        if self._file:
            self._file.seek(0)
            self._file.truncate()
            self._file.write(f"process {os.getpid()}, {words}\n")
            if log is not None and log.exists():
                found = log.stat()
                self._file.write(f"{os.getpid()} {found.st_dev} {found.st_ino}\n")
            self._file.flush()

    def release(self) -> None:
        """Let go; the file stays, it is the lock that counts."""
        if self._file:
            self._file.close()
            self._file = None

    def _holder(self) -> str:
        return self._path.read_text(encoding="utf-8").partition("\n")[0] or "another process"


def served_elsewhere(log: Path) -> str:
    """Say which running server of this folder has another log open; empty where none has."""
    try:
        first, *more = (log.parent / _NAME).read_text(encoding="utf-8").splitlines()
        process, device, inode = (int(word) for word in more[0].split())
        found = log.stat()
        if process != os.getpid() and (found.st_dev, found.st_ino) != (device, inode):
            os.kill(process, 0)  # sends nothing: asks whether it is there
            return first
    except (OSError, ValueError, IndexError):
        return ""
    return ""


def _try_lock(file: IO[str]) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            file.seek(_FREE_FOR_WORDS)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


class FolderUse:
    """Says that a process uses a data folder, so that nobody repairs it under its hands.

    Any number may use it at once; a repair needs to be alone. Windows keeps open files from being
    replaced by itself, so there every process counts as alone.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / "use.lock"
        self._file: IO[bytes] | None = None

    def begin(self) -> bool:
        """Begin to use the folder; say whether nobody else does. Raises StoreError."""
        try:
            self._file = private_file(self._path).open("ab")
        except OSError as fault:
            raise of_system(fault, self._path) from fault
        return self._locked(alone=True) or not self._share()

    def share(self) -> None:
        """Let others in: the look at the folder is over."""
        self._share()

    def end(self) -> None:
        """Stop using the folder."""
        if self._file:
            self._file.close()
            self._file = None

    def _share(self) -> bool:
        return self._locked(alone=False)

    def _locked(self, *, alone: bool) -> bool:
        if sys.platform == "win32" or self._file is None:
            return True
        import fcntl

        # Who looks at the folder alone is done within seconds; sharing waits for that.
        how = fcntl.LOCK_EX | fcntl.LOCK_NB if alone else fcntl.LOCK_SH
        try:
            fcntl.flock(self._file.fileno(), how)
        except OSError:
            return False
        return True

"""Looking after a data folder: `ports.Maintenance`. Copies once a day, check-ups, takes in turn.

The full check hears every take's checksum, which takes minutes after years; `watch` therefore looks
at some of them a day, so that all have had their turn within a month.
"""

import contextlib
import threading
from collections.abc import Callable, Collection, Iterable, Sequence
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

import msgspec

from coldtake.domain.history.misdated import kept_file_in
from coldtake.domain.maintenance import Checkup, Copy, Repair
from coldtake.errors import ColdtakeError
from coldtake.ports import Cancelled, Progress
from coldtake.storage.database.log import SqlStore
from coldtake.storage.fault_messages import of_system
from coldtake.storage.folder import LOG_NAME, TAKES_NAME
from coldtake.storage.lock import FolderUse, served_elsewhere
from coldtake.storage.repair.copies import INSIDE, Copies
from coldtake.storage.repair.repairs import Repairs
from coldtake.storage.repair.traces import Traces
from coldtake.storage.takes import FolderTakes, write_whole

HEALTH = "health.json"
TURN_DAYS = 30  # within so many days every take has had its turn
TURN_LEAST = 50  # takes a day
_HOUR = timedelta(hours=1)
_TOLD_EVERY = 2000  # entries
_FIRST_LOOK_S = 20.0  # after the start, when the first pages have been answered


class FolderMaintenance:
    """Looks after one data folder.

    copies : None for a database that somebody else copies (PostgreSQL)
    """

    def __init__(
        self,
        folder: Path,
        store: SqlStore,
        takes: FolderTakes,
        *,
        copies: Copies | None,
        repairs: Repairs,
        use: FolderUse | None = None,
    ) -> None:
        self._folder = folder
        self._store = store
        self._takes = takes
        self._copies = copies
        self._repairs = repairs
        self._use = use
        self._stop = threading.Event()
        self._watching: threading.Thread | None = None
        self._checking = threading.Lock()
        self._traces = Traces(folder, store, takes, copies, self._beside)
        self._forgetting = threading.Lock()

    def copies(self) -> Sequence[Copy]:
        """Return the automatic copies, newest first."""
        return self._copies.all() if self._copies else ()

    def copies_to(self) -> Path | None:
        """Return the folder where copies go, None where somebody else makes them."""
        return self._copies.folder if self._copies else None

    def choose_folder(self, folder: Path | None) -> None:
        """Let copies go to another folder; None: into the data folder again. Raises InputError."""
        if self._copies:
            self._copies.choose(folder)

    def repairs(self) -> Sequence[Repair]:
        """Return what was repaired, oldest first."""
        return self._repairs.all()

    def fresh(self) -> Sequence[Repair]:
        """Return what was repaired since the folder was opened, the opening included."""
        return self._repairs.all()[self._repairs.before :]

    def last(self) -> Checkup | None:
        """Return what the last check found, None when there was none yet."""
        with contextlib.suppress(OSError, ValueError):
            return msgspec.json.decode((self._folder / HEALTH).read_bytes(), type=Checkup)
        return None

    def copy(self) -> Copy | None:
        """Make today's copy, and copy new takes where copies go to another disk.

        None when nothing changed since the last copy. Raises StoreError.
        """
        if self._copies is None:
            return None
        made = self._copies.make(self._now().date())
        self._copy_takes()
        return made

    def forget(self, take_ids: Collection[str]) -> None:
        """Note on the disk that nothing of these takes shall be left."""
        with self._forgetting:
            self._traces.note(take_ids)

    def forget_noted(self) -> Sequence[str]:
        """Remove what is noted; return what could not be reached, and is tried again hourly."""
        with self._forgetting:
            return self._traces.remove()

    def check(self, progress: Progress | None = None) -> Checkup:
        """Read every entry and compare every take with its checksum; damage is put right.

        Raises Cancelled, StoreError.
        """
        with self._checking:
            return self._check(None, progress)

    def watch(self, hourly: Callable[[], object] | None = None) -> None:
        """Begin to look after the folder in the background, until `close`.

        hourly : is called, too
        """
        target = partial(self._watch, hourly or (lambda: None))
        self._watching = threading.Thread(target=target, name="caretaker", daemon=True)
        self._watching.start()

    def close(self) -> None:
        """Stop looking after it, close the log, and let others repair the folder."""
        self._stop.set()
        if self._watching and self._watching is not threading.current_thread():
            self._watching.join()
        self._store.close()
        if self._use:
            self._use.end()

    def _now(self) -> datetime:
        return self._repairs.now()

    def _watch(self, hourly: Callable[[], object]) -> None:
        wait = _FIRST_LOOK_S
        while not self._stop.wait(wait):
            wait = _HOUR.total_seconds()
            with contextlib.suppress(ColdtakeError, OSError, Cancelled):  # `check` tells it
                last = self.last()
                if last is None or last.at.date() != self._now().date():
                    self.look_in_turn()
                self.copy()
            with contextlib.suppress(ColdtakeError, OSError):
                self.forget_noted()
                hourly()

    def look_in_turn(self) -> Checkup:
        """Check the log, which takes are there, and the checksums of those whose turn it is."""
        with self._checking:
            return self._check(self._now().toordinal() % TURN_DAYS, _Stopped(self._stop))

    def _check(self, turn: int | None, progress: Progress | None) -> Checkup:
        events, sums = 0, {}
        for _, event in self._store.events():  # an entry that is damaged is mended on the way
            events += 1
            if events % _TOLD_EVERY == 0 and progress and not progress.step(0, 1, "the log"):
                raise Cancelled
            kept = kept_file_in(event.data)
            if kept is not None:
                sums[kept[0]] = kept[1]
        heard = _in_turn(sums, turn)
        found = self._hear(sums, heard, progress)
        checkup = Checkup(
            at=self._now(),
            events=events,
            takes=len(sums),
            heard_of=len(heard),
            strays=tuple(sorted(self._takes.there() - sums.keys())),
            remarks=self._remarks(events),
            **found,
        )
        self._write(checkup)
        return checkup

    def _hear(
        self, sums: dict[str, str], heard: Sequence[str], progress: Progress | None
    ) -> dict[str, tuple[str, ...]]:
        there = self._takes.there()
        bad = {take_id: "missing" for take_id in sums if take_id not in there}
        for number, take_id in enumerate(heard, start=1):
            if take_id not in bad and self._takes.damaged(take_id, sums[take_id]):
                bad[take_id] = "damaged"
            if progress and not progress.step(number, len(heard), "takes"):
                raise Cancelled
        back = [take_id for take_id in bad if self._bring_back(take_id, sums[take_id])]
        kinds = {
            kind: tuple(t for t, is_ in bad.items() if is_ == kind and t not in back)
            for kind in ("missing", "damaged")
        }
        return {**kinds, "brought_back": tuple(back)}

    def _bring_back(self, take_id: str, sha256: str) -> bool:
        """Put a take's sound back from beside the copies, if it is there and whole."""
        beside = self._beside()
        if beside is None or beside.damaged(take_id, sha256):
            return False
        self._takes.keep(take_id, beside.path(take_id).read_bytes())
        self._repairs.note(f"The file of take or page {take_id} was restored from the backups.")
        return True

    def _beside(self) -> FolderTakes | None:
        """Return the takes beside copies on another disk; in the data folder there are none."""
        folder = self._copies.folder if self._copies else self._folder / INSIDE
        outside = folder.is_dir() and folder != self._folder / INSIDE
        return FolderTakes(folder / TAKES_NAME) if outside else None

    def _copy_takes(self) -> None:
        beside = self._beside()
        if beside is None:
            return
        for take_id in sorted(self._takes.there() - beside.there()):
            if self._stop.is_set():
                return
            beside.keep(take_id, self._takes.path(take_id).read_bytes())

    def _remarks(self, events: int) -> tuple[str, ...]:
        amiss = self._store.amiss()
        remarks = [amiss] if amiss else []
        if self._copies:
            other = served_elsewhere(self._folder / LOG_NAME)
            if other:
                remarks.append(
                    f"The running Coldtake ({other}) has another log open than the one in this "
                    "folder, and saves nothing. Stop it and start it again."
                )
            fault = self._copies.index_fault()
            if fault and self._copies.index_fault(mend=True):
                remarks.append(f"The log is damaged: {fault}. Start Coldtake again to repair it.")
            elif fault:
                self._repairs.note("The index of the log was damaged and has been made again.")
            held = self._copies.entries_held()
            if held > events:
                remarks.append(
                    f"The newest copy holds {held - events} entries more than the log. "
                    "“coldtake restore” with that copy brings them together."
                )
            if self._copies.folder != self._copies.inside and not self._copies.folder.is_dir():
                remarks.append(
                    f"The folder for copies, {self._copies.folder}, is not there; copies go into "
                    "the data folder meanwhile."
                )
        return tuple(remarks)

    def _write(self, checkup: Checkup) -> None:
        try:
            write_whole(self._folder / HEALTH, msgspec.json.encode(checkup))
        except OSError as fault:
            raise of_system(fault, self._folder / HEALTH) from fault


class _Stopped:
    """`ports.Progress` that stops when asked to, and leaves the processor to others."""

    def __init__(self, stop: threading.Event) -> None:
        self._stop = stop

    def step(self, done: int, total: int, words: str) -> bool:  # noqa: ARG002 - the protocol's
        """Say whether to go on."""
        return not self._stop.wait(0.002)


def _in_turn(sums: Iterable[str], turn: int | None) -> list[str]:
    """Choose the takes whose turn it is; every one with `turn` None."""
    ids = sorted(sums)
    if turn is None:
        return ids
    share = max(TURN_LEAST, -(-len(ids) // TURN_DAYS))
    return ids[turn * share : (turn + 1) * share] or ids[:share]

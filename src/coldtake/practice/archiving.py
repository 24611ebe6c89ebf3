"""Everything of a player in one archive, written and brought back."""

from pathlib import Path
from typing import TYPE_CHECKING

from coldtake.ports import Progress, TakeFiles
from coldtake.practice.access import Action, needs
from coldtake.practice.settings_service import ChosenSettings
from coldtake.practice.state.log import Log

if TYPE_CHECKING:
    from coldtake.practice.archive import Exported, Restored, Source


class Archiving:
    """Use cases of archives. The parts that read and write them are imported when they are used."""

    def __init__(self, log: Log, take_files: TakeFiles, settings: ChosenSettings) -> None:
        self.log = log
        self.take_files = take_files
        self.settings = settings

    @needs(Action.EXPORT)
    def export(self, path: Path, *, progress: Progress | None = None) -> "Exported":
        """Write the archive to `path` (`archive.export`). Raises StoreError, Cancelled."""
        from coldtake.practice.archive import export

        return export(self, path, progress=progress)

    @needs(Action.MANAGE_DATA)
    def restore(
        self, source: "Source", *, merge: bool = False, progress: Progress | None = None
    ) -> "Restored":
        """Bring back what a source holds, or nothing (`archive.restore`).

        Raises RuleError, InputError, StoreError, Cancelled.
        """
        from coldtake.practice.archive import restore

        return restore(self, source, merge=merge, progress=progress)

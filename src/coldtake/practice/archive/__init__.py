"""Everything in one zip archive, in open formats, for the player to keep and take elsewhere.

`contents.README` lists its files; it is in every archive. Restoring needs log, refused and takes;
everything else follows from them.
"""

from coldtake.practice.archive.contents import FORMAT, Exported, Restored
from coldtake.practice.archive.reading import Archive
from coldtake.practice.archive.restoring import Source, restore
from coldtake.practice.archive.writing import export

__all__ = ["FORMAT", "Archive", "Exported", "Restored", "Source", "export", "restore"]

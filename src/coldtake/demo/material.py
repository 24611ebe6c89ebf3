"""The example's notation: files in `material/`, all invented, kept as a player would keep them."""

from dataclasses import dataclass
from importlib import resources

from coldtake.domain.ids import named_id
from coldtake.domain.topic import StoredPassage


@dataclass(frozen=True, slots=True)
class Material:
    """One file of notation: the name by which steps refer to it, and its title in the list."""

    name: str
    filename: str
    title: str

    @property
    def id(self) -> str:
        """Id of the stored passage, the same in every demo."""
        return named_id("demo", "passage", self.name)

    def stored(self) -> StoredPassage:
        """Read the file as the passage that goes into the log."""
        folder = resources.files("coldtake.demo") / "material"
        text = (folder / self.filename).read_text(encoding="utf-8")
        notation = "abc" if self.filename.endswith(".abc") else "musicxml"
        return StoredPassage(id=self.id, title=self.title, format=notation, text=text)


MATERIAL: tuple[Material, ...] = (
    Material("themes", "themes.musicxml", "Lantern Street: both themes"),
    Material("run", "run.abc", "Lantern Street: the run back"),
    Material("coda", "coda.abc", "Lantern Street: coda"),
    Material("tune", "tune.abc", "Low Window Blues: the tune"),
    Material("chords", "chords.abc", "Low Window Blues: chords, one note a beat"),
    Material("guide", "guide.abc", "Low Window Blues: thirds and sevenths"),
    Material("break", "break.abc", "Over the break by step"),
    Material("leaps", "leaps.abc", "Over the break by leap"),
    Material("scale", "scale.abc", "D major, two octaves"),
    Material("arpeggio", "arpeggio.abc", "D major broken"),
    Material("triplets", "triplets.abc", "Study in triplets"),
    Material("air", "air.abc", "Air for the garden party"),
    Material("dotted", "dotted.abc", "Dotted pairs"),
)
BY_NAME = {m.name: m for m in MATERIAL}

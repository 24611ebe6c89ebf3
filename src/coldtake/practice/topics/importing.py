"""Notation of many kinds into the pile: files, folders, tunebooks, MIDI; one part of a score.

Everything is read before it is kept. What cannot be read is named with its reason, and the rest is
kept. The same notation is kept once. Long work tells how far it is and can be stopped; what was
kept until then stays.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

from coldtake.domain.events import PassageKept
from coldtake.domain.history.state import State
from coldtake.domain.topic import StoredPassage
from coldtake.errors import InputError, PassageError, RuleError
from coldtake.music.midi.choice import ImportChoice
from coldtake.music.midi.reader import is_midi
from coldtake.ports import Cancelled, Progress
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log
from coldtake.practice.validation import TITLE_MOST, title_of

if TYPE_CHECKING:
    from coldtake.music.notation.reading.parts import Part
    from coldtake.music.passage import Passage

SUFFIXES = (".musicxml", ".xml", ".mxl", ".mei", ".abc", ".mid", ".midi")
_PRINT_BEGINS = (b"%PDF", b"\x89PNG", b"\xff\xd8\xff")
PAGES_MOST = 20  # of one printed file
PIECES_MOST = 5_000  # at once
_LONG = 1_500_000  # characters, from which progress within one piece is told
_PER_FILE = 1_000  # parts of progress that one file stands for
_AT_ONCE = 100  # pieces kept in one append


@dataclass(frozen=True, slots=True)
class Incoming:
    """A file that somebody gives: its name and what reads its bytes."""

    name: str
    read: Callable[[], bytes]


@dataclass(frozen=True, slots=True)
class ImportedItem:
    """A piece that was kept, or was there already (`known`).

    parts : names of the players' parts; said : how it became notation, where it was not before
    """

    passage: StoredPassage
    bars: int
    notes: int
    parts: tuple[str, ...] = ()
    said: tuple[str, ...] = ()
    known: bool = False


@dataclass(slots=True)
class Imported:
    """What came of an import. refused : (name, reason)."""

    kept: list[ImportedItem] = field(default_factory=list)
    refused: list[tuple[str, str]] = field(default_factory=list)

    def words(self) -> str:
        """Such as "12 pieces are here now, 1 could not be read."."""
        new = sum(not k.known for k in self.kept)
        said = f"{new} piece{'' if new == 1 else 's'} of notation saved"
        said += f", {len(self.kept) - new} already saved" if len(self.kept) > new else ""
        return said + (f", {len(self.refused)} not readable" if self.refused else "") + "."


@dataclass(frozen=True, slots=True)
class _Piece:
    """Notation not yet read. title : where the notation has none of its own."""

    title: str
    form: str
    text: str
    said: tuple[str, ...] = ()
    print_doubts: tuple[int, ...] | None = None


def folder(path: Path) -> tuple[Incoming, ...]:
    """Every file of notation in a folder and below, by name. Raises InputError."""
    if path.is_file():
        return (Incoming(path.name, path.read_bytes),)
    if not path.is_dir():
        raise InputError("This file or folder was not found.", where=str(path))
    found = sorted(p for p in path.rglob("*") if p.suffix.lower() in SUFFIXES and p.is_file())
    if not found:
        raise InputError(
            "There is no notation in this folder.",
            where=str(path),
            remedy=f"It can hold {', '.join(SUFFIXES)}.",
        )
    return tuple(Incoming(str(p.relative_to(path)), p.read_bytes) for p in found)


class Importing:
    """Use cases of import. `last` : what came of the last one, for whoever looks."""

    def __init__(self, log: Log) -> None:
        self._log = log
        self._last: Imported | None = None

    @needs(Action.SEE)
    def last(self) -> Imported | None:
        """Return what came of the last import, None before the first."""
        return self._last

    @needs(Action.CHANGE_TOPICS)
    def keep(self, files: Sequence[Incoming], progress: Progress | None = None) -> Imported:
        """Keep every piece of every file. Raises ports.Cancelled, subprocesses.WorkerCancelled."""
        found = self._last = Imported()
        for number, file in enumerate(files):
            watch = _Watch(progress, number, len(files), file.name)
            try:
                self._file(file, watch, found)
            except InputError as fault:
                found.refused.append((file.name, str(fault)))
        if progress is not None:
            progress.step(len(files) * _PER_FILE, len(files) * _PER_FILE, found.words())
        return found

    def _file(self, file: Incoming, watch: "_Watch", found: Imported) -> None:
        watch.told(0.0)
        pieces = list(_pieces(file, found))
        ready: list[tuple[_Piece, Passage]] = []
        for place, piece in enumerate(pieces):
            watch.within(place / len(pieces), 1 / len(pieces))
            try:
                ready.append((piece, watch.read(piece)))
            except PassageError as fault:
                found.refused.append((piece.title, str(fault)))
            if len(ready) >= _AT_ONCE or place + 1 == len(pieces):
                self._append(ready, found)
                ready = []

    def _append(self, ready: Sequence[tuple[_Piece, "Passage"]], found: Imported) -> None:
        with self._log.deciding() as state:
            here = {(p.format, p.text, p.title): p for p in state.passages.values()}
            data = []
            for piece, read in ready:
                title = title_of((read.title or piece.title)[:TITLE_MOST] or "Passage")
                key = (piece.form, piece.text, title)
                known = key in here
                if not known:
                    here[key] = StoredPassage(
                        id=self._log.new_id(),
                        title=title,
                        format=piece.form,
                        text=piece.text,
                        print_doubts=piece.print_doubts,
                    )
                    data.append(PassageKept(passage=here[key]))
                found.kept.append(_kept(here[key], read, piece.said, known=known))
            if data:
                self._log.append(*data)

    @needs(Action.CHANGE_TOPICS)
    def part(self, passage_id: str, number: int) -> StoredPassage:
        """Keep one part of a score, counted from 1, as a passage of its own. Raises InputError."""
        from coldtake.music.notation.reading.parts import parts, select_part
        from coldtake.music.notation.worker_client import passage_of
        from coldtake.music.notation.writing.musicxml_out import as_mei

        stored = lookup.stored_passage(self._log.state(), passage_id)
        whole = passage_of(stored.text, stored.format)
        chosen = select_part(whole, number)
        if chosen is whole:
            return stored
        name = parts(whole)[number - 1].name or f"part {number}"
        title = title_of(f"{stored.title}, {name}"[:TITLE_MOST])
        return self._keep_one("mei", as_mei(chosen), title, of=stored)

    @needs(Action.SEE)
    def parts(self, passage_id: str) -> tuple["Part", ...]:
        """The parts of a score. Raises NotFoundError."""
        from coldtake.music.notation.reading.parts import parts
        from coldtake.music.notation.worker_client import passage_of

        stored = lookup.stored_passage(self._log.state(), passage_id)
        return parts(passage_of(stored.text, stored.format))

    @needs(Action.SEE)
    def midi_parts(self, passage_id: str) -> tuple[tuple[str, int], ...]:
        """Name and count of notes of each part of the MIDI file that a passage came from.

        Raises RuleError when it did not come from one.
        """
        from coldtake.music.notation import worker_client

        stored = lookup.stored_passage(self._log.state(), passage_id)
        return worker_client.midi_parts(midi_of(stored), stored.title)

    @needs(Action.SEE)
    def written_otherwise(
        self, passage_id: str, choice: ImportChoice
    ) -> tuple[str, tuple[str, ...]]:
        """The page of a kept MIDI file on another grid, and how it came about; nothing is kept.

        Raises RuleError when the passage did not come from MIDI, PassageError.
        """
        from coldtake.music.notation import worker_client

        stored = lookup.stored_passage(self._log.state(), passage_id)
        return worker_client.midi(midi_of(stored), stored.title, choice)

    @needs(Action.CHANGE_TOPICS)
    def keep_otherwise(self, passage_id: str, choice: ImportChoice) -> StoredPassage:
        """Keep that page as a passage of its own."""
        stored = lookup.stored_passage(self._log.state(), passage_id)
        abc, _ = self.written_otherwise(passage_id, choice)
        return self._keep_one("abc", abc, stored.title)

    def _keep_one(
        self, form: str, text: str, title: str, of: StoredPassage | None = None
    ) -> StoredPassage:
        """Keep notation; of : what it is a part of, and as sure as."""
        with self._log.deciding() as state:
            known = _same(state, form, text, title)
            if known is not None:
                return known
            stored = StoredPassage(
                id=self._log.new_id(),
                title=title,
                format=form,
                text=text,
                print_doubts=of.print_doubts if of else None,
                compared=of.compared if of else False,
            )
            self._log.append(PassageKept(passage=stored))
        return stored


def midi_of(stored: StoredPassage) -> bytes:
    """The MIDI file that a passage was written from. Raises RuleError."""
    from coldtake.music.midi.page import kept_midi

    data = kept_midi(stored.text) if stored.format == "abc" else None
    if data is None:
        raise RuleError(
            "This notation was not written from a MIDI file.",
            where=stored.title,
            remedy="Only notation from a MIDI file has a grid.",
        )
    return data


def _same(state: State, form: str, text: str, title: str) -> StoredPassage | None:
    same = (p for p in state.passages.values() if (p.format, p.title) == (form, title))
    return next((p for p in same if p.text == text), None)


def _kept(
    stored: StoredPassage, read: "Passage", said: tuple[str, ...], *, known: bool
) -> ImportedItem:
    from coldtake.music.notation.reading.parts import parts

    names = tuple(p.name for p in parts(read)) if len(set(read.part_names)) > 1 else ()
    return ImportedItem(
        stored, len(read.bars), len(read.notes), names if len(names) > 1 else (), said, known
    )


def _pieces(file: Incoming, found: Imported) -> Iterator[_Piece]:
    """The pieces of one file. Raises InputError."""
    from coldtake.music.abc.book import tunes_in
    from coldtake.music.notation.worker_client import unpack

    data = _bytes(file)
    stem = PurePath(file.name).stem
    if is_midi(data):
        yield from _midi_pieces(file.name, data, found)
        return
    if data.startswith(_PRINT_BEGINS):
        yield from _printed_pieces(file.name, data, found)
        return
    form, text = unpack(data, file.name)
    if form != "abc":
        yield _Piece(stem, form, text)
        return
    tunes = tunes_in(text)
    if len(tunes) > PIECES_MOST:
        raise RuleError(f"{len(tunes)} tunes at once. At most {PIECES_MOST} are allowed.")
    for tune in tunes:
        name = tune.title or (f"{stem} {tune.number}" if len(tunes) > 1 else stem)
        yield _Piece(name, "abc", tune.text)


def _printed_pieces(name: str, data: bytes, found: Imported) -> Iterator[_Piece]:
    """Every page of a printed file; a page that cannot be read is named."""
    from coldtake.music.print.musicxml import as_musicxml, doubtful_bars
    from coldtake.music.print.worker_client import read_page

    number, pages, stem = 0, 1, PurePath(name).stem
    while number < min(pages, PAGES_MOST):
        number += 1
        try:
            page = read_page(data, number)
        except PassageError as fault:
            if number == 1:
                raise
            found.refused.append((f"{name}, page {number}", f"{fault.what} {fault.remedy}".strip()))
            continue
        pages = page.pages
        title = f"{stem}, page {number}" if pages > 1 else stem
        yield _Piece(title, "musicxml", as_musicxml(page), print_doubts=doubtful_bars(page))
    if pages > PAGES_MOST:
        found.refused.append((name, f"It has {pages} pages. The first {PAGES_MOST} were read."))


def _bytes(file: Incoming) -> bytes:
    try:
        return file.read()
    except OSError as fault:
        raise InputError(
            f"the file cannot be read ({fault.strerror or fault}).", where=file.name
        ) from fault


def _midi_pieces(name: str, data: bytes, found: Imported) -> Iterator[_Piece]:
    """Every part of a MIDI file that is one voice; the others are named."""
    from coldtake.music.notation import worker_client

    parts = worker_client.midi_parts(data, name)
    for number, (own, _) in enumerate(parts, start=1):
        label = f"{name}, {own}" if len(parts) > 1 else name
        try:
            abc, said = worker_client.midi(data, name, ImportChoice(part=number))
        except PassageError as fault:
            found.refused.append((label, f"{fault.what} {fault.remedy}".strip()))
        else:
            yield _Piece(PurePath(name).stem, "abc", abc, said)


class _Watch:
    """Tells how far one file of many has come."""

    def __init__(self, progress: Progress | None, number: int, files: int, name: str) -> None:
        self._progress, self._number, self._files, self._name = progress, number, files, name
        self._start, self._size = 0.0, 1.0

    def within(self, start: float, size: float) -> None:
        """What follows is a share of the file."""
        self._start, self._size = start, size
        self.told(0.0)

    def told(self, share: float) -> bool:
        """Tell; raises ports.Cancelled when it shall stop."""
        if self._progress is None:
            return True
        done = (self._number + self._start + share * self._size) * _PER_FILE
        if not self._progress.step(int(done), self._files * _PER_FILE, self._name):
            raise Cancelled
        return True

    def read(self, piece: _Piece) -> "Passage":
        """Read a piece; a long one says how far it is. Raises PassageError."""
        from coldtake.music.notation.worker_client import passage_of, read_slowly

        if len(piece.text) < _LONG:
            return passage_of(piece.text, piece.form)
        return read_slowly(piece.text, piece.form, self.told)

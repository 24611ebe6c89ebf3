"""What each id of a log stands for: an id with two meanings is found, and neither is chosen.

An id is made once, where a thing arises. Two meanings come from a file that somebody changed, or
from a device that makes the same ids twice; which one is right, nobody here can know.
"""

from collections.abc import Iterator, Sequence
from hashlib import blake2b

from coldtake.domain.events import Event, PageFileKept, TakeDeleted, to_json
from coldtake.domain.history.deleted_takes import emptied, take_in
from coldtake.domain.history.misdated import kept_file_in
from coldtake.errors import RuleError

_NAMED = 5


class Meanings:
    """The entries of a log by id (as a digest), and the file of each take or page.

    sounds : SHA-256 by id of take or file of pages, in small letters; kinds : which of both it is
    twofold : ids that were given two meanings
    emptied : of the entries that speak of a take, as they are once it is deleted; deleted : takes
    that were, in small letters
    """

    def __init__(self) -> None:
        self.entries: dict[str, bytes] = {}
        self.emptied: dict[str, bytes] = {}
        self.deleted: set[str] = set()
        self.sounds: dict[str, str] = {}
        self.kinds: dict[str, str] = {}
        self.twofold: list[str] = []

    def add(self, event: Event) -> None:
        """Take in an entry; the same one twice is fine."""
        told = _digest(event)
        if take_in(event.data):
            self.emptied[event.id] = _digest(emptied(event))
        if isinstance(event.data, TakeDeleted):
            self.deleted.add(event.data.take_id.lower())
        if self.entries.setdefault(event.id, told) != told:
            self.twofold.append(f"entry {event.id} ({event.at:%d %B %Y})")
        kept = kept_file_in(event.data)
        if kept is not None:
            file_id, sha256 = kept
            self.kinds[file_id] = "pages" if isinstance(event.data, PageFileKept) else "take"
            if self.sounds.setdefault(file_id, sha256) != sha256:
                self.twofold.append(f"{self.kinds[file_id]} {file_id}")

    def against(self, other: "Meanings") -> Iterator[str]:
        """Give what stands for something else in another log."""
        for mine, theirs in ((self.entries, other.entries), (self.sounds, other.sounds)):
            for one in mine.keys() & theirs.keys():
                if mine[one] != theirs[one] and not self._only_emptied(other, one):
                    yield f"{self.kinds.get(one, 'entry')} {one}"

    def _only_emptied(self, other: "Meanings", one: str) -> bool:
        """Say whether an entry differs by nothing but that its take is deleted in one log."""
        mine, theirs = self.entries.get(one), other.entries.get(one)
        return (mine is not None and mine == other.emptied.get(one)) or (
            theirs is not None and theirs == self.emptied.get(one)
        )


def _digest(event: Event) -> bytes:
    return blake2b(to_json(event), digest_size=16).digest()


def conflict(twofold: Sequence[str], where: str) -> RuleError:
    """Return the error that names what has two meanings."""
    named = ", ".join(sorted(twofold)[:_NAMED])
    more = f" and {len(twofold) - _NAMED} more" if len(twofold) > _NAMED else ""
    return RuleError(
        f"The same id has two different contents: {named}{more}.",
        where=where,
        remedy="Nothing was changed. Restore into an empty folder, or use another copy.",
    )

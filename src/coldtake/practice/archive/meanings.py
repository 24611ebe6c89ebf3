"""What each id of a log stands for: an id with two meanings is found, and neither is chosen.

An id is made once, where a thing arises. Two meanings come from a file that somebody changed, or
from a device that makes the same ids twice; which one is right, nobody here can know.
"""

from collections.abc import Iterator, Sequence
from hashlib import blake2b

from coldtake.domain.events import Event, to_json
from coldtake.domain.history.misdated import recorded_in
from coldtake.errors import RuleError

_NAMED = 5


class Meanings:
    """The entries of a log by id (as a digest), and the sound of each take.

    sounds : SHA-256 by take id, in small letters; twofold : ids that were given two meanings
    """

    def __init__(self) -> None:
        self.entries: dict[str, bytes] = {}
        self.sounds: dict[str, str] = {}
        self.twofold: list[str] = []

    def add(self, event: Event) -> None:
        """Take in an entry; the same one twice is fine."""
        told = blake2b(to_json(event), digest_size=16).digest()
        if self.entries.setdefault(event.id, told) != told:
            self.twofold.append(f"entry {event.id} ({event.at:%d %B %Y})")
        recorded = recorded_in(event.data)
        if recorded is not None:
            take_id = recorded.take_id.lower()
            if self.sounds.setdefault(take_id, recorded.sha256) != recorded.sha256:
                self.twofold.append(f"take {take_id}")

    def against(self, other: "Meanings") -> Iterator[str]:
        """Give what stands for something else in another log."""
        for kind, mine, theirs in (
            ("entry", self.entries, other.entries),
            ("take", self.sounds, other.sounds),
        ):
            for one in mine.keys() & theirs.keys():
                if mine[one] != theirs[one]:
                    yield f"{kind} {one}"


def conflict(twofold: Sequence[str], where: str) -> RuleError:
    """Return the error that names what has two meanings."""
    named = ", ".join(sorted(twofold)[:_NAMED])
    more = f" and {len(twofold) - _NAMED} more" if len(twofold) > _NAMED else ""
    return RuleError(
        f"The same id has two different contents: {named}{more}.",
        where=where,
        remedy="Nothing was changed. Restore into an empty folder, or use another copy.",
    )

"""An entry of the log that does not fit its checksum: mended, taken from a copy, or set aside.

What cannot be brought back is never dropped: the bytes as they are go to the quarantine, and the
record of repairs names the entry.
"""

from collections.abc import Callable
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any

import msgspec
from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import DatabaseError

from coldtake.domain.maintenance import Repair
from coldtake.storage.database.checksums import COLUMNS, digest_of, mended
from coldtake.storage.database.engine import writing
from coldtake.storage.database.tables import LOG, QUARANTINE

Columns = dict[str, str]
# Give an entry, by its number and what is left of it, as an automatic copy has it; or None.
FromCopy = Callable[[int, Columns], Columns | None]


def _nothing(_sequence: int, _as_it_is: Columns) -> None:
    return None


class EntryRepair:
    """Puts single entries right while they are read.

    from_copy : looks an entry up in the automatic copies
    note : writes down what was done
    """

    def __init__(
        self,
        engine: Engine,
        from_copy: FromCopy | None = None,
        note: Callable[..., Repair] | None = None,
    ) -> None:
        self._engine = engine
        self._from_copy = from_copy or _nothing
        self._note = note

    def mend(self, sequence: int) -> str | None:
        """Put one entry right in the database; return its body, None when it was set aside."""
        try:
            return self._mend(sequence)
        except DatabaseError as fault:
            if "malformed" not in str(fault) or self._engine.dialect.name != "sqlite":
                raise
        with writing(self._engine) as connection:  # its id turned: the index knows another one
            connection.exec_driver_sql("REINDEX log")
        return self._mend(sequence)

    def _mend(self, sequence: int) -> str | None:
        with writing(self._engine) as connection:
            columns, digest = _as_it_is(connection, sequence)
            if columns is None:
                return None  # another process was first
            if digest_of(**columns) == digest:
                return columns["body"]  # its neighbour is the damaged one
            right = mended(columns, digest) or self._from_copy(sequence, columns)
            if right is None:
                _set_aside(connection, sequence, columns, digest)
            else:
                new = {**right, "digest": digest_of(**right)}
                connection.execute(LOG.update().where(LOG.c.sequence == sequence).values(new))
        self._tell(sequence, columns, right)
        return right["body"] if right else None

    def _tell(self, sequence: int, was: Columns, right: Columns | None) -> None:
        if self._note is None:
            return
        if right is None:
            named = f"entry {sequence} ({was['kind']}, {was['at']})"
            self._note(
                f"A log entry was damaged on the disk and could not be brought back: {named}. "
                "What is left of it is saved with the refused entries.",
                lost=1,
            )
        elif right != was:
            self._note(f"Entry {sequence} of the log was damaged on the disk and put right.")


def _as_it_is(connection: Connection, sequence: int) -> tuple[Columns | None, str]:
    """Read an entry whatever its bytes are; those that are no text become surrogates."""
    names = (*COLUMNS, "digest")
    if connection.dialect.name == "sqlite":
        shown = ", ".join(f"CAST({name} AS BLOB)" for name in names)
        query = text(f"SELECT {shown} FROM log WHERE sequence = :of")
        row = connection.execute(query, {"of": sequence}).first()
    else:
        chosen = LOG.select().with_only_columns(*(LOG.c[name] for name in names))
        row = connection.execute(chosen.where(LOG.c.sequence == sequence)).first()
    if row is None:
        return None, ""
    *columns, digest = (_text(value) for value in row)
    return dict(zip(COLUMNS, columns, strict=True)), digest


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        return value.decode("utf-8", "surrogateescape")
    return "" if value is None else str(value)


def _set_aside(connection: Connection, sequence: int, columns: Columns, digest: str) -> None:
    told = {name: value.encode("utf-8", "surrogateescape") for name, value in columns.items()}
    raw = msgspec.json.encode(
        {"sequence": sequence, **told, "digest": digest.encode(errors="replace")}
    )
    connection.execute(
        QUARANTINE.insert().values(
            sha256=sha256(raw).hexdigest(),
            at=datetime.now(UTC).isoformat(),
            why=f"entry {sequence} of the log was damaged on the disk (bytes in base64)",
            raw=raw,
        )
    )
    connection.execute(LOG.delete().where(LOG.c.sequence == sequence))

"""What was computed from the log, kept beside it: `ports.DerivedCache` over a table.

Each entry carries a mark of the log it was computed from: how many events that log had and the id
of its newest. A log that was put back from a copy, or repaired, has another mark, and the entry is
ignored. So is one whose checksum does not fit.
"""

import hashlib

from sqlalchemy import Connection, Engine, func, select

from coldtake.storage.database.engine import insert_into, writing
from coldtake.storage.database.tables import COMPUTED, LOG


class SqlShelf:
    """Entries by name, one each. Raises what SQLAlchemy raises; the store speaks for it."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def put(self, name: str, maker: str, upto: int, body: bytes) -> None:
        """Keep an entry in place of the last of its name."""
        with writing(self._engine) as connection:
            row = {
                "name": name,
                "maker": maker,
                "upto": upto,
                "mark": _mark(connection, upto),
                "sha256": _digest(name, maker, upto, body),
                "body": body,
            }
            into = insert_into(connection, COMPUTED).values(row)
            connection.execute(into.on_conflict_do_update(index_elements=["name"], set_=row))

    def fetch(self, name: str, maker: str) -> tuple[int, bytes] | None:
        """Return (upto, body) where maker, mark and checksum fit, else None."""
        query = select(COMPUTED).where(COMPUTED.c.name == name, COMPUTED.c.maker == maker)
        with self._engine.connect() as connection:
            row = connection.execute(query).first()
            if row is None or _mark(connection, row.upto) != row.mark:
                return None
        body = bytes(row.body)
        fits = _digest(name, maker, row.upto, body) == row.sha256
        return (int(row.upto), body) if fits else None


def _mark(connection: Connection, upto: int) -> str:
    """Say which log it is up to a sequence number: count and newest id.

    The whole is counted over the index of ids, a tenth of the table; what came later is little.
    """
    whole = connection.execute(select(func.count()).select_from(LOG)).scalar() or 0
    later = select(func.count()).select_from(LOG).where(LOG.c.sequence > upto)
    count = whole - (connection.execute(later).scalar() or 0)
    newest = connection.execute(select(LOG.c.id).where(LOG.c.sequence == upto)).scalar()
    return f"{count} {newest}"


def _digest(name: str, maker: str, upto: int, body: bytes) -> str:
    told = hashlib.sha256(f"{name}\x1f{maker}\x1f{upto}\x1f".encode())
    told.update(body)  # not joined: a body of ten years has 25 MB
    return told.hexdigest()

"""A checksum with every entry of the log, so that a bit that turned on the disk is seen."""

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from alembic import op

from coldtake.storage.database.checksums import COLUMNS, digest_of

revision: str = "0003"
down_revision: str | None = "0002"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

_AT_ONCE = 2000


def upgrade() -> None:
    """Add the column, and fill it for what is there."""
    op.add_column(
        "log", sa.Column("digest", sa.String(16), nullable=False, server_default=sa.text("''"))
    )
    log = sa.table("log", *(sa.column(name) for name in ("sequence", "digest", *COLUMNS)))
    one = log.c.sequence == sa.bindparam("of")
    write = log.update().where(one).values(digest=sa.bindparam("is"))
    after = 0
    while rows := _rows(log, after):
        sums = [{"of": row.sequence, "is": digest_of(**_told(row))} for row in rows]
        op.get_bind().execute(write, sums)
        after = rows[-1].sequence


def _rows(log: sa.TableClause, after: int) -> Sequence[sa.Row[Any]]:
    columns = (log.c.sequence, *(log.c[name] for name in COLUMNS))
    query = sa.select(*columns).where(log.c.sequence > after).order_by(log.c.sequence)
    return op.get_bind().execute(query.limit(_AT_ONCE)).all()


def _told(row: sa.Row[Any]) -> dict[str, str]:
    return {name: str(row._mapping[name]) for name in COLUMNS}

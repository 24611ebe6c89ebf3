"""The log of events, and the quarantine for what could not become an event."""

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "0001"
down_revision: str | None = None
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

_COUNTER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make both tables."""
    op.create_table(
        "log",
        sa.Column("sequence", _COUNTER, primary_key=True, autoincrement=True),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("day", sa.String(10), nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "quarantine",
        sa.Column("sequence", _COUNTER, primary_key=True, autoincrement=True),
        sa.Column("sha256", sa.String(64), nullable=False, unique=True),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("raw", sa.LargeBinary, nullable=False),
        sqlite_autoincrement=True,
    )

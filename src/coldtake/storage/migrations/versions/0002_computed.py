"""What was computed from the log and is kept beside it, so that nobody waits for it twice."""

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "0002"
down_revision: str | None = "0001"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

_COUNTER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the table; it fills itself, and may be emptied at any time."""
    op.create_table(
        "computed",
        sa.Column("name", sa.String(80), primary_key=True),
        sa.Column("maker", sa.String(64), nullable=False),
        sa.Column("upto", _COUNTER, nullable=False),
        sa.Column("mark", sa.String(80), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("body", sa.LargeBinary, nullable=False),
    )

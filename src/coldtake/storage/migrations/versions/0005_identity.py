"""A name for the log, so that another one in its place is known; and entries that wait.

The name itself is given at the opening, which knows what the folder calls its log.
"""

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "0005"
down_revision: str | None = "0004"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Make the table of one row."""
    op.create_table("identity", sa.Column("id", sa.String(36), primary_key=True))

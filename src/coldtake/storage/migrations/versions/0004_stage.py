"""No table is another; the log may hold kinds of events now that earlier versions cannot read.

Such a version refuses this database at once, with a sentence, instead of failing on a line of it.
"""

from collections.abc import Sequence

revision: str = "0004"
down_revision: str | None = "0003"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Let the shape's number stand for the events that may come."""

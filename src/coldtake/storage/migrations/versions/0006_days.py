"""No table is another; the log may tell of days, weekdays and further sessions of a day now.

A version that cannot read such events refuses this database at once, with a sentence.
"""

from collections.abc import Sequence

revision: str = "0006"
down_revision: str | None = "0005"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Let the shape's number stand for the events that may come."""

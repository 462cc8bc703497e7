"""No table of segments, which nothing ever filled; fills that were carried over

The stream holds what it was for: the board's hellos, with the places where they stand. The second
half changes no table: a tank fill in `stream_items` may say `carried` from here on, which an older
program does not know. This revision keeps it from reading it.
"""

from __future__ import annotations

from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.drop_table("segments")

"""Application records"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

_TRIGGERS = (
    "CREATE TRIGGER application_records_never_changed BEFORE UPDATE ON application_records "
    "BEGIN SELECT RAISE(ABORT, 'an application record is never changed: add a revision'); END",
    "CREATE TRIGGER application_records_never_deleted BEFORE DELETE ON application_records "
    "BEGIN SELECT RAISE(ABORT, 'an application record is never changed: add a revision'); END",
)


def upgrade() -> None:
    op.create_table(
        "application_records",
        sa.Column("id", _ID, nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("record_uid", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("route_id", _ID, nullable=True),
        sa.Column("route_uid", sa.Text(), nullable=False),
        sa.Column("stop_number", sa.Integer(), nullable=True),
        sa.Column("made_wall_us", sa.BigInteger(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("form", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("supersedes", sa.Text(), nullable=True),
        sa.Column("fields", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["route_id"], ["routes.id"], name=op.f("fk_application_records_route_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_application_records")),
        sa.UniqueConstraint("uid", name=op.f("uq_application_records_uid")),
        sa.UniqueConstraint(
            "record_uid", "revision", name=op.f("uq_application_records_record_uid_revision")
        ),
    )
    for trigger in _TRIGGERS:
        op.execute(trigger)

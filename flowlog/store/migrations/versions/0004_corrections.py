"""Corrections of routes, added and never changed"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

_TRIGGERS = (
    "CREATE TRIGGER corrections_never_changed BEFORE UPDATE ON corrections "
    "BEGIN SELECT RAISE(ABORT, 'a correction is never changed: undo it by another one'); END",
    "CREATE TRIGGER corrections_never_deleted BEFORE DELETE ON corrections "
    "BEGIN SELECT RAISE(ABORT, 'a correction is never changed: undo it by another one'); END",
)


def upgrade() -> None:
    op.create_table(
        "corrections",
        sa.Column("id", _ID, nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("route_id", _ID, nullable=True),
        sa.Column("route_uid", sa.Text(), nullable=False),
        sa.Column("turn", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("made_wall_us", sa.BigInteger(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["route_id"], ["routes.id"], name=op.f("fk_corrections_route_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_corrections")),
        sa.UniqueConstraint("uid", name=op.f("uq_corrections_uid")),
    )
    op.create_index(op.f("ix_corrections_route_uid"), "corrections", ["route_uid"])
    for trigger in _TRIGGERS:
        op.execute(trigger)

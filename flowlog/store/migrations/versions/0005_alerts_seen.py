"""Alerts that somebody has seen; the area that a mark of a stop may say"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

_ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "alerts_seen",
        sa.Column("id", _ID, nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("route_id", _ID, nullable=True),
        sa.Column("route_uid", sa.Text(), nullable=False),
        sa.Column("alert", sa.Text(), nullable=False),
        sa.Column("wall_us", sa.BigInteger(), nullable=False),
        sa.Column("run_id", _ID, nullable=True),
        sa.ForeignKeyConstraint(["route_id"], ["routes.id"], name=op.f("fk_alerts_seen_route_id")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_alerts_seen_run_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alerts_seen")),
        sa.UniqueConstraint("uid", name=op.f("uq_alerts_seen_uid")),
    )
    op.create_index(op.f("ix_alerts_seen_route_uid"), "alerts_seen", ["route_uid"])
    op.add_column("stops", sa.Column("area_m2", sa.Float(), nullable=True))

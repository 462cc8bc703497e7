"""Which calibrations a route began with; calibrations are never changed"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

_ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

_TRIGGERS = (
    "CREATE TRIGGER calibrations_never_changed BEFORE UPDATE ON calibrations "
    "BEGIN SELECT RAISE(ABORT, 'a calibration is never changed: make a new one'); END",
    "CREATE TRIGGER calibrations_never_deleted BEFORE DELETE ON calibrations "
    "BEGIN SELECT RAISE(ABORT, 'a calibration is never changed: make a new one'); END",
)


def upgrade() -> None:
    op.create_table(
        "route_calibrations",
        sa.Column("route_id", _ID, nullable=False),
        sa.Column("calibration_id", _ID, nullable=False),
        sa.ForeignKeyConstraint(
            ["route_id"], ["routes.id"], name=op.f("fk_route_calibrations_route_id")
        ),
        sa.ForeignKeyConstraint(
            ["calibration_id"],
            ["calibrations.id"],
            name=op.f("fk_route_calibrations_calibration_id"),
        ),
        sa.PrimaryKeyConstraint("route_id", "calibration_id", name=op.f("pk_route_calibrations")),
        sqlite_with_rowid=False,
    )
    for trigger in _TRIGGERS:
        op.execute(trigger)

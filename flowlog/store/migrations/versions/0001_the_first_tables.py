"""The first tables"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

_VIEWS = (
    (
        "CREATE VIEW readings_us AS SELECT route_id, strftime('%Y-%m-%dT%H:%M:%S', "
        "wall_us / 1000000, 'unixepoch') || printf('.%03dZ', wall_us / 1000 % 1000) AS time_utc, "
        "phase, seconds, flow_m3_s * 60 / 0.003785411784 AS flow_gal_min, "
        "pressure_pa / 6894.757293168361 AS pressure_psi, "
        "pressure_min_pa / 6894.757293168361 AS pressure_min_psi, "
        "pressure_max_pa / 6894.757293168361 AS pressure_max_psi, "
        "rate_m3_m2 * 1000 * 0.09290304 / 0.003785411784 AS rate_gal_1000ft2, "
        "speed_m_s / 0.44704 AS speed_mph, volume_m3 / 0.003785411784 AS volume_gal, "
        "area_m2 / 0.09290304 AS area_ft2, tank_m3 / 0.003785411784 AS tank_gal, "
        "conductance_share, pulses, samples, lost, segment, seq, t_us FROM readings"
    ),
    (
        "CREATE VIEW readings_metric AS SELECT route_id, strftime('%Y-%m-%dT%H:%M:%S', "
        "wall_us / 1000000, 'unixepoch') || printf('.%03dZ', wall_us / 1000 % 1000) AS time_utc, "
        "phase, seconds, flow_m3_s * 60000 AS flow_l_min, pressure_pa / 1e5 AS pressure_bar, "
        "pressure_min_pa / 1e5 AS pressure_min_bar, pressure_max_pa / 1e5 AS pressure_max_bar, "
        "rate_m3_m2 * 1e7 AS rate_l_ha, speed_m_s * 3.6 AS speed_km_h, "
        "volume_m3 * 1000 AS volume_l, area_m2, tank_m3 * 1000 AS tank_l, conductance_share, "
        "pulses, samples, lost, segment, seq, t_us FROM readings"
    ),
    (
        "CREATE VIEW events_utc AS SELECT id, route_id, strftime('%Y-%m-%dT%H:%M:%S', "
        "wall_us / 1000000, 'unixepoch') || printf('.%03dZ', wall_us / 1000 % 1000) AS time_utc, "
        "strftime('%Y-%m-%dT%H:%M:%S', since_wall_us / 1000000, 'unixepoch') || printf('.%03dZ', "
        "since_wall_us / 1000 % 1000) AS since_utc, change, code, text, size, size_low, "
        "size_high, size_unit, checks, alert, source, uid FROM events"
    ),
    (
        "CREATE VIEW routes_utc AS SELECT id, uid, name, strftime('%Y-%m-%dT%H:%M:%S', "
        "began_wall_us / 1000000, 'unixepoch') || printf('.%03dZ', "
        "began_wall_us / 1000 % 1000) AS began_utc, strftime('%Y-%m-%dT%H:%M:%S', "
        "ended_wall_us / 1000000, 'unixepoch') || printf('.%03dZ', "
        "ended_wall_us / 1000 % 1000) AS ended_utc FROM routes"
    ),
)


def upgrade() -> None:
    op.create_table(
        "clock_steps",
        sa.Column("host_boot", sa.Text(), nullable=False),
        sa.Column("at_monotonic_us", sa.BigInteger(), nullable=False),
        sa.Column("step_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("host_boot", "at_monotonic_us", name=op.f("pk_clock_steps")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "outbox",
        sa.Column("id", _ID, nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("topic", sa.Text(), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        sa.Column("qos", sa.Integer(), nullable=False),
        sa.Column("retain", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
        sa.UniqueConstraint("key", name=op.f("uq_outbox_key")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "outbox_done",
        sa.Column("key", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_outbox_done")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "rigs",
        sa.Column("id", _ID, nullable=False),
        sa.Column("slug", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("units", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rigs")),
        sa.UniqueConstraint("slug", name=op.f("uq_rigs_slug")),
    )
    op.create_table(
        "calibrations",
        sa.Column("id", _ID, nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("rig_id", _ID, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("made_wall_us", sa.BigInteger(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("values", sa.JSON(), nullable=False),
        sa.Column("evidence", sa.JSON(), nullable=False),
        sa.Column("uncertainty", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["rig_id"], ["rigs.id"], name=op.f("fk_calibrations_rig_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calibrations")),
        sa.UniqueConstraint("uid", name=op.f("uq_calibrations_uid")),
    )
    op.create_table(
        "rig_files",
        sa.Column("id", _ID, nullable=False),
        sa.Column("rig_id", _ID, nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("seen_wall_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["rig_id"], ["rigs.id"], name=op.f("fk_rig_files_rig_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rig_files")),
        sa.UniqueConstraint("rig_id", "sha256", name=op.f("uq_rig_files_rig_id_sha256")),
    )
    op.create_table(
        "runs",
        sa.Column("id", _ID, nullable=False),
        sa.Column("rig_id", _ID, nullable=False),
        sa.Column("host_boot", sa.Text(), nullable=False),
        sa.Column("began_wall_us", sa.BigInteger(), nullable=False),
        sa.Column("began_monotonic_us", sa.BigInteger(), nullable=False),
        sa.Column("ended_wall_us", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["rig_id"], ["rigs.id"], name=op.f("fk_runs_rig_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_runs")),
        sa.UniqueConstraint(
            "host_boot", "began_monotonic_us", name=op.f("uq_runs_host_boot_began_monotonic_us")
        ),
    )
    op.create_table(
        "routes",
        sa.Column("id", _ID, nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("rig_file_id", _ID, nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("began_wall_us", sa.BigInteger(), nullable=False),
        sa.Column("began_run_id", _ID, nullable=True),
        sa.Column("ended_wall_us", sa.BigInteger(), nullable=True),
        sa.Column("ended_run_id", _ID, nullable=True),
        sa.ForeignKeyConstraint(["began_run_id"], ["runs.id"], name=op.f("fk_routes_began_run_id")),
        sa.ForeignKeyConstraint(["ended_run_id"], ["runs.id"], name=op.f("fk_routes_ended_run_id")),
        sa.ForeignKeyConstraint(
            ["rig_file_id"], ["rig_files.id"], name=op.f("fk_routes_rig_file_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_routes")),
        sa.UniqueConstraint("uid", name=op.f("uq_routes_uid")),
    )
    op.create_table(
        "clock_points",
        sa.Column("route_id", _ID, nullable=False),
        sa.Column("segment", sa.Integer(), nullable=False),
        sa.Column("t_us", sa.BigInteger(), nullable=False),
        sa.Column("run_id", _ID, nullable=False),
        sa.Column("wall_us", sa.BigInteger(), nullable=False),
        sa.Column("monotonic_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["route_id"], ["routes.id"], name=op.f("fk_clock_points_route_id")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_clock_points_run_id")),
        sa.PrimaryKeyConstraint(
            "route_id", "segment", "t_us", "run_id", name=op.f("pk_clock_points")
        ),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "events",
        sa.Column("id", _ID, nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("route_id", _ID, nullable=True),
        sa.Column("run_id", _ID, nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("alert", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("change", sa.Text(), nullable=False),
        sa.Column("segment", sa.Integer(), nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("t_us", sa.BigInteger(), nullable=False),
        sa.Column("wall_us", sa.BigInteger(), nullable=False),
        sa.Column("since_segment", sa.Integer(), nullable=False),
        sa.Column("since_seq", sa.BigInteger(), nullable=False),
        sa.Column("since_t_us", sa.BigInteger(), nullable=False),
        sa.Column("since_wall_us", sa.BigInteger(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("checks", sa.JSON(), nullable=False),
        sa.Column("size", sa.Float(), nullable=True),
        sa.Column("size_low", sa.Float(), nullable=True),
        sa.Column("size_high", sa.Float(), nullable=True),
        sa.Column("size_unit", sa.Text(), nullable=False),
        sa.Column("details", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["route_id"], ["routes.id"], name=op.f("fk_events_route_id")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_events_run_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_events")),
        sa.UniqueConstraint("uid", name=op.f("uq_events_uid")),
    )
    with op.batch_alter_table("events", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_events_route_id"), ["route_id"], unique=False)

    op.create_table(
        "notes",
        sa.Column("id", _ID, nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("route_id", _ID, nullable=True),
        sa.Column("wall_us", sa.BigInteger(), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["route_id"], ["routes.id"], name=op.f("fk_notes_route_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notes")),
        sa.UniqueConstraint("uid", name=op.f("uq_notes_uid")),
    )
    op.create_table(
        "raw_blocks",
        sa.Column("id", _ID, nullable=False),
        sa.Column("route_id", _ID, nullable=False),
        sa.Column("first_ordinal", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("blob", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["route_id"], ["routes.id"], name=op.f("fk_raw_blocks_route_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_raw_blocks")),
        sa.UniqueConstraint(
            "route_id", "first_ordinal", name=op.f("uq_raw_blocks_route_id_first_ordinal")
        ),
    )
    op.create_table(
        "raw_tail",
        sa.Column("id", _ID, nullable=False),
        sa.Column("route_id", _ID, nullable=False),
        sa.Column("first_ordinal", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("blob", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["route_id"], ["routes.id"], name=op.f("fk_raw_tail_route_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_raw_tail")),
    )
    op.create_table(
        "readings",
        sa.Column("id", _ID, nullable=False),
        sa.Column("route_id", _ID, nullable=False),
        sa.Column("segment", sa.Integer(), nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("t_us", sa.BigInteger(), nullable=False),
        sa.Column("wall_us", sa.BigInteger(), nullable=False),
        sa.Column("run_id", _ID, nullable=True),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.Column("phase", sa.Text(), nullable=False),
        sa.Column("pulses", sa.BigInteger(), nullable=False),
        sa.Column("volume_m3", sa.Float(), nullable=False),
        sa.Column("area_m2", sa.Float(), nullable=False),
        sa.Column("flow_m3_s", sa.Float(), nullable=True),
        sa.Column("pressure_pa", sa.Float(), nullable=True),
        sa.Column("pressure_min_pa", sa.Float(), nullable=True),
        sa.Column("pressure_max_pa", sa.Float(), nullable=True),
        sa.Column("rate_m3_m2", sa.Float(), nullable=True),
        sa.Column("speed_m_s", sa.Float(), nullable=True),
        sa.Column("conductance_share", sa.Float(), nullable=True),
        sa.Column("tank_m3", sa.Float(), nullable=True),
        sa.Column("samples", sa.Integer(), nullable=False),
        sa.Column("lost", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["route_id"], ["routes.id"], name=op.f("fk_readings_route_id")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_readings_run_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readings")),
    )
    op.create_table(
        "segments",
        sa.Column("route_id", _ID, nullable=False),
        sa.Column("segment", sa.Integer(), nullable=False),
        sa.Column("boot", sa.Integer(), nullable=False),
        sa.Column("first_seq", sa.BigInteger(), nullable=False),
        sa.Column("first_t_us", sa.BigInteger(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("board", sa.Text(), nullable=True),
        sa.Column("firmware", sa.Text(), nullable=True),
        sa.Column("reset", sa.Text(), nullable=True),
        sa.Column("period_ms", sa.Integer(), nullable=True),
        sa.Column("adc_bits", sa.Integer(), nullable=True),
        sa.Column("channels", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["route_id"], ["routes.id"], name=op.f("fk_segments_route_id")),
        sa.PrimaryKeyConstraint("route_id", "segment", name=op.f("pk_segments")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "stops",
        sa.Column("id", _ID, nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("route_id", _ID, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("segment", sa.Integer(), nullable=False),
        sa.Column("t_us", sa.BigInteger(), nullable=False),
        sa.Column("wall_us", sa.BigInteger(), nullable=False),
        sa.Column("run_id", _ID, nullable=True),
        sa.ForeignKeyConstraint(["route_id"], ["routes.id"], name=op.f("fk_stops_route_id")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_stops_run_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stops")),
        sa.UniqueConstraint("uid", name=op.f("uq_stops_uid")),
    )
    op.create_table(
        "stream_items",
        sa.Column("route_id", _ID, nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("ordinal", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("item", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["route_id"], ["routes.id"], name=op.f("fk_stream_items_route_id")),
        sa.PrimaryKeyConstraint("route_id", "number", name=op.f("pk_stream_items")),
        sqlite_with_rowid=False,
    )
    for view in _VIEWS:
        op.execute(view)

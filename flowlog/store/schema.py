"""The tables, in types that SQLite and a database server have in common.

SI units with the unit in the column's name. Wall times are UTC microseconds since 1970 and may
be corrected afterwards; `run_id` on a row says under which life of the daemon, and so under
which state of the host's clock, its wall time was written.

A change here needs a migration (`flowlog/store/migrations/versions`) and a new `REVISION`; a test
compares the two.
"""

from __future__ import annotations

from typing import Final

from sqlalchemy import (
    JSON,
    BigInteger,
    Column,
    Connection,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
    event,
)

REVISION: Final = "0006"
"""The revision of the tables below. Four digits, growing."""

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

_ID: Final = BigInteger().with_variant(Integer, "sqlite")
"""SQLite grows only an INTEGER key by itself."""


def _id() -> Column[int]:
    return Column("id", _ID, primary_key=True)


def _route(nullable: bool = False, key: bool = False) -> Column[int]:
    if key:
        return Column("route_id", _ID, ForeignKey("routes.id"), primary_key=True)
    return Column("route_id", _ID, ForeignKey("routes.id"), nullable=nullable)


def _run() -> Column[int]:
    return Column("run_id", _ID, ForeignKey("runs.id"))


version = Table(
    "alembic_version",
    MetaData(),  # the migration tool's own table: it makes it, and wants it in no model
    Column("version_num", String(32), nullable=False),
    PrimaryKeyConstraint("version_num", name="alembic_version_pkc"),
)

rigs = Table(
    "rigs",
    metadata,
    _id(),
    Column("slug", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("units", Text, nullable=False),
)

rig_files = Table(
    "rig_files",
    metadata,
    _id(),
    Column("rig_id", _ID, ForeignKey("rigs.id"), nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("text", Text, nullable=False),
    Column("seen_wall_us", BigInteger, nullable=False),
    UniqueConstraint("rig_id", "sha256"),
)

calibrations = Table(
    "calibrations",
    metadata,
    _id(),
    Column("uid", Text, nullable=False, unique=True),
    Column("rig_id", _ID, ForeignKey("rigs.id"), nullable=False),
    Column("kind", Text, nullable=False),
    Column("made_wall_us", BigInteger, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("values", JSON, nullable=False),
    Column("evidence", JSON, nullable=False),
    Column("uncertainty", JSON, nullable=False),
)

runs = Table(
    "runs",
    metadata,
    _id(),
    Column("rig_id", _ID, ForeignKey("rigs.id"), nullable=False),
    Column("host_boot", Text, nullable=False),
    Column("began_wall_us", BigInteger, nullable=False),
    Column("began_monotonic_us", BigInteger, nullable=False),
    Column("ended_wall_us", BigInteger),
    UniqueConstraint("host_boot", "began_monotonic_us"),
)

clock_steps = Table(
    "clock_steps",
    metadata,
    Column("host_boot", Text, primary_key=True),
    Column("at_monotonic_us", BigInteger, primary_key=True),
    Column("step_us", BigInteger, nullable=False),
    sqlite_with_rowid=False,
)

routes = Table(
    "routes",
    metadata,
    _id(),
    Column("uid", Text, nullable=False, unique=True),
    Column("rig_file_id", _ID, ForeignKey("rig_files.id"), nullable=False),
    Column("name", Text),
    Column("began_wall_us", BigInteger, nullable=False),
    Column("began_run_id", _ID, ForeignKey("runs.id")),
    Column("ended_wall_us", BigInteger),
    Column("ended_run_id", _ID, ForeignKey("runs.id")),
)

route_calibrations = Table(
    "route_calibrations",
    metadata,
    _route(key=True),
    Column("calibration_id", _ID, ForeignKey("calibrations.id"), primary_key=True),
    sqlite_with_rowid=False,
)
"""What a route began with: a replay uses exactly these, whatever was calibrated since."""

clock_points = Table(
    "clock_points",
    metadata,
    _route(key=True),
    Column("segment", Integer, primary_key=True),
    Column("t_us", BigInteger, primary_key=True),
    Column("run_id", _ID, ForeignKey("runs.id"), primary_key=True),
    Column("wall_us", BigInteger, nullable=False),
    Column("monotonic_us", BigInteger, nullable=False),
    sqlite_with_rowid=False,
)

stops = Table(
    "stops",
    metadata,
    _id(),
    Column("uid", Text, nullable=False, unique=True),
    _route(),
    Column("kind", Text, nullable=False),
    Column("name", Text),
    Column("segment", Integer, nullable=False),
    Column("t_us", BigInteger, nullable=False),
    Column("wall_us", BigInteger, nullable=False),
    _run(),
    Column("area_m2", Float),
)

raw_blocks = Table(
    "raw_blocks",
    metadata,
    _id(),
    _route(),
    Column("first_ordinal", BigInteger, nullable=False),
    Column("count", Integer, nullable=False),
    Column("blob", LargeBinary, nullable=False),
    UniqueConstraint("route_id", "first_ordinal"),
)

# The two tables that every second writes to have a key that grows and no index beside it: one
# page a commit each. An index, or a key of several columns, triples what the card must bear.

raw_tail = Table(
    "raw_tail",
    metadata,
    _id(),
    _route(),
    Column("first_ordinal", BigInteger, nullable=False),
    Column("count", Integer, nullable=False),
    Column("blob", LargeBinary, nullable=False),
)

stream_items = Table(
    "stream_items",
    metadata,
    _route(key=True),
    Column("number", BigInteger, primary_key=True),
    Column("ordinal", BigInteger, nullable=False),
    Column("kind", Text, nullable=False),
    Column("item", JSON, nullable=False),
    sqlite_with_rowid=False,
)

readings = Table(
    "readings",
    metadata,
    _id(),
    _route(),
    Column("segment", Integer, nullable=False),
    Column("seq", BigInteger, nullable=False),
    Column("t_us", BigInteger, nullable=False),
    Column("wall_us", BigInteger, nullable=False),
    _run(),
    Column("seconds", Float, nullable=False),
    Column("phase", Text, nullable=False),
    Column("pulses", BigInteger, nullable=False),
    Column("volume_m3", Float, nullable=False),
    Column("area_m2", Float, nullable=False),
    Column("flow_m3_s", Float),
    Column("pressure_pa", Float),
    Column("pressure_min_pa", Float),
    Column("pressure_max_pa", Float),
    Column("rate_m3_m2", Float),
    Column("speed_m_s", Float),
    Column("conductance_share", Float),
    Column("tank_m3", Float),
    Column("samples", Integer, nullable=False),
    Column("lost", BigInteger, nullable=False),
)
"""`id` is route_id * 2**32 plus the reading's place in its route: see `store.reading`."""

events = Table(
    "events",
    metadata,
    _id(),
    Column("uid", Text, nullable=False, unique=True),
    _route(nullable=True),
    _run(),
    Column("source", Text, nullable=False),
    Column("alert", Text, nullable=False),
    Column("code", Text, nullable=False),
    Column("change", Text, nullable=False),
    Column("segment", Integer, nullable=False),
    Column("seq", BigInteger, nullable=False),
    Column("t_us", BigInteger, nullable=False),
    Column("wall_us", BigInteger, nullable=False),
    Column("since_segment", Integer, nullable=False),
    Column("since_seq", BigInteger, nullable=False),
    Column("since_t_us", BigInteger, nullable=False),
    Column("since_wall_us", BigInteger, nullable=False),
    Column("text", Text, nullable=False),
    Column("checks", JSON, nullable=False),
    Column("size", Float),
    Column("size_low", Float),
    Column("size_high", Float),
    Column("size_unit", Text, nullable=False),
    Column("details", JSON, nullable=False),
    Index(None, "route_id"),
)

alerts_seen = Table(
    "alerts_seen",
    metadata,
    _id(),
    Column("uid", Text, nullable=False, unique=True),
    _route(nullable=True),
    Column("route_uid", Text, nullable=False),
    Column("alert", Text, nullable=False),
    Column("wall_us", BigInteger, nullable=False),
    _run(),
    Index(None, "route_uid"),
)
"""Somebody at the rig said that they know of an alert. It changes nothing about the alert."""

notes = Table(
    "notes",
    metadata,
    _id(),
    Column("uid", Text, nullable=False, unique=True),
    _route(nullable=True),
    Column("wall_us", BigInteger, nullable=False),
    Column("author", Text, nullable=False),
    Column("text", Text, nullable=False),
)

application_records = Table(
    "application_records",
    metadata,
    _id(),
    Column("uid", Text, nullable=False, unique=True),
    Column("record_uid", Text, nullable=False),
    Column("revision", Integer, nullable=False),
    _route(nullable=True),
    Column("route_uid", Text, nullable=False),
    Column("stop_number", Integer),
    Column("made_wall_us", BigInteger, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("form", Text, nullable=False),
    Column("state", Text, nullable=False),
    Column("supersedes", Text),
    Column("fields", JSON, nullable=False),
    UniqueConstraint("record_uid", "revision"),
)
"""One row a revision: an amended record is a further row, and no row is ever changed."""

corrections = Table(
    "corrections",
    metadata,
    _id(),
    Column("uid", Text, nullable=False, unique=True),
    _route(nullable=True),
    Column("route_uid", Text, nullable=False),
    Column("turn", BigInteger, nullable=False),
    Column("kind", Text, nullable=False),
    Column("made_wall_us", BigInteger, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("body", JSON, nullable=False),
    Index(None, "route_uid"),
)
"""What a person says about a route afterwards. What was logged stays; these are applied to it when
it is read. `turn` grows with each correction of a route that its author knew of, so the order in
which corrections hold does not depend on the order in which the store took them."""

_NEVER_CHANGED: Final = {
    "application_records": "an application record is never changed: add a revision",
    "calibrations": "a calibration is never changed: make a new one",
    "corrections": "a correction is never changed: undo it by another one",
}


@event.listens_for(application_records, "after_create")
@event.listens_for(calibrations, "after_create")
@event.listens_for(corrections, "after_create")
def _hold_append_only(table: Table, connection: Connection, **_: object) -> None:
    """Held by the database too, for whoever opens it with an SQL shell."""
    if connection.dialect.name != "sqlite":
        return
    for word, verb in (("changed", "UPDATE"), ("deleted", "DELETE")):
        connection.exec_driver_sql(
            f"CREATE TRIGGER {table.name}_never_{word} BEFORE {verb} ON {table.name} "
            f"BEGIN SELECT RAISE(ABORT, '{_NEVER_CHANGED[table.name]}'); END"
        )


outbox = Table(
    "outbox",
    metadata,
    _id(),
    Column("key", Text, nullable=False, unique=True),
    Column("topic", Text, nullable=False),
    Column("payload", LargeBinary, nullable=False),
    Column("qos", Integer, nullable=False),
    Column("retain", Integer, nullable=False),
    # An id that comes back after a deletion would be taken for the old message.
    sqlite_autoincrement=True,
)

outbox_done = Table(
    "outbox_done",
    metadata,
    Column("key", Text, primary_key=True),
    sqlite_with_rowid=False,
)
"""Keys that were acknowledged or dropped: a replay must not announce them again."""

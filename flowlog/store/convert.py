"""Records to table rows and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any, TypeVar

from flowlog.monitor.outputs import Event, Position, Reading
from flowlog.monitor.stream import TankFill
from flowlog.store.rows import ClockPoint, EventRow, OutboxRow, RouteRow, StopMark
from flowlog.wire.records import Hello

T = TypeVar("T")
Row = dict[str, Any]
Found = Mapping[str, Any]

READING_VALUES = tuple(field.name for field in fields(Reading) if field.name != "at")
_EVENT_VALUES = tuple(
    field.name for field in fields(Event) if field.name not in {"at", "since", "checks", "details"}
)


def reading_row(reading: Reading, wall_us: int) -> Row:
    return {
        **reading.at._asdict(),
        "wall_us": wall_us,
        **{name: getattr(reading, name) for name in READING_VALUES},
    }


def reading_of(row: Found) -> Reading:
    return Reading(at=_position(row), **{name: row[name] for name in READING_VALUES})


def event_row(row: EventRow) -> Row:
    event = row.event
    return {
        "uid": row.uid,
        "source": row.source,
        "wall_us": row.wall_us,
        "since_wall_us": row.since_wall_us,
        **event.at._asdict(),
        **{f"since_{name}": value for name, value in event.since._asdict().items()},
        **{name: getattr(event, name) for name in _EVENT_VALUES},
        "checks": list(event.checks),
        "details": event.details,
    }


def event_of(row: Found) -> EventRow:
    event = Event(
        at=_position(row),
        since=_position(row, "since_"),
        checks=tuple(row["checks"]),
        details=row["details"],
        **{name: row[name] for name in _EVENT_VALUES},
    )
    return EventRow(event, row["wall_us"], row["since_wall_us"], row["source"], row["uid"])


def item_row(item: Hello | TankFill) -> Row:
    return {"kind": "hello" if isinstance(item, Hello) else "tank fill", "item": asdict(item)}


def item_of(row: Found) -> Hello | TankFill:
    return Hello(**row["item"]) if row["kind"] == "hello" else TankFill(**row["item"])


def clock_of(row: Found) -> ClockPoint:
    return _same_names(ClockPoint, row)


def stop_of(row: Found) -> StopMark:
    return _same_names(StopMark, row)


def route_of(row: Found) -> RouteRow:
    return _same_names(RouteRow, {**row, "rig_sha256": row["sha256"]})


def outbox_of(row: Found) -> OutboxRow:
    return _same_names(OutboxRow, {**row, "retain": bool(row["retain"])})


def _same_names(kind: type[T], row: Found) -> T:
    names = [field.name for field in fields(kind)]  # type: ignore[arg-type]
    return kind(**{name: row[name] for name in names})


def _position(row: Found, prefix: str = "") -> Position:
    return Position(*(row[prefix + name] for name in ("segment", "seq", "t_us")))

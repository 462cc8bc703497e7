"""Readings in the database: appended in order, found by route without an index.

A reading's id is its route's id times 2**32 plus its place in the route, so the readings of a
route lie together, in order, and "the last one" is one step from the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from sqlalchemy import ColumnElement, Connection, and_, insert, or_, select

from flowlog.monitor.outputs import Reading
from flowlog.store.convert import Row, reading_row
from flowlog.store.schema import readings

ROUTE_STEP: Final = 1 << 32


def of_route(route_id: int) -> ColumnElement[bool]:
    """The condition for the readings of one route."""
    return readings.c.id.between(route_id * ROUTE_STEP, (route_id + 1) * ROUTE_STEP - 1)


def append(
    connection: Connection,
    route_id: int,
    run_id: int | None,
    added: Sequence[tuple[Reading, int]],
) -> None:
    """Add readings, which come in order, behind those of the route; pass over what is stored."""
    last = connection.execute(
        select(readings.c.id, readings.c.segment, readings.c.seq)
        .where(of_route(route_id))
        .order_by(readings.c.id.desc())
        .limit(1)
    ).first()
    place = route_id * ROUTE_STEP if last is None else last.id + 1
    known = (-1, -1) if last is None else (last.segment, last.seq)
    rows: list[Row] = []
    for reading, wall_us in added:
        at = (reading.at.segment, reading.at.seq)
        if at > known:
            known = at
            here = {"id": place + len(rows), "route_id": route_id, "run_id": run_id}
            rows.append({**reading_row(reading, wall_us), **here})
    if rows:
        connection.execute(insert(readings), rows)


def behind(connection: Connection, route_id: int, segment: int, seq: int) -> int:
    """Id of the last reading of the route up to a position; 0 if there is none.

    Looks from the end: who asks usually has all but the last few.
    """
    reached = or_(
        readings.c.segment < segment, and_(readings.c.segment == segment, readings.c.seq <= seq)
    )
    found = connection.execute(
        select(readings.c.id)
        .where(of_route(route_id), reached)
        .order_by(readings.c.id.desc())
        .limit(1)
    ).scalar()
    return int(found or 0)

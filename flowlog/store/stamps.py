"""Whether anything of a route has changed since one looked, without reading it."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, func, select

from flowlog.store.reading import ROUTE_STEP
from flowlog.store.schema import corrections, events, readings, routes, stops


def read(connection: Connection) -> dict[int, tuple[Any, ...]]:
    """For each route, by its id, a tuple that differs from an earlier one if anything differs.

    Readings are only ever added at their end, and their wall times are moved all together; events,
    marks and corrections are only ever added.
    """
    first = routes.c.id * ROUTE_STEP
    inner = readings.alias()
    last = (
        select(func.max(inner.c.id))
        .where(inner.c.id.between(first, first + ROUTE_STEP - 1))
        .correlate(routes)
        .scalar_subquery()
    )
    both = routes.outerjoin(readings, readings.c.id == last)
    query = select(routes, last.label("last"), readings.c.wall_us).select_from(both)
    found: dict[int, list[Any]] = {row.id: [*row] for row in connection.execute(query)}
    by_uid = {uid: key for key, uid in connection.execute(select(routes.c.id, routes.c.uid)).all()}
    for table, keys in (
        (events.c.route_id, None),
        (stops.c.route_id, None),
        (corrections.c.route_uid, by_uid),
    ):
        newest = select(table, func.max(table.table.c.id)).group_by(table)
        for key, number in connection.execute(newest):
            route_id = key if keys is None else keys.get(key)
            if route_id in found:
                found[route_id].append((table.table.name, number))
    return {key: tuple(row) for key, row in found.items()}

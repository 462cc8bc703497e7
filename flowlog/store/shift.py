"""Correcting wall times after the host's clock was set."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, func, or_, select, update
from sqlalchemy.dialects.sqlite import insert as upsert

from flowlog.store.reading import ROUTE_STEP
from flowlog.store.schema import (
    alerts_seen,
    clock_points,
    clock_steps,
    events,
    readings,
    routes,
    runs,
    stops,
)


def apply(connection: Connection, host_boot: str, step_us: int, at_monotonic_us: int) -> bool:
    """Add the step to what the runs of this power-up have stored, once. See `Recorder`."""
    step = {"host_boot": host_boot, "at_monotonic_us": at_monotonic_us, "step_us": step_us}
    noted = connection.execute(upsert(clock_steps).values(step).on_conflict_do_nothing())
    if not noted.rowcount:
        return False
    mine = select(runs.c.id).where(runs.c.host_boot == host_boot)
    first, last = connection.execute(
        select(func.min(runs.c.id), func.max(runs.c.id)).where(runs.c.host_boot == host_boot)
    ).one()
    if first is None:
        return True

    def shift(where: ColumnElement[bool], *columns: Column[Any]) -> None:
        moved = {column: column + step_us for column in columns}
        connection.execute(update(columns[0].table).where(where).values(moved))

    # Only the routes that these runs can have written to: a season of readings is long.
    touched = select(routes.c.id).where(
        or_(routes.c.began_run_id.is_(None), routes.c.began_run_id <= last),
        or_(routes.c.ended_run_id.is_(None), routes.c.ended_run_id >= first),
    )
    oldest = connection.execute(touched.order_by(routes.c.id).limit(1)).scalar()
    if oldest is not None:
        begin = readings.c.id >= oldest * ROUTE_STEP
        shift(begin & readings.c.run_id.in_(mine), readings.c.wall_us)
    points = clock_points.c.route_id.in_(touched) & clock_points.c.run_id.in_(mine)
    shift(points, clock_points.c.wall_us)
    shift(stops.c.run_id.in_(mine), stops.c.wall_us)
    shift(alerts_seen.c.run_id.in_(mine), alerts_seen.c.wall_us)
    shift(events.c.run_id.in_(mine), events.c.wall_us, events.c.since_wall_us)
    shift(routes.c.began_run_id.in_(mine), routes.c.began_wall_us)
    shift(routes.c.ended_run_id.in_(mine), routes.c.ended_wall_us)
    shift(runs.c.id.in_(mine), runs.c.began_wall_us, runs.c.ended_wall_us)
    return True

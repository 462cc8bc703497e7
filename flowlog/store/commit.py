"""One batch into the tables, passing over what is there already."""

from __future__ import annotations

from dataclasses import asdict

from sqlalchemy import Connection, Table, delete, insert, select
from sqlalchemy.dialects.sqlite import insert as upsert

from flowlog.store import calibrations, corrections, raw, reading, records
from flowlog.store.convert import Row, event_row, item_row
from flowlog.store.rows import Batch
from flowlog.store.schema import (
    alerts_seen,
    clock_points,
    events,
    outbox,
    outbox_done,
    routes,
    stops,
    stream_items,
)


def write(connection: Connection, batch: Batch, run_id: int | None, rig_id: int) -> None:
    """Write all of a batch inside the caller's transaction."""
    if batch.route_id is None:
        _refuse_homeless(batch)
    else:
        _write_stream(connection, batch, batch.route_id, run_id)
    here = {"route_id": batch.route_id, "run_id": run_id}
    _add(connection, events, [{**event_row(row), **here} for row in batch.events])
    records.append(connection, batch.records)
    calibrations.append(connection, rig_id, batch.calibrations)
    corrections.append(connection, batch.corrections)
    for row in batch.seen:
        route = select(routes.c.id).where(routes.c.uid == row.route_uid)
        values = {**asdict(row), "route_id": connection.execute(route).scalar(), "run_id": run_id}
        _add(connection, alerts_seen, [values])
    _acknowledge(connection, batch.acknowledged)
    _post(connection, batch)


def _write_stream(connection: Connection, batch: Batch, route_id: int, run_id: int | None) -> None:
    if len(batch.samples):
        raw.append(connection, route_id, batch.first_ordinal, batch.samples)
    route = {"route_id": route_id}
    here = {**route, "run_id": run_id}
    _add(
        connection,
        stream_items,
        [
            {**route, "number": mark.number, "ordinal": mark.ordinal, **item_row(mark.item)}
            for mark in batch.items
        ],
    )
    if batch.readings:
        reading.append(connection, route_id, run_id, batch.readings)
    _add(connection, clock_points, [{**asdict(point), **route} for point in batch.clock])
    _add(connection, stops, [{**asdict(stop), **here} for stop in batch.stops])


def _add(connection: Connection, table: Table, rows: list[Row]) -> None:
    if rows:
        connection.execute(upsert(table).on_conflict_do_nothing(), rows)


def _acknowledge(connection: Connection, ids: list[int]) -> None:
    if ids:
        keys = select(outbox.c.key).where(outbox.c.id.in_(ids))
        connection.execute(insert(outbox_done).from_select(["key"], keys))
        connection.execute(delete(outbox).where(outbox.c.id.in_(ids)))


def _post(connection: Connection, batch: Batch) -> None:
    if not batch.outbox:
        return
    keys = [message.key for message in batch.outbox]
    done = set(
        connection.execute(select(outbox_done.c.key).where(outbox_done.c.key.in_(keys))).scalars()
    )
    waiting = [message for message in batch.outbox if message.key not in done]
    _add(connection, outbox, [asdict(message) for message in waiting])


def _refuse_homeless(batch: Batch) -> None:
    if any(
        (
            len(batch.samples),
            batch.items,
            batch.readings,
            batch.clock,
            batch.stops,
        )
    ):
        raise ValueError("a batch without a route holds samples, readings or marks")

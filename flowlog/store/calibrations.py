"""Calibrations: added, never changed, and remembered by the routes that were watched with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import Any

from sqlalchemy import Connection, Select, select
from sqlalchemy.dialects.sqlite import insert as upsert

from flowlog.store.rows import CalibrationRow, StoredCalibration
from flowlog.store.schema import calibrations, rigs, route_calibrations

_NAMES = tuple(field.name for field in fields(CalibrationRow))


def append(connection: Connection, rig_id: int, rows: Sequence[CalibrationRow]) -> None:
    """Add calibrations of a rig inside the caller's transaction; known uids are passed over."""
    if rows:
        values = [{**asdict(row), "rig_id": rig_id} for row in rows]
        connection.execute(upsert(calibrations).on_conflict_do_nothing(), values)


def find(connection: Connection, uid: str) -> StoredCalibration:
    """The calibration of this uid, which must be there."""
    query = select(calibrations).where(calibrations.c.uid == uid)
    return _of(dict(connection.execute(query).mappings().one()))


def remember(connection: Connection, route_id: int, ids: Sequence[int]) -> None:
    """The route is watched with these calibrations.

    One that this store does not have (it was exchanged for another) keeps no route from beginning.
    """
    known = select(calibrations.c.id).where(calibrations.c.id.in_(ids))
    rows = [
        {"route_id": route_id, "calibration_id": one} for one in connection.execute(known).scalars()
    ]
    if rows:
        connection.execute(upsert(route_calibrations).on_conflict_do_nothing(), rows)


def read(connection: Connection, slug: str | None, kind: str | None) -> list[StoredCalibration]:
    """Calibrations in the order in which the store took them: wall clocks may be wrong."""
    query: Select[Any] = select(calibrations).order_by(calibrations.c.id)
    if slug is not None:
        query = query.join(rigs, rigs.c.id == calibrations.c.rig_id).where(rigs.c.slug == slug)
    if kind is not None:
        query = query.where(calibrations.c.kind == kind)
    return [_of(dict(row)) for row in connection.execute(query).mappings()]


def of_route(connection: Connection, route_id: int) -> list[StoredCalibration]:
    """Those that the route began with, oldest first."""
    query = (
        select(calibrations)
        .join(route_calibrations, route_calibrations.c.calibration_id == calibrations.c.id)
        .where(route_calibrations.c.route_id == route_id)
        .order_by(calibrations.c.id)
    )
    return [_of(dict(row)) for row in connection.execute(query).mappings()]


def _of(found: dict[str, Any]) -> StoredCalibration:
    return StoredCalibration(
        id=int(found["id"]), row=CalibrationRow(**{name: found[name] for name in _NAMES})
    )

"""Corrections: what a person says about a route afterwards; added, and never changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import Any

from sqlalchemy import Connection, Select, select
from sqlalchemy.dialects.sqlite import insert as upsert

from flowlog.store.rows import CorrectionRow
from flowlog.store.schema import corrections, routes

_NAMES = tuple(field.name for field in fields(CorrectionRow))


def append(connection: Connection, rows: Sequence[CorrectionRow]) -> None:
    """Add corrections inside the caller's transaction; known uids are passed over.

    A route that this store does not have keeps no correction from being kept.
    """
    for row in rows:
        route = select(routes.c.id).where(routes.c.uid == row.route_uid)
        values = {**asdict(row), "route_id": connection.execute(route).scalar()}
        connection.execute(upsert(corrections).values(values).on_conflict_do_nothing())


def read(connection: Connection, route_uid: str | None) -> list[CorrectionRow]:
    """Corrections in the order in which they hold, of one route or of all."""
    table = corrections
    query: Select[Any] = select(table).order_by(table.c.route_uid, table.c.turn, table.c.uid)
    if route_uid is not None:
        query = query.where(table.c.route_uid == route_uid)
    found = connection.execute(query).mappings()
    return [CorrectionRow(**{name: row[name] for name in _NAMES}) for row in found]

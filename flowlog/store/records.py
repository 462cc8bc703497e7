"""Application records: revisions are added, and never changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, fields

from sqlalchemy import Connection, func, insert, select

from flowlog.store.rows import RecordRow, StoredRecord
from flowlog.store.schema import application_records, routes

_NAMES = tuple(field.name for field in fields(RecordRow))


def append(connection: Connection, rows: Sequence[RecordRow]) -> None:
    """Add revisions inside the caller's transaction; those that are there are passed over.

    The store numbers the revisions, not their authors: of two amendments of the same revision
    both are kept, the second one says in `supersedes` that it did not know of the first.
    """
    table = application_records
    for row in rows:
        known = select(table.c.id).where(table.c.uid == row.uid)
        if connection.execute(known).first() is not None:
            continue
        last = select(func.max(table.c.revision)).where(table.c.record_uid == row.record_uid)
        route = select(routes.c.id).where(routes.c.uid == row.route_uid)
        connection.execute(
            insert(table).values(
                **asdict(row),
                revision=(connection.execute(last).scalar() or 0) + 1,
                route_id=connection.execute(route).scalar(),
            )
        )


def read(connection: Connection) -> list[StoredRecord]:
    """All revisions, oldest first."""
    numbers: dict[str, int] = {}
    found = []
    query = select(application_records).order_by(application_records.c.id)
    for row in connection.execute(query).mappings():
        number = numbers.setdefault(row["record_uid"], len(numbers) + 1)
        values = RecordRow(**{name: row[name] for name in _NAMES})
        found.append(StoredRecord(values, number, row["revision"], row["route_id"]))
    return found

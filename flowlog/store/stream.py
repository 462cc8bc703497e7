"""A route's stream back out of the tables, in the order in which it happened."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Table, select

from flowlog.monitor.stream import StreamItem
from flowlog.store import raw
from flowlog.store.convert import item_of
from flowlog.store.errors import StoreCorruptError
from flowlog.store.rawblock import RawBlockError, decode
from flowlog.store.schema import raw_blocks, raw_tail, stream_items
from flowlog.wire.samples import Samples

_AT_ONCE: Final = 32
"""Blocks fetched in one look."""

Looking = Callable[[], AbstractContextManager[Connection]]


def read_stream(
    looking: Looking, route_id: int, path: Path, first_ordinal: int = 0
) -> Iterator[tuple[int, StreamItem]]:
    """See `Archive.stream`. Ends where the stream ended when the reading began."""
    with looking() as connection:
        end = raw.tally(connection, route_id).next_ordinal
        found = [(row["ordinal"], item_of(row)) for row in _marks(connection, route_id)]
    marks = [mark for mark in reversed(found) if mark[0] >= first_ordinal]
    for first, samples in _blocks(looking, route_id, first_ordinal, end, path):
        at, last = first, first + len(samples)
        while marks and marks[-1][0] < last:
            ordinal, item = marks.pop()
            if ordinal > at:
                yield at, samples[at - first : ordinal - first]
                at = ordinal
            yield ordinal, item
        yield at, samples[at - first :]
    while marks:
        yield marks.pop()


def _marks(connection: Connection, route_id: int) -> list[Any]:
    query = (
        select(stream_items)
        .where(stream_items.c.route_id == route_id)
        .order_by(stream_items.c.number)
    )
    return list(connection.execute(query).mappings())


def _blocks(
    looking: Looking, route_id: int, at: int, end: int, path: Path
) -> Iterator[tuple[int, Samples]]:
    """Blocks from ordinal `at` to below `end`; a seal that happens meanwhile is not seen."""
    while at < end:
        with looking() as connection:
            rows = _fetch(connection, raw_blocks, route_id, at) or _fetch(
                connection, raw_tail, route_id, at
            )
        if not rows:
            return
        for first, blob in rows:
            try:
                samples = decode(blob)
            except RawBlockError as fault:
                raise StoreCorruptError(
                    f"{path}: raw samples from ordinal {first} of route {route_id}: {fault}"
                ) from fault
            # The tail's rows that were seen may be sealed into one block by now, and the other
            # way round nothing: so cut what came already, and what came after `end`.
            begin, stop = max(at - first, 0), min(len(samples), end - first)
            if begin < stop:
                yield first + begin, samples[begin:stop]
                at = first + stop


def _fetch(connection: Connection, table: Table, route_id: int, at: int) -> list[Any]:
    query = (
        select(table.c.first_ordinal, table.c.blob)
        .where(table.c.route_id == route_id, table.c.first_ordinal + table.c.count > at)
        .order_by(table.c.first_ordinal)
        .limit(_AT_ONCE)
    )
    return list(connection.execute(query).all())

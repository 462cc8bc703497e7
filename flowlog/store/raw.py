"""Raw samples in the database: a tail of single commits, sealed into blocks.

A commit adds one small row to the tail. Once a minute's worth has gathered, one row of
`raw_blocks` takes the place of the tail's rows, in the same transaction. Ten such blocks become
one: a block of a minute leaves a third of its page in the file empty, a long one next to nothing.
"""

from __future__ import annotations

from typing import Any, Final

from sqlalchemy import Connection, delete, func, select

from flowlog.store.rawblock import decode, encode, encode_plain
from flowlog.store.reading import of_route
from flowlog.store.rows import Tally
from flowlog.store.schema import raw_blocks, raw_tail, readings, stream_items
from flowlog.wire.samples import Samples

SEAL_SAMPLES: Final = 600
"""A minute at ten samples a second."""
MERGE_SAMPLES: Final = 6_000
"""Blocks smaller than this are joined once there are so many samples in them."""
LARGEST_BLOCK: Final = 36_000


def tally(connection: Connection, route_id: int) -> Tally:
    """Where the route's stored stream ends."""
    ends = [
        connection.execute(
            select(table.c.first_ordinal + table.c.count)
            .where(table.c.route_id == route_id)
            .order_by(table.c.first_ordinal.desc())
            .limit(1)
        ).scalar()
        for table in (raw_blocks, raw_tail)
    ]
    last = connection.execute(
        select(func.max(stream_items.c.number)).where(stream_items.c.route_id == route_id)
    ).scalar()
    return Tally(max(end or 0 for end in ends), 0 if last is None else last + 1)


def raw_gone(connection: Connection, route_id: int) -> bool:
    """Whether the route has readings, and not the raw samples from its first on."""
    begins = [
        connection.execute(
            select(func.min(table.c.first_ordinal)).where(table.c.route_id == route_id)
        ).scalar()
        for table in (raw_blocks, raw_tail)
    ]
    if 0 in begins:
        return False
    return (
        connection.execute(select(readings.c.id).where(of_route(route_id)).limit(1)).first()
        is not None
    )


def append(connection: Connection, route_id: int, first_ordinal: int, samples: Samples) -> None:
    """Add samples to the tail, leaving out what is stored already; seal if it is time to."""
    known = tally(connection, route_id).next_ordinal - first_ordinal
    if known > 0:
        samples = samples[known:]
        first_ordinal += known
    if not len(samples):
        return
    tail_began = connection.execute(
        select(func.min(raw_tail.c.first_ordinal)).where(raw_tail.c.route_id == route_id)
    ).scalar()
    began = first_ordinal if tail_began is None else tail_began
    if first_ordinal + len(samples) - began >= SEAL_SAMPLES:
        seal(connection, route_id, (first_ordinal, samples))
        return
    connection.execute(
        raw_tail.insert().values(
            route_id=route_id,
            first_ordinal=first_ordinal,
            count=len(samples),
            blob=encode_plain(samples),
        )
    )


def seal(connection: Connection, route_id: int, more: tuple[int, Samples] | None = None) -> None:
    """Turn the tail, and what has just come, into blocks without holes."""
    rows = connection.execute(
        select(raw_tail.c.first_ordinal, raw_tail.c.blob)
        .where(raw_tail.c.route_id == route_id)
        .order_by(raw_tail.c.first_ordinal)
    ).all()
    pieces = [(first, decode(blob)) for first, blob in rows]
    if more is not None:
        pieces.append(more)
    for first, samples in _without_holes(pieces):
        for at in range(0, len(samples), LARGEST_BLOCK):
            _insert(connection, route_id, first + at, samples[at : at + LARGEST_BLOCK])
    if rows:
        connection.execute(delete(raw_tail).where(raw_tail.c.route_id == route_id))
    merge(connection, route_id, MERGE_SAMPLES)


def merge(connection: Connection, route_id: int, least: int) -> None:
    """Join neighbouring small blocks that together hold `least` samples or more."""
    # "size": a row of results has a method of the name "count"
    small = connection.execute(
        select(raw_blocks.c.id, raw_blocks.c.first_ordinal, raw_blocks.c.count.label("size"))
        .where(raw_blocks.c.route_id == route_id, raw_blocks.c.count < MERGE_SAMPLES)
        .order_by(raw_blocks.c.first_ordinal)
    ).all()
    runs: list[list[Any]] = []
    for block in small:
        if runs and runs[-1][-1].first_ordinal + runs[-1][-1].size == block.first_ordinal:
            runs[-1].append(block)
        else:
            runs.append([block])
    for run in runs:
        if len(run) > 1 and sum(block.size for block in run) >= least:
            ids = [block.id for block in run]
            blobs = connection.execute(
                select(raw_blocks.c.blob)
                .where(raw_blocks.c.id.in_(ids))
                .order_by(raw_blocks.c.first_ordinal)
            ).scalars()
            samples = Samples.join([decode(blob) for blob in blobs])
            connection.execute(delete(raw_blocks).where(raw_blocks.c.id.in_(ids)))
            _insert(connection, route_id, run[0].first_ordinal, samples)


def _insert(connection: Connection, route_id: int, first: int, samples: Samples) -> None:
    connection.execute(
        raw_blocks.insert().values(
            route_id=route_id, first_ordinal=first, count=len(samples), blob=encode(samples)
        )
    )


def _without_holes(pieces: list[tuple[int, Samples]]) -> list[tuple[int, Samples]]:
    joined: list[tuple[int, list[Samples]]] = []
    end = -1
    for first, samples in pieces:
        if joined and first == end:
            joined[-1][1].append(samples)
        else:
            joined.append((first, [samples]))
        end = first + len(samples)
    return [(first, Samples.join(blocks)) for first, blocks in joined]

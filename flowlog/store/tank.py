"""What is known of a rig's tank at the end of all that is stored."""

from __future__ import annotations

from sqlalchemy import Connection, select

from flowlog.store.raw import raw_gone, tally
from flowlog.store.rows import TankRow
from flowlog.store.schema import readings, rig_files, rigs, routes, stream_items


def read(connection: Connection, slug: str) -> TankRow | None:
    """From the newest reading, or from a fill that was said after the newest sample."""
    rig = (
        select(routes.c.id)
        .select_from(routes.join(rig_files).join(rigs, rigs.c.id == rig_files.c.rig_id))
        .where(rigs.c.slug == slug)
    )
    reading = connection.execute(
        select(readings.c.route_id, readings.c.tank_m3)
        .where(readings.c.route_id.in_(rig))
        .order_by(readings.c.id.desc())
        .limit(1)
    ).first()
    fill = connection.execute(
        select(stream_items.c.route_id, stream_items.c.ordinal, stream_items.c.item)
        .where(stream_items.c.route_id.in_(rig), stream_items.c.kind == "tank fill")
        .order_by(stream_items.c.route_id.desc(), stream_items.c.number.desc())
        .limit(1)
    ).first()
    sprayed_us = connection.execute(
        select(readings.c.wall_us)
        .where(readings.c.route_id.in_(rig), readings.c.phase == "spraying")
        .order_by(readings.c.id.desc())
        .limit(1)
    ).scalar()
    if fill is not None and (
        reading is None
        or fill.route_id > reading.route_id
        or (
            fill.route_id == reading.route_id
            and fill.ordinal >= tally(connection, fill.route_id).next_ordinal
            and not raw_gone(connection, fill.route_id)
        )
    ):
        return TankRow(fill.item["volume_m3"], sprayed_us if fill.item.get("carried") else None)
    if reading is None or reading.tank_m3 is None:
        return None
    return TankRow(reading.tank_m3, sprayed_us)

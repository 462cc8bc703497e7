"""What was left in the tank when a route ended: the next route counts on from it.

A tank that is taken for full although it is not brings the low-tank alert too late, which is worse
than none. So what was left is carried over, and the person is told, who alone knows better.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from flowlog.monitor.stream import TankFill
from flowlog.rig.model import Rig
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreError
from flowlog.units import show

log = logging.getLogger(__name__)

NIGHT_S: Final = 16 * 3600.0
"""From an early end of work, at four, to a late start, at eight: so long a rest of the mix may
stand in the tank. After a longer one, as over a weekend, the tank counts from full as at the first
route: mix is used up or disposed of, not kept (common practice, no source; many labels ask so)."""


@dataclass(frozen=True, slots=True)
class Leftover:
    volume_m3: float
    idle_s: float
    """Since something was sprayed out of it; 0 when somebody has filled it since."""


def stored_leftover(folder: Path, slug: str, now_wall_us: int) -> Leftover | None:
    """What the store knows of a rig's tank; None if nothing, or if it cannot be read.

    A host that believes an earlier time than that of the last data does not know how long ago
    that was: the volume holds, which errs on the side of an early alert.
    """
    try:
        with Archive.open(folder) as archive:
            found = archive.tank(slug)
    except StoreError as error:
        log.warning("what was left in the tank cannot be read: %s", error)
        return None
    if found is None:
        return None
    since_us = now_wall_us if found.sprayed_wall_us is None else found.sprayed_wall_us
    return Leftover(found.volume_m3, max(0.0, (now_wall_us - since_us) / 1e6))


def carried(rig: Rig, leftover: Leftover | None) -> TankFill | None:
    """What a route that begins now should begin with; None where the tank counts from full."""
    if rig.tank is None or leftover is None or leftover.volume_m3 >= rig.tank.volume_m3:
        return None
    if leftover.idle_s > NIGHT_S:
        log.info("nothing was sprayed for more than a night: the tank counts from full")
        return None
    return TankFill(leftover.volume_m3, carried=True)


def words(rig: Rig, fill: TankFill) -> str:
    """What the person is told."""
    left = show(fill.volume_m3, "volume", rig.units)
    return (
        f"The tank counts on from {left}, left over from the route before; "
        "say `flowlog fill` if you filled it."
    )

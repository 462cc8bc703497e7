"""What goes into the pipeline, in the order in which it happened."""

from __future__ import annotations

from dataclasses import dataclass

from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples


@dataclass(frozen=True, slots=True)
class TankFill:
    """The tank was filled: from here on it holds `volume_m3`."""

    volume_m3: float


StreamItem = Samples | Hello | TankFill

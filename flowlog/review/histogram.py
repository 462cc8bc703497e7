"""How long the rate was how far from the asked one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.stops import Columns

STEP: Final = 0.025
"""Half of the 5 % at which one adjusts."""
REACH: Final = 0.30
"""Farther off is counted together."""


@dataclass(frozen=True, slots=True)
class Histogram:
    """Seconds of settled spraying by how far the rate was from the asked one."""

    edges: NDArray[np.float64]
    """Deviations as shares, ascending, shape (n + 1,)."""
    seconds: NDArray[np.float64]
    """Shape (n,); a deviation on an edge counts to the bin nearer to the asked rate."""
    below_s: float
    """Below the first edge."""
    above_s: float

    @property
    def total_s(self) -> float:
        return float(self.seconds.sum()) + self.below_s + self.above_s

    def within(self, share: float) -> float | None:
        """Part of the time within +-share; None if nothing was judged. `share` must be an edge."""
        if not self.total_s:
            return None
        middle = (self.edges[:-1] + self.edges[1:]) / 2
        return float(self.seconds[np.abs(middle) < share].sum()) / self.total_s


def histogram(columns: Columns, target_m3_m2: float, first: int = 0, last: int = -1) -> Histogram:
    """Of the readings `first` to `last` (both included; -1 for the end of the route)."""
    part = slice(first, None if last == -1 else last + 1)
    rate = np.asarray(columns["rate_m3_m2"][part], dtype=np.float64)
    seconds = np.asarray(columns["seconds"][part], dtype=np.float64)
    judged = (columns["phase"][part] == "spraying") & np.isfinite(rate)
    off, weight = rate[judged] / target_m3_m2 - 1.0, seconds[judged]
    count = round(REACH / STEP)
    # Counted from the asked rate to both sides, so that both edges at 5 % count as within 5 %.
    place = np.ceil(np.abs(off) / STEP - 1e-9).astype(np.int64) - 1
    place = np.where(off < 0, count - 1 - np.maximum(place, 0), count + np.maximum(place, 0))
    far_low, far_high = place < 0, place >= 2 * count
    inside = ~(far_low | far_high)
    return Histogram(
        edges=STEP * np.arange(-count, count + 1, dtype=np.float64),
        seconds=np.bincount(place[inside], weight[inside], 2 * count).astype(np.float64),
        below_s=float(weight[far_low].sum()),
        above_s=float(weight[far_high].sum()),
    )


def histogram_dict(found: Histogram) -> dict[str, Any]:
    """As plain data."""
    return {
        "edges_share": [round(float(edge), 6) for edge in found.edges],
        "seconds": [round(float(second), 3) for second in found.seconds],
        "below_s": round(found.below_s, 3),
        "above_s": round(found.above_s, 3),
        "total_s": round(found.total_s, 3),
        "within_5_share": found.within(0.05),
        "within_10_share": found.within(0.10),
    }

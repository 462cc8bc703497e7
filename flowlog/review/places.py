"""Where things lie on a route's own time line, in seconds since its beginning."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.stops import Columns, timeline


@dataclass(frozen=True, slots=True)
class TimeLine:
    """Board time in one piece: see `flowlog.monitor.stops.timeline` for what lies between segments.

    Arrays over the readings, shape (n,).
    """

    begin_s: NDArray[np.float64]
    end_s: NDArray[np.float64]
    segment: NDArray[np.int64]
    t_us: NDArray[np.int64]
    wall_us: NDArray[np.int64] | None

    @property
    def length_s(self) -> float:
        return float(self.end_s[-1]) if len(self.end_s) else 0.0

    @property
    def middle_s(self) -> NDArray[np.float64]:
        return (self.begin_s + self.end_s) / 2

    def second_of(self, segment: int, t_us: int) -> float:
        """The second of a moment by its board's clock."""
        if not len(self.end_s):
            return 0.0
        low = int(np.searchsorted(self.segment, segment, side="left"))
        high = int(np.searchsorted(self.segment, segment, side="right"))
        if low == high:
            # The board's run left no reading: between those before and after.
            return float(self.begin_s[low]) if low < len(self.begin_s) else self.length_s
        index = min(low + int(np.searchsorted(self.t_us[low:high], t_us, side="left")), high - 1)
        second = float(self.end_s[index]) - (int(self.t_us[index]) - t_us) / 1e6
        return min(max(second, 0.0), self.length_s)

    def moment_of(self, second: float) -> tuple[int, int]:
        """Segment and board time of a second; at a pause between segments the later one."""
        index = min(int(np.searchsorted(self.end_s, second, side="left")), len(self.end_s) - 1)
        second = max(second, float(self.begin_s[index]))
        ago_us = round((float(self.end_s[index]) - second) * 1e6)
        return int(self.segment[index]), int(self.t_us[index]) - ago_us

    def wall_of(self, second: float) -> int | None:
        """The wall time of a second, in microseconds since 1970."""
        if self.wall_us is None or not len(self.end_s):
            return None
        index = min(int(np.searchsorted(self.end_s, second, side="left")), len(self.end_s) - 1)
        return int(self.wall_us[index]) - round((float(self.end_s[index]) - second) * 1e6)


def time_line(columns: Columns) -> TimeLine:
    ends = timeline(columns)
    return TimeLine(
        ends - np.asarray(columns["seconds"], dtype=np.float64),
        ends,
        columns["segment"],
        columns["t_us"],
        columns.get("wall_us"),
    )

"""What a rule needs for a closer look at an onset, in one hand: rig, raw samples and gauge."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flowlog.monitor.close_up import CloseUp, Series, look, series_of
from flowlog.monitor.conductance import SQUARE_ROOT, Law
from flowlog.monitor.outputs import Position
from flowlog.monitor.raw_window import RawWindow
from flowlog.monitor.sensors import FlowMeter, PressureGauge
from flowlog.rig.model import Rig
from flowlog.wire.unwrap import UNWRAPPED_FIELDS as COLUMNS

_SEQ, _T = COLUMNS.index("seq"), COLUMNS.index("t_us")
_LEAST_ROWS = 100
"""Ten seconds: with less there is nothing to fit a noise to."""


class Closer:
    """The raw samples of the last minutes, ready to be looked at."""

    def __init__(self, rig: Rig, law: Law = SQUARE_ROOT) -> None:
        self.window = RawWindow()
        self.gauge: PressureGauge | None = None
        """None while the board has not said what its ADC is, or has no gauge."""
        self._meter = FlowMeter(rig.meter)
        self._law = law
        self._kept: tuple[Position, float, Series] | None = None
        """The newest series, with its last sample and its level."""

    def look(
        self, settled: Sequence[Position], level: float, ago_s: float, shift: float
    ) -> CloseUp | None:
        """Look at an onset; see `flowlog.monitor.close_up.look`.

        Args:
            settled: The last samples of the ticks that were judged, the newest last.
            level: Healthy log conductance.
            ago_s: When the tests say that it began, before the newest judged tick ended.
            shift: Of the log conductance, as measured since.
        """
        series = self.series(settled, level)
        return None if series is None else look(series, ago_s, shift)

    def series(self, settled: Sequence[Position], level: float) -> Series | None:
        """The samples of the last minutes up to the newest settled tick.

        None without a gauge, or with too few to say what their noise is.
        """
        if self.gauge is None or not settled:
            return None
        if self._kept is not None and self._kept[:2] == (settled[-1], level):
            return self._kept[2]
        rows = self.window.upto(settled[-1])
        if len(rows) < _LEAST_ROWS:
            return None
        series = series_of(rows, settled, self.gauge, self._meter, level, self._law)
        self._kept = settled[-1], level, series
        return series

    def position(self, newest: Position, ago_s: float) -> Position:
        """The first sample that ended so long before another or later."""
        rows = self.window.upto(newest)
        at = int(np.searchsorted(rows[:, _T], newest.t_us - round(ago_s * 1e6)))
        row = rows[min(at, len(rows) - 1)]
        return Position(newest.segment, int(row[_SEQ]), int(row[_T]))

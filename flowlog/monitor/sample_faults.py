"""Sensor faults that no tick should wait for: a broken gauge wire, a meter without pulses.

They are looked for sample by sample, before the ticks: a tick is half a second, and a rule that
wants two of them takes more than a second to say what three samples show. The samples in doubt
are marked, so that no rule judges a tick that holds one.

A sample is judged from its own integers and those before it, so that any cut into blocks gives the
same. Blocks in which nothing is odd, nearly all, are only looked over as columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.outputs import Position
from flowlog.monitor.phase import CHECK_VALVE_PA
from flowlog.monitor.sensors import GaugeState, PressureGauge
from flowlog.monitor.ticks import DOUBTFUL_GAUGE, DOUBTFUL_METER
from flowlog.rig.model import Rig
from flowlog.wire.unwrap import UNWRAPPED_FIELDS as COLUMNS

_RAIL_SAMPLES: Final = 3
"""A knocked plug makes a bad sample or two."""
_RAIL_US: Final = 150_000
"""At least so long between the first and the last of them, for a board that samples faster."""

_PRESSED_SHARE: Final = 0.7
"""Of the tips' lowest pressure: with that much in the boom its tips pass most of their flow."""
_SILENT_US: Final = 1_100_000
"""At the boom's opening the meter's rotor starts within a few tenths of the pressure."""
_SILENT_PULSES: Final = 2.0
"""Times between pulses at the lowest flow of the meter's range: slower is no flow to measure."""
_DOUBT_US: Final = 400_000
"""Shorter than a tick: none that lies whole in the silence is judged before that is told."""
_COASTING_US: Final = 2_000_000
"""A rotor and what still moves in the hoses give a pulse now and then after the boom is shut."""
_APART_US: Final = 1_000_000
"""Samples further apart than this say nothing about the time between them."""
_WORTH_A_BLOCK: Final = 16

_SEGMENT, _SEQ, _T, _EDGE, _SUM, _N, _VALVE = (
    COLUMNS.index(name)
    for name in ("segment", "seq", "t_us", "edge_us", "adc_sum", "adc_n", "valve")
)

OnsetCode = Literal["gauge_open", "gauge_short", "meter_silent"]


@dataclass(frozen=True, slots=True)
class Onset:
    """A sensor is broken from here on."""

    code: OnsetCode
    at: Position
    """The sample that settled it."""
    since: Position
    pressure_pa: float
    """Of that sample; what a broken gauge says means nothing."""


class SampleWatch:
    """Looks at unwrapped samples in blocks of any size; carries what the last one was."""

    def __init__(self, rig: Rig, period_us: int) -> None:
        self._pressed_pa = max(_PRESSED_SHARE * rig.boom.pressure_low_pa, CHECK_VALVE_PA)
        self._at_boom = rig.gauge.place == "boom"
        slowest_hz = rig.meter.lowest_m3_s * rig.meter.pulses_per_m3
        wait_us = round(1e6 * _SILENT_PULSES / slowest_hz) if slowest_hz > 0.0 else 0
        self._silent_us = max(_SILENT_US, wait_us)
        self._doubt_us = min(self._silent_us // 2, max(_DOUBT_US, wait_us))
        self._gauge: PressureGauge | None = None
        self._low = self._high = self._pressed = 0.0
        self._segment = -1
        self._t_us = 0
        self._rail: GaugeState = "ok"
        self._rail_samples = 0
        self._rail_since = Position(0, 0, 0)
        self._is_pressed = False
        self._pressed_since_us = 0
        self._is_silent = False
        self._onsets: list[Onset] = []
        self.period_us = period_us

    def set_gauge(self, gauge: PressureGauge | None) -> None:
        """What the board's ADC is from the next sample on; None: no gauge, nothing to look at."""
        self._gauge = gauge
        if gauge is not None:
            self._low, self._high = gauge.low_code, gauge.high_code
            self._pressed = gauge.code_at(self._pressed_pa)

    def look(self, table: NDArray[np.int64]) -> tuple[list[Onset], NDArray[np.int64] | None]:
        """Take unwrapped samples in, shape (n, len(COLUMNS)).

        Returns the onsets in order, and for each sample what is in doubt, shape (n,), as an or of
        `DOUBTFUL_GAUGE` and `DOUBTFUL_METER`; None if nothing is.
        """
        if self._gauge is None or not len(table):
            return [], None
        begin, end = 0, len(table)
        if end >= _WORTH_A_BLOCK:
            odd, pressed = self._odd(table)
            if not odd.any():
                self._pass_over(table, pressed)
                return [], None
            places = np.flatnonzero(odd)
            begin, end = int(places[0]), int(places[-1]) + 1
            self._pass_over(table[:begin], pressed[:begin])
        doubt = np.zeros(len(table), dtype=np.int64)
        doubt[begin:end] = [self._step(row) for row in table[begin:end].tolist()]
        if end < len(table):
            self._pass_over(table[end:], pressed[end:])
        onsets, self._onsets = self._onsets, []
        return onsets, doubt if doubt.any() else None

    def _odd(self, table: NDArray[np.int64]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Samples that need a closer look, and those with the boom open and under pressure."""
        columns = table.T
        total, count, valve = columns[_SUM], columns[_N], columns[_VALVE]
        beyond = (total < self._low * count) | (total > self._high * count)
        shut = valve != 1 if not self._at_boom else valve == 0
        pressed = (total > self._pressed * count) & ~beyond & ~shut
        quiet = columns[_T] - columns[_EDGE] > self._doubt_us
        return beyond | (pressed & quiet), pressed

    def _pass_over(self, table: NDArray[np.int64], pressed: NDArray[np.bool_]) -> None:
        """As `_step` on samples that are not odd."""
        if not len(table):
            return
        columns = table.T
        t_us, segment = columns[_T], columns[_SEGMENT]
        begins = np.empty(len(table), dtype=bool)
        begins[0] = not self._is_pressed or self._apart(int(segment[0]), int(t_us[0]))
        begins[1:] = ~pressed[:-1]
        begins[1:] |= (np.diff(t_us) > _APART_US) | (np.diff(segment) != 0)
        begins &= pressed
        places = np.flatnonzero(begins)
        if len(places):
            self._pressed_since_us = int(t_us[places[-1]])
        self._is_pressed = bool(pressed[-1])
        self._segment, self._t_us = int(segment[-1]), int(t_us[-1])
        self._rail = "ok"
        self._is_silent = False

    def _apart(self, segment: int, t_us: int) -> bool:
        return segment != self._segment or t_us - self._t_us > _APART_US

    def _step(self, row: Sequence[int]) -> int:
        """Take one sample in; return what of it is in doubt."""
        segment, t_us, total, count = row[_SEGMENT], row[_T], row[_SUM], row[_N]
        apart = self._apart(segment, t_us)
        self._segment, self._t_us = segment, t_us
        state: GaugeState = "ok"
        if total < self._low * count:
            state = "open"
        elif total > self._high * count:
            state = "short"
        if state != "ok" or self._rail != "ok":
            self._step_rail(row, state, apart=apart)
        shut = row[_VALVE] != 1 if not self._at_boom else row[_VALVE] == 0
        was_pressed = self._is_pressed and not apart
        self._is_pressed = state == "ok" and total > self._pressed * count and not shut
        silent_us = 0
        if self._is_pressed:
            if not was_pressed:
                self._pressed_since_us = t_us
            silent_us = t_us - max(row[_EDGE], self._pressed_since_us)
        self._step_silent(row, silent_us)
        in_doubt = silent_us > self._doubt_us
        return (DOUBTFUL_GAUGE if state != "ok" else 0) | (DOUBTFUL_METER if in_doubt else 0)

    def _step_rail(self, row: Sequence[int], state: GaugeState, *, apart: bool) -> None:
        at = Position(row[_SEGMENT], row[_SEQ], row[_T])
        if state != self._rail or apart:
            self._rail, self._rail_samples, self._rail_since = state, 0, at
        if state == "short" and self._held_against(row):
            self._rail_samples = 0
            return
        before = self._rail_samples
        held = at.t_us - self._rail_since.t_us >= _RAIL_US
        # The count stops short of the last sample until they have also lasted.
        self._rail_samples = min(before + 1, _RAIL_SAMPLES if held else _RAIL_SAMPLES - 1)
        if state != "ok" and before < self._rail_samples == _RAIL_SAMPLES:
            code: OnsetCode = "gauge_open" if state == "open" else "gauge_short"
            self._add(code, row, self._rail_since)

    def _held_against(self, row: Sequence[int]) -> bool:
        """Whether the pump may be pumping against a shut valve behind the gauge.

        That takes the pressure beyond the span of a whole gauge; at an open boom nothing does.
        Without the valve's input, pulses that go on tell that the boom is open.
        """
        if self._at_boom or row[_VALVE] == 1:
            return False
        return row[_VALVE] == 0 or row[_EDGE] < self._rail_since.t_us + _COASTING_US

    def _step_silent(self, row: Sequence[int], silent_us: int) -> None:
        was_silent, self._is_silent = self._is_silent, silent_us > self._silent_us
        if self._is_silent and not was_silent:
            seq = max(0, row[_SEQ] - silent_us // self.period_us)
            self._add("meter_silent", row, Position(row[_SEGMENT], seq, row[_T] - silent_us))

    def _add(self, code: OnsetCode, row: Sequence[int], since: Position) -> None:
        assert self._gauge is not None
        pressure = self._gauge.read(*row[_SUM : _SUM + 4])
        at = Position(row[_SEGMENT], row[_SEQ], row[_T])
        self._onsets.append(Onset(code, at, since, pressure.mean_pa))

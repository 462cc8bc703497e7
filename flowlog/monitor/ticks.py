"""Samples gathered into ticks of half a second, in integers only.

The rules downstream run once a tick in plain Python floats; the gathering before them is
vectorised. Sums, minima and counts of integers are exact, so a recording gives the same ticks
however it is cut into blocks: this is what makes a replay equal to the live run.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from flowlog.wire.unwrap import UNWRAPPED_FIELDS as COLUMNS

TICK_MS: Final = 500
"""Length of a tick. Long enough for several pulses of a slow meter (seven at 14 Hz, the rate of
one small tip), short enough that a few of them fit into the five seconds that an operator may
spray past a clogged tip."""

TICKS_PER_READING: Final = 2


class Tick(NamedTuple):
    """Half a second of samples. Counters are those of its last sample, unwrapped."""

    segment: int
    number: int
    """Sample number divided by the samples in a tick."""
    samples: int
    seq: int
    t_us: int
    pulses: int
    edge_us: int
    wheel: int
    adc_sum: int
    adc_n: int
    adc_min: int
    adc_max: int
    valve_known: int
    """Samples that carried the boom-valve input."""
    valve_open: int
    """Samples in which it was open."""


_SEGMENT = COLUMNS.index("segment")
_SEQ = COLUMNS.index("seq")
_LAST = [COLUMNS.index(name) for name in ("seq", "t_us", "pulses", "edge_us", "wheel")]
_ADC_SUM = COLUMNS.index("adc_sum")
_ADC_N = COLUMNS.index("adc_n")
_ADC_MIN = COLUMNS.index("adc_min")
_ADC_MAX = COLUMNS.index("adc_max")
_VALVE = COLUMNS.index("valve")


class TickGatherer:
    """Gathers unwrapped samples into ticks; keeps the unfinished one between calls."""

    def __init__(self, period_us: int) -> None:
        self._open: NDArray[np.int64] = np.empty((0, len(COLUMNS)), dtype=np.int64)
        self._per_tick = 1
        self.set_period(period_us)

    def set_period(self, period_us: int) -> None:
        """Set the time between samples. The unfinished tick must have been taken first."""
        self._per_tick = max(1, round(TICK_MS * 1000 / period_us))

    def feed(self, table: NDArray[np.int64]) -> list[Tick]:
        """Add unwrapped samples, shape (n, len(COLUMNS)); return the ticks that are complete.

        A tick is complete when its last sample number has arrived or a later tick has begun.
        """
        rows = np.concatenate([self._open, table]) if len(self._open) else table
        if not len(rows):
            return []
        number = rows[:, _SEQ] // self._per_tick
        new = (np.diff(number) != 0) | (np.diff(rows[:, _SEGMENT]) != 0)
        starts = np.concatenate([[0], np.flatnonzero(new) + 1])
        last_is_complete = int(rows[-1, _SEQ]) % self._per_tick == self._per_tick - 1
        if last_is_complete:
            self._open = rows[:0]
        else:
            self._open = rows[starts[-1] :].copy()
            rows = rows[: starts[-1]]
            starts = starts[:-1]
        return self._fold(rows, starts) if len(starts) else []

    def take_unfinished(self) -> list[Tick]:
        """Close the tick that is still open, at the end of a recording."""
        rows, self._open = self._open, self._open[:0]
        return self._fold(rows, np.array([0])) if len(rows) else []

    def _fold(self, rows: NDArray[np.int64], starts: NDArray[np.int64]) -> list[Tick]:
        ends = np.append(starts[1:], len(rows)) - 1
        valve = rows[:, _VALVE]
        columns = [
            rows[ends, _SEGMENT],
            rows[ends, _SEQ] // self._per_tick,
            ends - starts + 1,
            *(rows[ends, column] for column in _LAST),
            np.add.reduceat(rows[:, _ADC_SUM], starts),
            np.add.reduceat(rows[:, _ADC_N], starts),
            np.minimum.reduceat(rows[:, _ADC_MIN], starts),
            np.maximum.reduceat(rows[:, _ADC_MAX], starts),
            np.add.reduceat((valve >= 0).astype(np.int64), starts),
            np.add.reduceat((valve == 1).astype(np.int64), starts),
        ]
        return [Tick(*row) for row in zip(*(c.tolist() for c in columns), strict=True)]

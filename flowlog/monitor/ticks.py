"""Samples gathered into ticks of half a second, in integers only.

The rules downstream run once a tick in plain Python floats; the gathering before them is
vectorised. Sums, minima and counts of integers are exact, so a recording gives the same ticks
however it is cut into blocks: this is what makes a replay equal to the live run.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial
from typing import Any, Final, NamedTuple, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from flowlog.wire.unwrap import UNWRAPPED_FIELDS as COLUMNS

TICK_MS: Final = 500
"""Length of a tick. Long enough for several pulses of a slow meter (seven at 14 Hz, the rate of
one small tip), short enough that a few of them fit into the five seconds that an operator may
spray past a clogged tip."""

TICKS_PER_READING: Final = 2


DOUBTFUL_GAUGE: Final = 1
DOUBTFUL_METER: Final = 2


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
    doubt: int = 0
    """Which sensors some of its samples put in doubt: an or of `DOUBTFUL_GAUGE` and the other."""


TickTable: TypeAlias = NDArray[np.int64]
"""Ticks as columns: shape (fields of `Tick`, n)."""

_SEGMENT = COLUMNS.index("segment")
_SEQ = COLUMNS.index("seq")
_LAST = [COLUMNS.index(name) for name in ("seq", "t_us", "pulses", "edge_us", "wheel")]
_ADC_SUM = COLUMNS.index("adc_sum")
_ADC_N = COLUMNS.index("adc_n")
_ADC_MIN = COLUMNS.index("adc_min")
_ADC_MAX = COLUMNS.index("adc_max")
_VALVE = COLUMNS.index("valve")

NO_TICKS: Final[TickTable] = np.empty((len(Tick._fields), 0), dtype=np.int64)


def ticks_of(table: TickTable) -> list[Tick]:
    """The columns of a table as ticks."""
    return list(rows_of(Tick, table.tolist()))


_Row = TypeVar("_Row", bound=tuple[Any, ...])


def rows_of(kind: type[_Row], columns: Iterable[Iterable[Any]]) -> Iterator[_Row]:
    """Rows of a named tuple from its columns, all of one length, one after the other.

    What `_make` does, but without a Python call for each row: half of the time that rows take.
    """
    return map(partial(tuple.__new__, kind), zip(*columns, strict=True))


class TickGatherer:
    """Gathers unwrapped samples into ticks; keeps the unfinished one between calls."""

    def __init__(self, period_us: int) -> None:
        self._open: list[NDArray[np.int64]] = []
        self._open_key = (0, 0)
        """Segment and number of the tick that is open."""
        self._open_doubt = 0
        self._per_tick = 1
        self.set_period(period_us)

    def set_period(self, period_us: int) -> None:
        """Set the time between samples. The unfinished tick must have been taken first."""
        self._per_tick = max(1, round(TICK_MS * 1000 / period_us))

    def feed(self, table: NDArray[np.int64]) -> list[Tick]:
        """As `gather`, as ticks."""
        return ticks_of(self.gather(table))

    def gather(self, table: NDArray[np.int64], doubt: NDArray[np.int64] | None = None) -> TickTable:
        """Add unwrapped samples, shape (n, len(COLUMNS)); return the ticks that are complete.

        A tick is complete when its last sample number has arrived or a later tick has begun.

        Args:
            doubt: of each sample, shape (n,); None if there is none.
        """
        if not len(table):
            return NO_TICKS
        last_segment, last_seq = int(table[-1, _SEGMENT]), int(table[-1, _SEQ])
        key = (last_segment, last_seq // self._per_tick)
        complete = last_seq % self._per_tick == self._per_tick - 1
        if self._open and not complete and key == self._open_key:
            # Live, a tick comes sample by sample: nothing to work out yet.
            self._open.append(table.copy())
            self._open_doubt |= _all_of(doubt)
            return NO_TICKS
        rows = np.concatenate([*self._open, table]) if self._open else table
        number = rows[:, _SEQ] // self._per_tick
        new = (np.diff(number) != 0) | (np.diff(rows[:, _SEGMENT]) != 0)
        starts = np.concatenate([[0], np.flatnonzero(new) + 1])
        doubts = self._doubts(len(rows), doubt)
        self._open, self._open_key, self._open_doubt = [], key, 0
        if not complete:
            last = int(starts[-1])
            self._open.append(rows[last:].copy())
            if doubts is not None:
                self._open_doubt, doubts = _all_of(doubts[last:]), doubts[:last]
            rows, starts = rows[:last], starts[:-1]
        return self._fold(rows, starts, doubts) if len(starts) else NO_TICKS

    def _doubts(self, n: int, doubt: NDArray[np.int64] | None) -> NDArray[np.int64] | None:
        """Of all n rows; `doubt` is of the newest. The first speaks for those that were open."""
        if doubt is None and self._open_doubt == 0:
            return None
        doubts = np.zeros(n, dtype=np.int64)
        if doubt is not None:
            doubts[n - len(doubt) :] = doubt
        doubts[0] |= self._open_doubt
        return doubts

    def take_unfinished(self) -> list[Tick]:
        """As `take_rest`, as ticks."""
        return ticks_of(self.take_rest())

    def take_rest(self) -> TickTable:
        """Close the tick that is still open, at the end of a recording."""
        open_rows, self._open = self._open, []
        if not open_rows:
            return NO_TICKS
        rows = np.concatenate(open_rows)
        doubts, self._open_doubt = self._doubts(len(rows), None), 0
        return self._fold(rows, np.array([0]), doubts)

    def _fold(
        self, rows: NDArray[np.int64], starts: NDArray[np.int64], doubt: NDArray[np.int64] | None
    ) -> TickTable:
        ends = np.append(starts[1:], len(rows)) - 1
        valve = rows[:, _VALVE]
        out = np.empty((len(Tick._fields), len(starts)), dtype=np.int64)
        columns = rows.T
        out[0] = columns[_SEGMENT, ends]
        out[1] = columns[_SEQ, ends] // self._per_tick
        out[2] = ends - starts + 1
        out[3:8] = columns[_LAST][:, ends]
        np.add.reduceat(columns[_ADC_SUM], starts, out=out[8])
        np.add.reduceat(columns[_ADC_N], starts, out=out[9])
        np.minimum.reduceat(columns[_ADC_MIN], starts, out=out[10])
        np.maximum.reduceat(columns[_ADC_MAX], starts, out=out[11])
        np.add.reduceat(valve >= 0, starts, out=out[12], dtype=np.int64)
        np.add.reduceat(valve == 1, starts, out=out[13], dtype=np.int64)
        out[14] = 0 if doubt is None else np.bitwise_or.reduceat(doubt, starts)
        return out


def _all_of(doubt: NDArray[np.int64] | None) -> int:
    return 0 if doubt is None else int(np.bitwise_or.reduce(doubt))

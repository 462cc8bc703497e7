"""Raw samples to samples on one growing scale: clocks and counters unwrapped, resets found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from flowlog.wire.inline import Limits
from flowlog.wire.samples import Samples
from flowlog.wire.segment import Links, Segment

UNWRAPPED_FIELDS: Final = (
    "segment",
    "seq",
    "t_us",
    "pulses",
    "edge_us",
    "adc_sum",
    "adc_n",
    "adc_min",
    "adc_max",
    "valve",
    "wheel",
    "wheel_edge_us",
)
"""Column order of an unwrapped table."""

_WORTH_A_BLOCK: Final = 24  # rows; below this numpy's start-up costs more than it saves
_BLOCK: Final = 8192  # rows that stay in the processor's cache

BreakKind = Literal["reset", "jump"]


@dataclass(frozen=True, slots=True)
class Break:
    """Where a new segment begins: the board started again, or its samples do not join up."""

    kind: BreakKind
    """`reset`: another boot, or the sample number went back. `jump`: anything else."""
    segment: int
    """The segment that begins."""
    row: int
    """Its first sample, counted over all rows that the unwrapper has released, from 0."""
    boot: int
    seq: int
    """Of its first sample. After a reset so many samples were lost before it."""
    last_boot: int
    last_seq: int
    """Of the last sample before."""


@dataclass(slots=True)
class Unwrapped:
    """What one call of `Unwrapper.feed` released.

    Attributes:
        table: int64 array of shape (n, 12), columns as in `UNWRAPPED_FIELDS`. Within a segment
            seq and t_us grow strictly, pulses and wheel never fall; t_us and the counts begin at
            the raw values of the segment's first sample. edge_us is on the scale of t_us, -1
            until a first pulse is known, carried while pulses stands still, and grows strictly
            when pulses grows. -1 stands for an optional field that was not sent. Samples lost
            before a row: its seq minus the seq of the row before it in the segment, minus one.
        breaks: Where new segments begin; the first segment of a stream has none.
        rejected: Samples that fitted neither what came before nor what came after.
        duplicates: Samples equal to the one before.
    """

    table: NDArray[np.int64]
    breaks: list[Break] = field(default_factory=list)
    rejected: int = 0
    duplicates: int = 0

    def __len__(self) -> int:
        return len(self.table)

    def column(self, name: str) -> NDArray[np.int64]:
        """One column, as a view of shape (n,)."""
        view: NDArray[np.int64] = self.table[:, UNWRAPPED_FIELDS.index(name)]
        return view


class Unwrapper:
    """Takes raw samples in blocks of any size; the blocks make no difference to what comes out.

    A sample that cannot follow the last one (other boot, number not higher, clock against
    number, counts faster than possible, an edge outside its time) is held. If the next one
    follows the last good one, the held one was damaged and is rejected. If the next one follows
    the held one, a new segment begins there. If it follows neither, it is held in its place.

    Args:
        period_us: Time between two samples, as the board's hello says.
        highest_pulse_hz: Above this no meter pulse is believed. Take it well above the meter's
            range (ten times, say): it is there to tell a damaged count, not a bad meter.
        highest_wheel_hz: The same for the wheel.
    """

    def __init__(
        self, period_us: int, highest_pulse_hz: float, highest_wheel_hz: float = 5_000.0
    ) -> None:
        self._limits = Limits.of(period_us, highest_pulse_hz, highest_wheel_hz)
        self._running: Segment | None = None
        self._number = 0
        self._held: Segment | None = None
        self._rows: list[tuple[int, ...]] = []
        self._chunks: list[NDArray[np.int64]] = []
        self._breaks: list[Break] = []
        self._released_now = 0
        self.released = 0
        """Rows that went out so far."""
        self.rejected = 0
        self.duplicates = 0

    @property
    def period_us(self) -> int:
        return self._limits.period_us

    @period_us.setter
    def period_us(self, period_us: int) -> None:
        """A hello may say that the board samples at another period from here on."""
        limits = self._limits
        self._limits = Limits.of(period_us, limits.highest_pulse_hz, limits.highest_wheel_hz)

    def feed(self, samples: Samples) -> Unwrapped:
        """Unwrap the samples that can be judged by now; at most one is held back."""
        rejected, duplicates = self.rejected, self.duplicates
        for begin in range(0, len(samples), _BLOCK):
            self._feed_block(samples.table[begin : begin + _BLOCK])
        self._flush_rows()
        table = _joined(self._chunks).T
        result = Unwrapped(
            table, self._breaks, self.rejected - rejected, self.duplicates - duplicates
        )
        self._chunks, self._breaks = [], []
        self.released += len(table)
        self._released_now = 0
        return result

    def finish(self) -> None:
        """The stream ends: a held sample has no next one to speak for it and is rejected."""
        self.rejected += self._held is not None
        self._held = None

    def _feed_block(self, table: NDArray[np.int64]) -> None:
        if len(table) < _WORTH_A_BLOCK:
            for row in table.tolist():
                self._step(row)
            return
        links = Links(np.ascontiguousarray(table.T), self._limits)
        i = 0
        joined = False  # the running segment stands at row i - 1 and nothing is held
        for stop in links.stops:
            # A stop's own row, and any after it until the stream has settled, go one by one.
            while i < stop and not joined:
                joined = self._step(table[i].tolist())
                i += 1
            if i < stop and self._running is not None:
                self._flush_rows()
                self._add(links.take(self._running, self._number, i, stop))
                i = stop
            joined = False

    def _step(self, row: Sequence[int]) -> bool:
        """Judge one row. True if the running segment now stands at it and nothing is held."""
        running, held = self._running, self._held
        if running is None:
            self._running = Segment(row, self._limits)
            self._emit(self._running)
        elif row == running.row:
            self.duplicates += 1
            return held is None
        elif held is not None and row == held.row:
            self.duplicates += 1
            return False
        elif running.take(row, self._limits):
            self.rejected += held is not None
            self._held = None
            self._emit(running)
        elif held is not None:
            first = held.out_row(self._number + 1)
            if not held.take(row, self._limits):
                self.rejected += 1
                self._held = Segment(row, self._limits)
                return False
            self._begin(running, held, first)
        else:
            self._held = Segment(row, self._limits)
            return False
        return True

    def _begin(self, old: Segment, new: Segment, first: tuple[int, ...]) -> None:
        self._number += 1
        boot, seq = new.row[0], first[1]
        last_boot, last_seq = old.row[0], old.row[1]
        self._breaks.append(
            Break(
                kind="reset" if boot != last_boot or seq <= last_seq else "jump",
                segment=self._number,
                row=self.released + self._released_now,
                boot=boot,
                seq=seq,
                last_boot=last_boot,
                last_seq=last_seq,
            )
        )
        self._running, self._held = new, None
        self._rows.append(first)
        self._released_now += 1
        self._emit(new)

    def _emit(self, segment: Segment) -> None:
        self._rows.append(segment.out_row(self._number))
        self._released_now += 1

    def _add(self, chunk: NDArray[np.int64]) -> None:
        self._chunks.append(chunk)
        self._released_now += chunk.shape[1]

    def _flush_rows(self) -> None:
        if self._rows:
            self._chunks.append(np.array(self._rows, dtype=np.int64).T)
            self._rows = []


def _joined(chunks: list[NDArray[np.int64]]) -> NDArray[np.int64]:
    """Columns of chunks behind one another, shape (12, n)."""
    if len(chunks) == 1:
        return chunks[0]
    return np.concatenate(chunks or [_EMPTY], axis=1)


_EMPTY: Final = np.empty((len(UNWRAPPED_FIELDS), 0), dtype=np.int64)

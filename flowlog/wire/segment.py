"""One unbroken run of a board: the last sample taken, and the unwrapped counters there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.wire.inline import (
    MASK,
    Limits,
    age_us,
    clock_error_us,
    clock_slack_us,
    expected_us,
    highest_count,
)
from flowlog.wire.samples import ABSENT

NO_EDGE: Final = -1
"""Stands for the time of an edge until one has been seen."""


class Segment:
    """Begins at a raw row and takes the rows that follow it.

    `row` is the raw row taken last. `t_us`, `pulses` and `wheel` grow from the raw values of the
    first row. `edge_us` is on the scale of `t_us`, -1 until the first pulse, and strictly grows
    whenever the count does.
    """

    __slots__ = (
        "edge_us",
        "pulses",
        "row",
        "t_us",
        "wheel",
        "wheel_edge_us",
        "wheel_raw",
        "wheel_t_us",
    )

    def __init__(self, row: Sequence[int], limits: Limits) -> None:
        self.row = row
        self.t_us = row[2]
        self.pulses = row[3]
        self.edge_us = _first_edge(row[2], row[3], row[4], limits)
        self.wheel = self.wheel_raw = self.wheel_edge_us = ABSENT
        self.wheel_t_us = 0
        if row[10] != ABSENT:
            self._first_wheel(row, limits)

    def _first_wheel(self, row: Sequence[int], limits: Limits) -> None:
        self.wheel = self.wheel_raw = row[10]
        self.wheel_t_us = self.t_us
        edge = _first_edge(row[2], row[10], row[11], limits)
        # On the scale of t_us, which is ahead of the raw clock by whole turns.
        self.wheel_edge_us = edge if edge == NO_EDGE else edge + self.t_us - row[2]

    def out_row(self, number: int) -> tuple[int, ...]:
        """The last row, unwrapped, as it goes out in segment `number`."""
        row = self.row
        fitted = row[10] != ABSENT
        return (
            number,
            row[1],
            self.t_us,
            self.pulses,
            self.edge_us,
            *row[5:10],
            self.wheel if fitted else ABSENT,
            self.wheel_edge_us if fitted else NO_EDGE,
        )

    def take(self, row: Sequence[int], limits: Limits) -> bool:
        """Go on to `row` if it can follow; else leave everything as it was."""
        last = self.row
        periods = row[1] - last[1]
        if row[0] != last[0] or periods <= 0:
            return False
        expected = expected_us(periods, limits)
        error = clock_error_us((row[2] - last[2]) & MASK, expected)
        elapsed = expected + error
        if elapsed <= 0 or abs(error) > clock_slack_us(expected, limits):
            return False
        pulses = (row[3] - last[3]) & MASK
        age = age_us(row[2], row[4], limits)
        slack = limits.edge_slack_us
        if pulses and (
            pulses > highest_count(elapsed, limits.highest_pulse_hz) or age > elapsed + slack
        ):
            return False
        t_us = self.t_us + elapsed
        wheel = wheel_age = 0
        if row[10] != ABSENT and self.wheel_raw != ABSENT:
            since = t_us - self.wheel_t_us
            wheel = (row[10] - self.wheel_raw) & MASK
            wheel_age = age_us(row[2], row[11], limits)
            if wheel and (
                wheel > highest_count(since, limits.highest_wheel_hz) or wheel_age > since + slack
            ):
                return False
        self.row = row
        self.t_us = t_us
        if pulses:
            self.pulses += pulses
            self.edge_us = max(t_us - age, self.edge_us + 1)
        if row[10] != ABSENT:
            if self.wheel_raw == ABSENT:
                self._first_wheel(row, limits)
            else:
                self.wheel_raw = row[10]
                self.wheel_t_us = t_us
                if wheel:
                    self.wheel += wheel
                    self.wheel_edge_us = max(t_us - wheel_age, self.wheel_edge_us + 1)
        return True


def _first_edge(clock: int, count: int, edge: int, limits: Limits) -> int:
    """Time of a first known edge; -1 if there was none yet or if it is before the clock's start."""
    return max(clock - age_us(clock, edge, limits), NO_EDGE) if count else NO_EDGE


class Links:
    """For each row of a block, its step from the row before: `take` for a whole block at once.

    Attributes:
        columns: int64 array of shape (12, n).
        stops: rows that cannot simply follow the one before them, ascending; n at the end.
    """

    def __init__(self, columns: NDArray[np.int64], limits: Limits) -> None:
        self.columns = columns
        self._limits = limits
        step = np.diff(columns[:5])
        boot, periods, clock, pulses, _ = step
        expected = expected_us(periods, limits)
        error = clock_error_us(clock & MASK, expected)
        self._elapsed = elapsed = expected + error
        self._pulses = pulses & MASK
        self._age = age_us(columns[2, 1:], columns[4, 1:], limits)
        good = (
            (boot == 0)
            & (periods > 0)
            & (elapsed > 0)
            & (np.abs(error) <= clock_slack_us(expected, limits))
            & self._believable(self._pulses, self._age, limits.highest_pulse_hz)
        )
        fitted = columns[10] != ABSENT
        self._wheel = self._wheel_age = None
        if fitted.any():
            # Where the wheel comes or goes between two rows, the careful path decides.
            good &= fitted[1:] == fitted[:-1]
            self._wheel = (np.diff(columns[10]) & MASK) * fitted[1:]
            self._wheel_age = age_us(columns[2, 1:], columns[11, 1:], limits)
            good &= self._believable(self._wheel, self._wheel_age, limits.highest_wheel_hz)
        self.stops = [*(np.flatnonzero(~good) + 1).tolist(), columns.shape[1]]

    def _believable(
        self, count: NDArray[np.int64], age: NDArray[np.int64], highest_hz: int
    ) -> NDArray[np.bool_]:
        possible = count <= highest_count(self._elapsed, highest_hz)
        in_time = age <= self._elapsed + self._limits.edge_slack_us
        result: NDArray[np.bool_] = (count == 0) | (possible & in_time)
        return result

    def take(self, segment: Segment, number: int, begin: int, end: int) -> NDArray[np.int64]:
        """Take rows `begin` to `end`, which all follow; `segment` stands at row `begin - 1`.

        Returns the rows as they go out, shape (12, end - begin).
        """
        part = slice(begin - 1, end - 1)
        columns = self.columns[:, begin:end]
        out = np.empty_like(columns)
        out[0] = number
        out[1] = columns[1]
        np.cumsum(self._elapsed[part], out=out[2])
        out[2] += segment.t_us
        out[5:10] = columns[5:10]
        _count(
            out[2], self._pulses[part], self._age[part], segment.pulses, segment.edge_us, out[3:5]
        )
        # All rows of such a stretch have a wheel, or none has.
        if self._wheel is not None and self._wheel_age is not None and columns[10, 0] != ABSENT:
            wheel, age = self._wheel[part], self._wheel_age[part]
            _count(out[2], wheel, age, segment.wheel, segment.wheel_edge_us, out[10:12])
            segment.wheel, segment.wheel_edge_us = int(out[10, -1]), int(out[11, -1])
            segment.wheel_raw, segment.wheel_t_us = int(columns[10, -1]), int(out[2, -1])
        else:
            out[10:] = ABSENT
        segment.row = columns[:, -1].tolist()
        segment.t_us, segment.pulses, segment.edge_us = (int(x) for x in out[2:5, -1])
        return out


def _count(
    t_us: NDArray[np.int64],
    step: NDArray[np.int64],
    age: NDArray[np.int64],
    count: int,
    edge_us: int,
    out: NDArray[np.int64],
) -> None:
    """Fill count and edge time of a stretch, from the count and edge before it.

    An edge is carried while its count stands still and is made to grow by at least 1 us with
    each growing count: with k the number of such rows so far, edge - k is a running maximum.
    """
    np.cumsum(step, out=out[0])
    out[0] += count
    moved = step != 0
    rank = np.cumsum(moved)
    edge = np.where(moved, t_us - age - rank, edge_us)
    np.maximum(edge, edge_us, out=edge)
    np.maximum.accumulate(edge, out=edge)
    np.add(edge, rank, out=out[1])

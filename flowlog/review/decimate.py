"""Many readings drawn in few columns, without hiding the shortest excursion.

A chart has some hundred columns of pixels and a day has 36,000 readings. Each column shows the
smallest, the largest and the mean of what lies in it, so a dip of one second is seen at any zoom.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Trace:
    """A quantity along time; arrays of equal length, NaN where nothing was measured."""

    at_s: Numbers
    """The middle of what each point stands for, ascending."""
    low: Numbers
    mean: Numbers
    high: Numbers

    def __len__(self) -> int:
        return len(self.at_s)


def decimate(
    at_s: Numbers,
    seconds: Numbers,
    low: Numbers,
    mean: Numbers,
    high: Numbers,
    begin_s: float,
    end_s: float,
    columns: int,
) -> Trace:
    """What lies between `begin_s` and `end_s`, in at most `columns` points.

    Args:
        at_s: the middle of each reading, ascending, shape (n,).
        seconds: how long each lasts: its weight in a mean.
        low, mean, high: its values; NaN where nothing was measured.

    A reading belongs to the column that its middle lies in, and to no other. If there are no more
    readings than columns, each is a point of its own. In a column, readings without a value count
    nothing; a column without any value is NaN, and one without any reading is left out.
    """
    first = int(np.searchsorted(at_s, begin_s, side="left"))
    last = int(np.searchsorted(at_s, end_s, side="right"))
    part = slice(first, last)
    at, weight = at_s[part], seconds[part]
    trace = Trace(at, low[part], mean[part], high[part])
    if len(at) <= columns:
        return trace
    place = ((at - begin_s) * (columns / (end_s - begin_s))).astype(np.int64)
    place = np.minimum(place, columns - 1)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(place)) + 1])
    measured = np.isfinite(trace.mean)
    used = np.where(measured, weight, 0.0)
    total = np.add.reduceat(used, starts)
    summed = np.add.reduceat(used * np.where(measured, trace.mean, 0.0), starts)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_of = summed / total
    width = (end_s - begin_s) / columns
    return Trace(
        at_s=begin_s + (place[starts] + 0.5) * width,
        low=np.fmin.reduceat(trace.low, starts),
        mean=mean_of,
        high=np.fmax.reduceat(trace.high, starts),
    )

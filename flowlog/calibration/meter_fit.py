"""Which law a meter's runs follow: one factor, a factor with an offset, or a curve."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from flowlog.calibration.faults import CalibrationError
from flowlog.calibration.student import f_tail

Model = Literal["constant", "offset", "curve"]

_SAME_FLOW: Final = 1.10
_MOST_FLOWS: Final = 5
_SIGNIFICANT: Final = 0.01
_WORTH_IT: Final = 0.005
"""A linearity below half a percent is not worth a curve."""


@dataclass(frozen=True, slots=True)
class Point:
    """The runs at one flow."""

    flow_m3_s: float
    pulses_per_m3: float
    """Mean of the runs."""
    factors: tuple[float, ...]
    """K of each run."""
    run_numbers: tuple[int, ...]
    """Which runs, from 1."""

    @property
    def count(self) -> int:
        return len(self.factors)

    @property
    def repeatability(self) -> float:
        """(largest - smallest) / smallest; 0 for one run."""
        return max(self.factors) / min(self.factors) - 1.0


@dataclass(frozen=True, slots=True)
class Line:
    """f = slope * Q - offset."""

    slope: float
    """Pulses per m3."""
    offset: float
    """Hz."""
    offset_u: float


def points_of(
    flows: Sequence[float], factors: Sequence[float], numbers: Sequence[int | None]
) -> tuple[Point, ...]:
    """Runs gathered by flow, ascending. CalibrationError for more than five flows."""
    groups: dict[int, list[int]] = {}
    if all(number is not None for number in numbers):
        for index, number in enumerate(numbers):
            groups.setdefault(int(number or 0), []).append(index)
    else:
        key, start = -1, 0.0
        for index in np.argsort(flows, kind="stable").tolist():
            if key < 0 or flows[index] > start * _SAME_FLOW:
                key, start = key + 1, flows[index]
            groups.setdefault(key, []).append(index)
    if len(groups) > _MOST_FLOWS:
        raise CalibrationError(
            f"meter: runs at {len(groups)} different flows (one to {_MOST_FLOWS}; "
            "hold the pressure during the runs of one flow)"
        )
    points = []
    for members in groups.values():
        own = tuple(factors[index] for index in members)
        points.append(
            Point(
                math.fsum(flows[index] for index in members) / len(members),
                math.fsum(own) / len(own),
                own,
                tuple(index + 1 for index in members),
            )
        )
    return tuple(sorted(points, key=lambda point: point.flow_m3_s))


def choose(points: Sequence[Point], s: float, dof: float) -> Model:
    """The simplest law that the flows' means do not contradict.

    Args:
        points: ascending.
        s: standard deviation of one run within a flow, pulses per m3.
        dof: its degrees of freedom.
    """
    if len(points) < 2:
        return "constant"
    weights = np.array([point.count for point in points], dtype=np.float64)
    means = np.array([point.pulses_per_m3 for point in points])
    centre = float(np.average(means, weights=weights))
    if np.max(np.abs(means / means.mean() - 1.0)) <= _WORTH_IT:
        return "constant"
    if _fits(means - centre, weights, len(points) - 1, s, dof):
        return "constant"
    if len(points) < 3:
        return "curve"
    slope, offset = _weighted_line(points)
    rest = means - (slope - offset / np.array([point.flow_m3_s for point in points]))
    return "offset" if _fits(rest, weights, len(points) - 2, s, dof) else "curve"


def _fits(
    rest: np.ndarray[tuple[int], np.dtype[np.float64]],
    weights: np.ndarray[tuple[int], np.dtype[np.float64]],
    free: int,
    s: float,
    dof: float,
) -> bool:
    f = float(np.sum(weights * rest**2)) / free / s**2
    return f_tail(f, float(free), min(dof, 1e6)) >= _SIGNIFICANT


def _weighted_line(points: Sequence[Point]) -> tuple[float, float]:
    flows = [point.flow_m3_s for point in points for _ in point.factors]
    factors = [factor for point in points for factor in point.factors]
    fit = line(flows, factors, 0.0)
    return fit.slope, fit.offset


def line(flows: Sequence[float], factors: Sequence[float], s: float) -> Line:
    """Least squares of K over 1/Q: K = slope - offset / Q.

    Runs have much the same relative error at all flows, so this weighs them alike; frequency
    over flow would let the largest flow decide.
    """
    x = 1.0 / np.asarray(flows, dtype=np.float64)
    y = np.asarray(factors, dtype=np.float64)
    around = x - x.mean()
    spread = float(np.sum(around**2))
    tilt = float(np.sum(around * y)) / spread
    return Line(float(y.mean() - tilt * x.mean()), -tilt, s / math.sqrt(spread))


def slope_through_origin(flows: Sequence[float], factors: Sequence[float]) -> float:
    """Least squares of frequency over flow through the origin, pulses per m3."""
    q = np.asarray(flows, dtype=np.float64)
    f = q * np.asarray(factors, dtype=np.float64)
    return float(np.sum(f * q) / np.sum(q * q))

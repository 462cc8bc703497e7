"""How sure a meter's factor is: what its runs scatter by, and what jug or balance add to all."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from flowlog.calibration.faults import percent
from flowlog.calibration.meter_fit import Model, Point
from flowlog.calibration.meter_runs import MeterErrors, MeterRun
from flowlog.calibration.uncertainty import Component, counted, power, within

LINEARITY_HALF_WIDTH: Final = 0.02
"""How far K may be off at a flow that no run was made at; common practice, no source."""


def leverage(
    model: Model, points: Sequence[Point], flows: Sequence[float], working: float
) -> float:
    """Root of the variance of K at the working flow, as a multiple of one run's."""
    if model == "constant":
        # K is the mean of the points, which weigh alike whatever their number of runs.
        return math.sqrt(math.fsum(1.0 / len(p.factors) for p in points)) / len(points)
    if model == "offset":
        held = min(max(working, points[0].flow_m3_s), points[-1].flow_m3_s)
        x = 1.0 / np.asarray(flows)
        far = (1.0 / held - x.mean()) ** 2 / float(np.sum((x - x.mean()) ** 2))
        return math.sqrt(1.0 / len(flows) + far)
    left, right, weight = _between(points, working)
    return math.hypot((1.0 - weight) / math.sqrt(left.count), weight / math.sqrt(right.count))


def _between(points: Sequence[Point], flow: float) -> tuple[Point, Point, float]:
    """The points beside a flow and the weight of the second; held at the ends."""
    if flow <= points[0].flow_m3_s:
        return points[0], points[0], 1.0
    for left, right in itertools.pairwise(points):
        if flow <= right.flow_m3_s:
            span = right.flow_m3_s - left.flow_m3_s
            return left, right, (flow - left.flow_m3_s) / span
    return points[-1], points[-1], 1.0


def components(
    runs: Sequence[MeterRun],
    volumes: Sequence[float],
    points: Sequence[Point],
    value: float,
    working: float,
    model: Model,
    spread: float,
    beyond: tuple[float, float],
    reading: float,
    counting: float,
    errors: MeterErrors,
) -> list[Component]:
    """Components of K at the working flow; `reading` and `counting` are shares of one run."""
    count = len(runs)
    mean_volume = math.fsum(volumes) / count
    pulses = math.fsum(run.pulses for run in runs) / count
    s, dof = beyond
    parts = [
        Component(
            f"run to run, {count} runs", value, s, spread * s, dof, kind="pulses_per_volume"
        ),
        Component(
            f"reading, {count} times", mean_volume, reading * mean_volume,
            spread * reading * value, kind="volume",
        ),
        Component("counting whole pulses", pulses, counted(pulses), spread * counting * value),
    ]  # fmt: skip
    weighed = sum(run.mass_kg is not None for run in runs) / count
    for share, half_width, name in (
        (1.0 - weighed, errors.jug_share, "jug's scale (common)"),
        (weighed, errors.scale_share, "balance's scale (common)"),
    ):
        parts.append(
            power(
                name,
                1.0,
                within(half_width) * share,
                value,
                -1.0,
                kind="share",
                common=True,
                bound=True,
            )
        )
    untold = sum(run.mass_kg is not None and run.water_c is None for run in runs) / count
    parts.append(
        power(
            "water temperature not taken",
            1.0,
            within(0.002) * untold,
            value,
            kind="share",
            bound=True,
        )
    )
    if model == "curve":
        left, right, weight = _between(points, working)
        step = abs(right.pulses_per_m3 - left.pulses_per_m3)
        bend = within(step * weight * (1.0 - weight))
        parts.append(
            Component("between two flows", value, bend, bend, kind="pulses_per_volume", bound=True)
        )
    low, high = points[0].flow_m3_s, points[-1].flow_m3_s
    if not 0.8 * low <= working <= 1.25 * high:
        parts.append(
            power(
                f"another flow than calibrated (+-{percent(LINEARITY_HALF_WIDTH, 0)})", 1.0,
                within(LINEARITY_HALF_WIDTH), value, kind="share", bound=True,
            )
        )  # fmt: skip
    return parts

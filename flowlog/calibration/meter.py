"""The meter: pulses against a caught or weighed volume, at one to five flows.

Words: repeatability is (largest - smallest) / smallest K at one flow; linearity is the largest
deviation of a flow's mean K from the mean over the flows, as a share (common practice for turbine
meters; from memory also API MPMS chapter 5.3). Three runs at each flow, a thousand pulses or more
in each and a spread of no more than 1 % are common practice, no source.

A turbine follows f = K * Q - a where bearing drag counts, so its pulses per volume fall at small
flows. Whether one number, that offset or a curve describes the meter is decided by whether the
flows differ by more than their runs do (F test at 1 %).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from flowlog.calibration.faults import CalibrationError, Remark
from flowlog.calibration.meter_budget import components, leverage
from flowlog.calibration.meter_doubts import refuse_run, refuse_runs, remarks_on
from flowlog.calibration.meter_fit import (
    Model,
    Point,
    choose,
    line,
    points_of,
    slope_through_origin,
)
from flowlog.calibration.meter_runs import MeterErrors, MeterRun, reading_share, run_volume_m3
from flowlog.calibration.stored import Stored
from flowlog.calibration.uncertainty import Budget, Prior, budget, counted, scatter_beyond
from flowlog.physics.meter import pulses_per_m3_at_flow
from flowlog.rig.model import Meter

REPEAT_PRIOR: Final = Prior(0.005, 10.0)
"""How K scatters from run to run in this class of meters; common practice, no source."""


@dataclass(frozen=True, slots=True)
class MeterResult(Stored):
    """Pulses per volume, as one number or along the flow."""

    kind: ClassVar[str] = "meter"
    EVIDENCE: ClassVar[frozenset[str]] = frozenset(
        {"runs", "errors", "prior", "rig_pulses_per_m3", "working_flow_m3_s"}
    )
    UNCERTAINTY: ClassVar[frozenset[str]] = frozenset({"factor", "offset_u_hz"})

    runs: tuple[MeterRun, ...]
    errors: MeterErrors
    prior: Prior
    rig_pulses_per_m3: float | None
    """What the rig said before, at these flows."""
    working_flow_m3_s: float
    """The flow that `factor` is for."""
    points: tuple[Point, ...]
    """One for each flow, ascending."""
    model: Model
    pulses_per_m3: float
    """Mean of the points."""
    slope_pulses_per_m3: float
    """Of pulses a second over flow, through the origin or, with the offset, beside it."""
    offset_hz: float
    """a in f = K * Q - a; 0 unless `model` is "offset"."""
    offset_u_hz: float
    repeatability: float
    """The worst of the flows."""
    linearity: float | None
    """None for a single flow."""
    curve: tuple[tuple[float, float], ...]
    """(m3/s, pulses/m3), ascending; empty when one number does."""
    factor: Budget
    """Pulses per m3 at `working_flow_m3_s`."""
    remarks: tuple[Remark, ...] = ()

    @property
    def rate_share_95(self) -> float:
        """What the factor's doubt does to every volume and rate: +- this share (95 %)."""
        return self.factor.expanded_relative

    @property
    def change(self) -> float | None:
        """This factor over the rig's before, minus 1."""
        if self.rig_pulses_per_m3 is None:
            return None
        return self.factor.value / self.rig_pulses_per_m3 - 1.0

    def pulses_per_m3_at(self, flow_m3_s: float) -> float:
        if not self.curve:
            return self.pulses_per_m3
        return pulses_per_m3_at_flow(self.curve, flow_m3_s)


def meter(
    runs: Sequence[MeterRun],
    *,
    rig_meter: Meter | None = None,
    working_flow_m3_s: float | None = None,
    errors: MeterErrors | None = None,
    prior: Prior = REPEAT_PRIOR,
    believe: bool = False,
) -> MeterResult:
    """Pulses per volume from runs.

    Args:
        runs: any order; three at each of one to five flows are wanted, one is enough.
        rig_meter: what the rig file says, to tell slips by; its range is remarked on.
        working_flow_m3_s: where `factor` is wanted; the mean of the flows by default.
        errors: how well volume or mass are known.
        prior: how K scatters from run to run in general, as a share, beyond reading.
        believe: take a factor that is far from the rig's (after a remark) and do not refuse it.

    Raises:
        CalibrationError: no run, nothing or nonsense in a run, fewer than 50 pulses, a run that
            is a multiple of the others, or a factor that is a telling multiple of the rig's.
    """
    errors = errors or MeterErrors()
    if not runs:
        raise CalibrationError("meter: no run yet (three at each flow are wanted)")
    volumes = [run_volume_m3(run) for run in runs]
    for number, (run, volume) in enumerate(zip(runs, volumes, strict=True), 1):
        refuse_run(number, run.pulses, run.seconds, volume)
    factors = [run.pulses / volume for run, volume in zip(runs, volumes, strict=True)]
    flows = [volume / run.seconds for run, volume in zip(runs, volumes, strict=True)]
    points = points_of(flows, factors, [run.flow_number for run in runs])
    working = math.fsum(p.flow_m3_s for p in points) / len(points)
    working = working_flow_m3_s if working_flow_m3_s is not None else working
    rig_factor = None if rig_meter is None else _rig_factor(rig_meter, points)
    refuse_runs(factors, rig_factor, believe=believe)

    mean = math.fsum(point.pulses_per_m3 for point in points) / len(points)
    reading = math.sqrt(
        math.fsum(reading_share(run, volume, errors) ** 2
                  for run, volume in zip(runs, volumes, strict=True)) / len(runs)
    )  # fmt: skip
    counting = math.sqrt(math.fsum((counted(r.pulses) / r.pulses) ** 2 for r in runs) / len(runs))
    known = math.hypot(reading, counting) * mean
    within_flows = [point.factors for point in points]
    beyond = scatter_beyond(within_flows, Prior(prior.s * mean, prior.dof), known)
    whole_s, whole_dof = math.hypot(beyond[0], known), _whole_dof(beyond, known)
    model = choose(points, whole_s, whole_dof)
    if model == "constant":
        # Then the flows are repetitions of one another, and their scatter counts too.
        beyond = scatter_beyond([factors], Prior(prior.s * mean, prior.dof), known)
    slope, offset, offset_u, curve = _describe(model, points, flows, factors, whole_s)
    spread = leverage(model, points, flows, working)
    value = pulses_per_m3_at_flow(curve, working) if curve else mean
    parts = components(
        runs, volumes, points, value, working, model, spread, beyond, reading, counting, errors
    )
    linearity = None
    if len(points) > 1:
        linearity = max(abs(point.pulses_per_m3 / mean - 1.0) for point in points)
    return MeterResult(
        runs=tuple(runs),
        errors=errors,
        prior=prior,
        rig_pulses_per_m3=rig_factor,
        working_flow_m3_s=working,
        points=points,
        model=model,
        pulses_per_m3=mean,
        slope_pulses_per_m3=slope,
        offset_hz=offset,
        offset_u_hz=offset_u,
        repeatability=max(point.repeatability for point in points),
        linearity=linearity,
        curve=curve,
        factor=budget("pulses per volume", value, "pulses_per_volume", parts),
        remarks=remarks_on(
            points, [run.pulses for run in runs], rig_meter, value, rig_factor, working
        ),
    )


def _rig_factor(rig_meter: Meter, points: Sequence[Point]) -> float:
    if not rig_meter.curve:
        return rig_meter.pulses_per_m3
    at = [pulses_per_m3_at_flow(rig_meter.curve, point.flow_m3_s) for point in points]
    return math.fsum(at) / len(at)


def _whole_dof(beyond: tuple[float, float], known: float) -> float:
    s, dof = beyond
    return dof if math.isinf(dof) or s == 0.0 else dof * (math.hypot(s, known) / s) ** 4


def _describe(
    model: Model,
    points: Sequence[Point],
    flows: Sequence[float],
    factors: Sequence[float],
    s: float,
) -> tuple[float, float, float, tuple[tuple[float, float], ...]]:
    """Slope, offset, its uncertainty and the curve."""
    if model == "offset":
        fit = line(flows, factors, s)
        low, high = points[0].flow_m3_s, points[-1].flow_m3_s
        grid = np.geomspace(low, high, 7)
        curve = tuple((float(q), float(fit.slope - fit.offset / q)) for q in grid)
        return fit.slope, fit.offset, fit.offset_u, curve
    slope = slope_through_origin(flows, factors)
    if model == "constant":
        return slope, 0.0, 0.0, ()
    return slope, 0.0, 0.0, tuple((p.flow_m3_s, p.pulses_per_m3) for p in points)

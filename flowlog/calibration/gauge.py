"""The gauge: where the transducer's zero and span really are, against a reference gauge.

A ratiometric transducer gives a share of the ADC's full scale that is linear in the pressure. The
zero comes from the vented boom, the span from one or more pressures read off a reference. Going
up and down through the same pressures shows hysteresis.

Codes outside 4 to 96 % of the scale come from an open or short wire (data sheets of this class of
sensors); a zero that is off by more than 2 % of the span is remarked on (common practice, no
source).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from flowlog.calibration.faults import (
    DECIMAL_SLIPS,
    CalibrationError,
    Remark,
    Slip,
    likely_slip,
    percent,
)
from flowlog.calibration.stored import Stored
from flowlog.calibration.student import f_tail
from flowlog.calibration.uncertainty import Budget, Component, budget, power, within
from flowlog.rig.model import Gauge
from flowlog.units import Kind

Floats: TypeAlias = NDArray[np.float64]

LOWEST_SHARE: Final = 0.04
HIGHEST_SHARE: Final = 0.96
GOOD_ZERO: Final = 0.02
GOOD_RESIDUAL: Final = 0.01
_STATED_DOF: Final = 5.0
"""What the stated errors count beside residuals that contradict them, in degrees of freedom."""
_CONTRADICTS: Final = 0.05
_SAME_PRESSURE: Final = 0.03
_BELIEVABLE: Final = 1.25

_SPAN_SLIPS: Final = (
    Slip(14.5038, 0.15, "14.5 times: a reading in bar was probably given as psi"),
    Slip(1 / 14.5038, 0.15, "1/14.5: a reading in psi was probably given as bar"),
    Slip(6.894757, 0.1, "6.9 times: a reading in psi was probably given as kPa"),
    Slip(1 / 6.894757, 0.1, "1/6.9: a reading in kPa was probably given as psi"),
    *DECIMAL_SLIPS,
)


@dataclass(frozen=True, slots=True)
class GaugePoint:
    """One reading: the transducer beside the reference."""

    reference_pa: float
    """0 with the boom vented."""
    share: float
    """Mean code over the ADC's full scale, 0 to 1 (code / 2^bits)."""
    direction: Literal["up", "down"] | None = None
    """Whether the pressure was reached from below or above."""


@dataclass(frozen=True, slots=True)
class GaugeErrors:
    """Bounds (+-). Common practice, no source."""

    reading_pa: float = 0.5 * 6894.757
    """Reading the reference: a quarter of a 2 psi graduation."""
    reference_share: float = 0.01
    """The reference's own scale, the same in all readings."""
    code_share: float = 0.0005
    """Noise and steps of the mean code, as a share of the ADC's full scale."""


@dataclass(frozen=True, slots=True)
class GaugeResult(Stored):
    """Zero and span of the transducer."""

    kind: ClassVar[str] = "gauge"
    EVIDENCE: ClassVar[frozenset[str]] = frozenset(
        {"points", "errors", "span_pa", "rig_zero_share", "rig_span_share"}
    )
    UNCERTAINTY: ClassVar[frozenset[str]] = frozenset(
        {"zero", "gain", "zero_u_pa", "gain_u", "covariance_pa", "dof"}
    )

    points: tuple[GaugePoint, ...]
    errors: GaugeErrors
    span_pa: float
    rig_zero_share: float
    rig_span_share: float
    zero_share: float
    """Share of the ADC's full scale without pressure."""
    span_share: float
    """Share at `span_pa`."""
    zero_error_pa: float
    """What the rig, as it was set, showed with the boom vented."""
    gain_error: float
    """How much too steep the rig, as it was set, showed a change of pressure: a share."""
    residuals_pa: tuple[float, ...]
    """Transducer as now set minus reference, one for each point."""
    largest_residual_pa: float
    hysteresis_pa: float | None
    """Largest (down - up) at one pressure; None if there was no such pair."""
    zero: Budget
    """Of `zero_error_pa`, Pa."""
    gain: Budget
    """Of 1 + `gain_error`."""
    zero_u_pa: float
    gain_u: float
    covariance_pa: float
    """Of zero and gain, for `u_at`."""
    dof: float
    remarks: tuple[Remark, ...] = ()

    def pressure_pa(self, share: float) -> float:
        """What a share of the ADC's full scale means now."""
        return self.span_pa * (share - self.zero_share) / (self.span_share - self.zero_share)

    def u_at(self, pressure_pa: float) -> float:
        """Standard uncertainty of the gauge, as now set, at a pressure, Pa."""
        variance = (
            self.zero_u_pa**2
            + 2.0 * pressure_pa * self.covariance_pa
            + (pressure_pa * self.gain_u) ** 2
        )
        return math.sqrt(max(variance, 0.0))


def gauge(
    points: Sequence[GaugePoint], rig_gauge: Gauge, *, errors: GaugeErrors | None = None
) -> GaugeResult:
    """Zero and span from two or more points, of which one should be the vented boom.

    Args:
        points: in the order taken.
        rig_gauge: as the rig has it: its span, and its shares to compare with.
        errors: how well the reference and the code are known.

    Raises:
        CalibrationError: fewer than two pressures, a code from a broken wire, a pressure below
            zero, a transducer that does not follow the reference, or a span that is a telling
            multiple of the rig's.
    """
    errors = errors or GaugeErrors()
    _refuse(points, rig_gauge)
    # All in the units of the rig as it was set: what it showed, against the reference.
    scale = rig_gauge.span_pa / (rig_gauge.span_share - rig_gauge.zero_share)
    shown = np.array([(point.share - rig_gauge.zero_share) * scale for point in points])
    true = np.array([point.reference_pa for point in points])
    code_u = within(errors.code_share) * scale
    own = np.array([0.0 if p.reference_pa == 0.0 else within(errors.reading_pa) for p in points])
    u = np.hypot(own, code_u)
    design = np.stack([np.ones_like(true), true], axis=1)
    covariance = np.linalg.inv((design / u[:, None] ** 2).T @ design)
    solution = covariance @ (design / u[:, None] ** 2).T
    zero, slope = (float(x) for x in solution @ shown)
    _refuse_slope(slope)
    rest = shown - zero - slope * true
    stretch, dof = _stretch(rest / u)
    covariance = covariance * stretch**2

    residuals = tuple(float(x) for x in rest / slope)
    zero_u, slope_u = math.sqrt(covariance[0, 0]), math.sqrt(covariance[1, 1])
    common = within(errors.reference_share)
    weights = solution * stretch
    zero_budget = budget(
        "zero", zero, "pressure", _parts(weights[0], zero, own, code_u, dof, "pressure")
    )
    gain_budget = budget(
        "gain", slope, None,
        [
            *_parts(weights[1], slope, own, code_u, dof, None),
            power("reference's scale (common)", 1.0, common, slope, -1.0, kind="share",
                  common=True, bound=True),
        ],
    )  # fmt: skip
    hysteresis = _hysteresis(points, residuals, rig_gauge.span_pa)
    result = GaugeResult(
        points=tuple(points),
        errors=errors,
        span_pa=rig_gauge.span_pa,
        rig_zero_share=rig_gauge.zero_share,
        rig_span_share=rig_gauge.span_share,
        zero_share=rig_gauge.zero_share + zero / scale,
        span_share=rig_gauge.zero_share + (zero + slope * rig_gauge.span_pa) / scale,
        zero_error_pa=zero,
        gain_error=slope - 1.0,
        residuals_pa=residuals,
        largest_residual_pa=max(abs(one) for one in residuals),
        hysteresis_pa=hysteresis,
        zero=zero_budget,
        gain=gain_budget,
        zero_u_pa=zero_u / slope,
        gain_u=math.hypot(slope_u / slope, common),
        covariance_pa=float(covariance[0, 1]) / slope**2,
        dof=dof,
    )
    return dataclasses.replace(result, remarks=_remarks(points, rig_gauge, result))


def _stretch(off: Floats) -> tuple[float, float]:
    """By how much the stated errors are too small, and the degrees of freedom of that.

    1 and infinity unless the residuals, in units of the stated errors, say otherwise.
    """
    free = len(off) - 2
    squares = float(np.sum(off**2))
    if free < 1 or f_tail(squares / free, float(free), 1e6) >= _CONTRADICTS:
        return 1.0, math.inf
    dof = _STATED_DOF + free
    return math.sqrt((_STATED_DOF + squares) / dof), dof


def _parts(
    weights: Floats, value: float, own: Floats, code_u: float, dof: float, kind: Kind | None
) -> list[Component]:
    """What reading and codes add to a result that is the weighted sum of the points."""
    vented = own == 0.0
    parts = []
    for name, u in (
        ("reading the reference", weights * own),
        ("code when vented", np.where(vented, weights * code_u, 0.0)),
        ("codes under pressure", np.where(vented, 0.0, weights * code_u)),
    ):
        whole, count = float(np.hypot.reduce(u)), int(np.count_nonzero(u))
        parts.append(
            Component(
                f"{name}, {count} times" if count > 1 else name,
                value, whole, whole, dof, kind, bound=count == 1,
            )
        )  # fmt: skip
    return parts


def code_doubt(share: float) -> str | None:
    """Why a code cannot be a pressure, or None."""
    if not 0.0 <= share <= 1.0:
        return "the code is outside the ADC's scale"
    if share < LOWEST_SHARE:
        return f"{percent(share)} of the scale: the transducer is off, or its wire open or short"
    if share > HIGHEST_SHARE:
        return f"{percent(share)} of the scale: short or open wire, or too much pressure"
    return None


def _refuse(points: Sequence[GaugePoint], rig_gauge: Gauge) -> None:
    for number, point in enumerate(points, 1):
        place = f"point {number}"
        doubt = code_doubt(point.share)
        if doubt is not None:
            raise CalibrationError(f"{place}: {doubt}")
        if not (math.isfinite(point.reference_pa) and point.reference_pa >= 0.0):
            raise CalibrationError(f"{place}: the reference cannot be below zero")
    if not points:
        raise CalibrationError("gauge: no point yet (the vented boom and a pressure are wanted)")
    references = [point.reference_pa for point in points]
    if max(references) - min(references) < 0.1 * rig_gauge.span_pa:
        raise CalibrationError(
            "gauge: the pressures are too near one another (vented, and at least one that is "
            "a tenth of the span away)"
        )


def _refuse_slope(slope: float) -> None:
    if slope <= 0.0:
        raise CalibrationError("gauge: the code does not rise with the reference (wires swapped?)")
    slip = likely_slip(slope, _SPAN_SLIPS)
    if slip is not None:
        raise CalibrationError(f"gauge: the rig's gauge rises {slope:.3g} times as fast as the "
                               f"reference, about {slip.because}")  # fmt: skip
    if not 1.0 / _BELIEVABLE <= slope <= _BELIEVABLE:
        raise CalibrationError(
            f"gauge: the rig's gauge rises {slope:.3g} times as fast as the reference "
            "(check the rig's [gauge] span and the reference's unit)"
        )


def _hysteresis(
    points: Sequence[GaugePoint], residuals: Sequence[float], span_pa: float
) -> float | None:
    pairs = [
        residuals[j] - residuals[i]
        for i, up in enumerate(points)
        for j, down in enumerate(points)
        if up.direction == "up"
        and down.direction == "down"
        and abs(up.reference_pa - down.reference_pa) <= _SAME_PRESSURE * span_pa
    ]
    return max(pairs, key=abs, default=None)


def _remarks(
    points: Sequence[GaugePoint], rig_gauge: Gauge, result: GaugeResult
) -> tuple[Remark, ...]:
    remarks = []
    span = rig_gauge.span_pa
    if not any(point.reference_pa == 0.0 for point in points):
        remarks.append(Remark("no-zero", "no point with the boom vented: the zero is a guess"))
    if len(points) < 3:
        remarks.append(Remark("two-points", "two points leave nothing to check the line by"))
    if abs(result.zero_error_pa) > GOOD_ZERO * span:
        off = percent(abs(result.zero_error_pa) / span)
        remarks.append(Remark("zero", f"the zero was off by {off} of the span (2 % is usual)"))
    if result.largest_residual_pa > GOOD_RESIDUAL * span:
        worst = max(range(len(points)), key=lambda i: abs(result.residuals_pa[i])) + 1
        off = percent(result.largest_residual_pa / span)
        remarks.append(Remark("residual", f"point {worst} is {off} of the span off the line"))
    if result.hysteresis_pa is not None and abs(result.hysteresis_pa) > GOOD_RESIDUAL * span:
        off = percent(abs(result.hysteresis_pa) / span)
        remarks.append(
            Remark("hysteresis", f"going down reads {off} of the span apart from going up")
        )
    for number, point in enumerate(points, 1):
        if point.share > result.span_share or point.share < result.zero_share - 0.02:
            remarks.append(Remark("range", f"point {number} is outside the transducer's span"))
    return tuple(remarks)

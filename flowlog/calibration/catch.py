"""The catch: what each tip gives into a jug in a time, and the rate that the boom makes of it.

A tip is judged against the mean of the boom and against a new tip at the pressure of the catch.
Both limits circulate in print, and each verdict says which one it goes by:

- 5 % of the boom's mean: Alberta Agriculture (Agdex 606-1), University of Nebraska (G1756);
  a tip that is high is replaced, one that is low is cleaned and caught again.
- 10 % of the boom's mean: several state extensions (Louisiana, Mississippi, Georgia).
- 10 % over a new tip: replace (Wyoming extension; the Irish test of sprayers).

The mean is that of the tips at work: one that gives less than half or more than one and a half of
the median is named, but does not shift the mean that the others are judged by.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import ClassVar, Final, Literal

from flowlog.calibration.catch_budget import CatchErrors, rate_budget, total_budget
from flowlog.calibration.course import CourseResult
from flowlog.calibration.faults import (
    DECIMAL_SLIPS,
    CalibrationError,
    Remark,
    Slip,
    likely_slip,
    need_positive,
    percent,
)
from flowlog.calibration.stored import Stored
from flowlog.calibration.student import t_coverage
from flowlog.calibration.uncertainty import LEVEL, Budget, within
from flowlog.physics.carrier import carrier_flow_for, conversion_factor
from flowlog.physics.tips import tip_flow_m3_s
from flowlog.rig.model import Boom
from flowlog.units import show

Verdict = Literal["fine", "clean and recheck", "replace", "not caught"]

_SLIPS: Final = (
    *DECIMAL_SLIPS,
    Slip(29.57, 0.2, "about 30 times as much as it should be: mL given as fl oz?"),
    Slip(1 / 29.57, 0.2, "about a 30th of what it should be: fl oz given as mL?"),
    Slip(60.0, 0.2, "about 60 times what it should be: minutes given as seconds?"),
    Slip(1 / 60.0, 0.2, "about a 60th of what it should be: seconds given as minutes?"),
)
_AT_WORK_LOW: Final = 0.5
_AT_WORK_HIGH: Final = 1.5
_IMPLAUSIBLE: Final = 3.0


@dataclass(frozen=True, slots=True)
class Caught:
    """One catch of one tip. Several of a tip are averaged, unless a later one starts anew."""

    tip: int
    """From 1, from the left."""
    volume_m3: float
    """0 for a tip that gave nothing."""
    seconds: float
    anew: bool = False
    """The tip was cleaned or replaced, or the catch before was a slip: forget the earlier ones."""

    @classmethod
    def of_flow(cls, tip: int, flow_m3_s: float, seconds: float = 60.0) -> Caught:
        """A catch of which only the flow was noted; how long it lasted sets how sure it is."""
        return cls(tip, flow_m3_s * seconds, seconds)


@dataclass(frozen=True, slots=True)
class Limits:
    """Shares beyond which a tip is named."""

    of_mean: float = 0.05
    over_new: float = 0.10


@dataclass(frozen=True, slots=True)
class TipResult:
    tip: int
    verdict: Verdict
    flow_m3_s: float | None
    """None for a tip that was not caught."""
    u_m3_s: float | None
    """Standard uncertainty from reading and timing alone, without what all tips share."""
    of_mean: float | None
    """Flow over the mean of the tips at work, minus 1."""
    of_new: float | None
    """Flow over that of a new tip at this pressure, minus 1."""
    beyond: tuple[str, ...] = ()
    """The limits that it exceeds, in words: "5 % of the boom's mean", "10 % over a new tip"."""
    sure: bool = True
    """False when the nearest limit is within the uncertainty: catch it again."""
    doubt: str | None = None
    """Why the catch is probably a slip of the pen."""
    catches: int = 0


@dataclass(frozen=True, slots=True)
class CatchResult(Stored):
    """The boom as it was caught, with water or what else was in the tank."""

    kind: ClassVar[str] = "catch"
    EVIDENCE: ClassVar[frozenset[str]] = frozenset(
        {"caught", "pressure_pa", "relative_density", "limits", "errors", "tips_fitted"}
    )
    UNCERTAINTY: ClassVar[frozenset[str]] = frozenset({"total", "rate"})

    caught: tuple[Caught, ...]
    pressure_pa: float | None
    relative_density: float
    """Of what was caught; 1 for water."""
    limits: Limits
    errors: CatchErrors
    tips_fitted: int
    tips: tuple[TipResult, ...]
    """All tips of the boom, in order."""
    mean_m3_s: float
    """Of the tips at work."""
    new_tip_m3_s: float | None
    """A new tip at this pressure, this liquid; None where no pressure was read."""
    cv: float | None
    """Standard deviation of the caught tips' flows over their mean; None for a single tip."""
    total_m3_s: float
    """All tips; those not caught at the mean of the tips at work."""
    total: Budget
    rate_m3_m2: float | None
    """Of what was caught, at the course's speed; None without a course."""
    rate: Budget | None
    remarks: tuple[Remark, ...] = ()

    def named(self) -> tuple[TipResult, ...]:
        """The tips to do something about."""
        return tuple(tip for tip in self.tips if tip.verdict != "fine")

    def rate_of(self, carrier_relative_density: float) -> float | None:
        """The rate that another liquid comes out at, same pressure and speed, m3/m2."""
        if self.rate_m3_m2 is None:
            return None
        return carrier_flow_for(self.rate_m3_m2, carrier_relative_density / self.relative_density)


def catch_doubt(
    flow_m3_s: float, others: Sequence[float] = (), *, expected_m3_s: float | None = None
) -> str | None:
    """Why a tip's flow is probably a slip (640 for 64), beside the others or what is expected.

    None for a flow that can be. A flow of 0 can be: a blocked tip.
    """
    running = [flow for flow in others if flow > 0.0]
    reference = median(running) if running else expected_m3_s
    if reference is None or flow_m3_s <= 0.0:
        return None
    ratio = flow_m3_s / reference
    if 1.0 / _IMPLAUSIBLE < ratio < _IMPLAUSIBLE:
        return None
    slip = likely_slip(ratio, _SLIPS)
    if slip is not None:
        return slip.because
    beside = "the other tips" if running else "expected"
    return f"{ratio:.2g} times {'what ' + beside + ' give' if running else beside}"


def catch(
    boom: Boom,
    caught: Sequence[Caught],
    *,
    course: CourseResult | None = None,
    pressure_pa: float | None = None,
    relative_density: float = 1.0,
    limits: Limits | None = None,
    errors: CatchErrors | None = None,
) -> CatchResult:
    """Judge every tip and work out flow and rate.

    Args:
        boom: with its nominal tip.
        caught: in the order in which they were caught; at least one.
        course: for the rate; without it there is none.
        pressure_pa: at the tips during the catch; without it a new tip's flow is not known.
        relative_density: of what was caught.
        limits: shares at which a tip is named.
        errors: how well jug, watch, width and pressure are known.

    Raises:
        CalibrationError: no catch, a tip that the boom does not have, a time that is not more
            than zero, a negative volume, or nothing caught from any tip.
    """
    limits = limits or Limits()
    errors = errors or CatchErrors()
    kept = _kept(boom, caught)
    flows = {
        tip: math.fsum(one.volume_m3 / one.seconds for one in those) / len(those)
        for tip, those in kept.items()
    }
    if not any(flow > 0.0 for flow in flows.values()):
        raise CalibrationError("catch: no tip gave anything (is the boom open?)")
    mean = _mean_at_work(list(flows.values()))
    new = None
    if pressure_pa is not None:
        need_positive(
            pressure_pa, "pressure", "pressure", "at the tips while catching, for instance 40 psi"
        )
        water = tip_flow_m3_s(boom.tip.coefficient, pressure_pa)
        new = water / conversion_factor(relative_density)
    judged = tuple(
        _judge(tip, kept.get(tip, []), flows, mean, new, limits, errors)
        for tip in range(1, boom.tips + 1)
    )
    missing = boom.tips - len(flows)
    total = math.fsum(flows.values()) + missing * mean
    scatter = _deviation(list(flows.values()))
    total_b = total_budget(total, mean, kept, missing, scatter, errors)
    rate_b = None
    if course is not None:
        rate_b = rate_budget(total_b, course, pressure_pa, errors)
    return CatchResult(
        caught=tuple(caught),
        pressure_pa=pressure_pa,
        relative_density=relative_density,
        limits=limits,
        errors=errors,
        tips_fitted=boom.tips,
        tips=judged,
        mean_m3_s=mean,
        new_tip_m3_s=new,
        cv=None if scatter is None else scatter / (math.fsum(flows.values()) / len(flows)),
        total_m3_s=total,
        total=total_b,
        rate_m3_m2=None if rate_b is None else rate_b.value,
        rate=rate_b,
        remarks=_remarks(judged, missing, limits),
    )


def _kept(boom: Boom, caught: Sequence[Caught]) -> dict[int, list[Caught]]:
    """The catches that count, by tip."""
    if not caught:
        raise CalibrationError("catch: nothing was caught yet")
    kept: dict[int, list[Caught]] = {}
    for one in caught:
        place = f"tip {one.tip}"
        if not 1 <= one.tip <= boom.tips:
            raise CalibrationError(f"{place}: the boom has tips 1 to {boom.tips}")
        need_positive(one.seconds, place, "time", "the time of the catch, for instance 21 s")
        if not (math.isfinite(one.volume_m3) and one.volume_m3 >= 0.0):
            raise CalibrationError(
                f"{place}: {show(one.volume_m3, 'volume', 'metric')} cannot be caught"
            )
        if one.anew:
            kept[one.tip] = []
        kept.setdefault(one.tip, []).append(one)
    return kept


def _mean_at_work(flows: Sequence[float]) -> float:
    middle = median(flow for flow in flows if flow > 0.0)
    at_work = [f for f in flows if _AT_WORK_LOW * middle <= f <= _AT_WORK_HIGH * middle]
    return math.fsum(at_work) / len(at_work) if at_work else middle


def _deviation(flows: Sequence[float]) -> float | None:
    if len(flows) < 2:
        return None
    mean = math.fsum(flows) / len(flows)
    return math.sqrt(math.fsum((flow - mean) ** 2 for flow in flows) / (len(flows) - 1))


def _judge(
    tip: int,
    catches: Sequence[Caught],
    flows: dict[int, float],
    mean: float,
    new: float | None,
    limits: Limits,
    errors: CatchErrors,
) -> TipResult:
    if not catches:
        return TipResult(tip, "not caught", None, None, None, None)
    flow = flows[tip]
    u = math.hypot(*(errors.own_u_m3_s(one) for one in catches)) / len(catches)
    of_mean = flow / mean - 1.0
    of_new = None if new is None else flow / new - 1.0
    by_mean = f"{percent(limits.of_mean, 0)} of the boom's mean"
    by_new = f"{percent(limits.over_new, 0)} over a new tip"
    beyond = []
    worn = of_new is not None and of_new >= limits.over_new
    if abs(of_mean) > limits.of_mean:
        beyond.append(by_mean)
    if worn:
        beyond.append(by_new)
    # A tip gives too much only because it is worn, damaged or of another size: no cleaning helps.
    verdict: Verdict = "fine"
    if worn or of_mean > limits.of_mean:
        verdict = "replace"
    elif of_mean < -limits.of_mean:
        verdict = "clean and recheck"
    doubt_wide = t_coverage(LEVEL, math.inf) * u / mean
    distances = [abs(abs(of_mean) - limits.of_mean)]
    if of_new is not None:
        shared = within(errors.jug_share) * t_coverage(LEVEL, math.inf)
        distances.append(max(abs(of_new - limits.over_new) - shared, 0.0))
    others = [value for other, value in flows.items() if other != tip]
    return TipResult(
        tip,
        verdict,
        flow,
        u,
        of_mean,
        of_new,
        tuple(beyond),
        sure=min(distances) > doubt_wide,
        doubt=catch_doubt(flow, others, expected_m3_s=new),
        catches=len(catches),
    )


def _remarks(tips: Sequence[TipResult], missing: int, limits: Limits) -> tuple[Remark, ...]:
    remarks = []
    if missing:
        names = ", ".join(str(one.tip) for one in tips if one.verdict == "not caught")
        remarks.append(
            Remark(
                "missing",
                f"not caught: tip {names}; the total takes the mean of the others for it",
            )
        )
    remarks += [Remark("slip", f"tip {one.tip}: {one.doubt}") for one in tips if one.doubt]
    by_new = [one.of_new for one in tips if one.of_new is not None]
    if len(by_new) > 1:
        least, most = min(by_new), max(by_new)
        if least >= limits.over_new:
            remarks.append(
                Remark(
                    "all-high",
                    f"all tips give at least {percent(least, 0)} more than new ones: check the "
                    "gauge, the jug and the tip's size in the rig file before buying tips",
                )
            )
        elif most <= -limits.over_new:
            remarks.append(
                Remark(
                    "all-low",
                    f"all tips give at least {percent(-most, 0)} less than new ones: check the "
                    "gauge, the tip's size in the rig file and the strainers",
                )
            )
    return tuple(remarks)

"""The course: a measured length driven with a stopwatch, from which the speed follows.

The rate is proportional to the time over the course, so times are averaged and the speed is
taken from the mean time (the mean of the speeds would be another number), and no time is
rounded: a second in 17 is 6 % of the rate.

Two runs are asked for, and a third when they disagree by more than 3 %: common practice, no
source. The scatter of two runs is no estimate; it is pooled with a prior (see `Prior`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Final, Literal

from flowlog.calibration.faults import (
    DECIMAL_SLIPS,
    CalibrationError,
    Remark,
    likely_slip,
    need_positive,
    percent,
)
from flowlog.calibration.stored import Stored
from flowlog.calibration.uncertainty import (
    Budget,
    Component,
    Prior,
    budget,
    power,
    scatter_beyond,
    within,
)
from flowlog.physics.rates import (
    course_length_m,
    effective_width_m,
    is_outer_tip_distance,
    outer_tip_distance_m,
    speed_from_course_m_s,
)
from flowlog.rig.model import Boom

THOUSAND_FT2_M2: Final = 1000 * 0.3048**2
ACRE_128TH_M2: Final = 43560 * 0.3048**2 / 128
"""Caught fl oz from one tip over its spacing are gal/acre on this area."""

DISAGREE_SHARE: Final = 0.03
UNEVEN_SHARE: Final = 0.06
"""Three runs of even driving spread over half as much again as two."""
RUN_PRIOR: Final = Prior(0.0175, 10.0)
"""Share of the time by which driving scatters (0.3 s in 17 s); common practice, no source."""
STOPWATCH_U_S: Final = 0.15
LENGTH_HALF_WIDTH_M: Final = 0.0762
"""+-3 in for tape, stakes and where the run was started and stopped; common practice."""
_SLOWEST_M_S: Final = 0.2
_FASTEST_M_S: Final = 9.0

Verdict = Literal["second run wanted", "third run wanted", "fine", "uneven"]


@dataclass(frozen=True, slots=True)
class CoursePlan:
    """What to measure out before driving."""

    width_m: float
    """Effective: spacing times tips."""
    outer_tip_distance_m: float
    """What a tape along the boom reads, and not the width that counts."""
    length_m: float
    area_m2: float


@dataclass(frozen=True, slots=True)
class CourseResult(Stored):
    """The speed over the course, and how sure it is."""

    kind: ClassVar[str] = "course"
    EVIDENCE: ClassVar[frozenset[str]] = frozenset(
        {"width_m", "length_m", "seconds", "stopwatch_u_s", "length_half_width_m", "prior"}
    )
    UNCERTAINTY: ClassVar[frozenset[str]] = frozenset({"speed", "time"})

    width_m: float
    length_m: float
    seconds: tuple[float, ...]
    stopwatch_u_s: float
    length_half_width_m: float
    prior: Prior
    """Its `s` is a share of the mean time."""
    mean_s: float
    speed_m_s: float
    """Length over mean time."""
    spread_share: float
    """(longest - shortest) / mean; 0 for one run."""
    verdict: Verdict
    time: Budget
    speed: Budget
    remarks: tuple[Remark, ...] = ()

    @property
    def area_m2(self) -> float:
        return self.length_m * self.width_m


def plan_course(
    boom: Boom, *, area_m2: float | None = None, length_m: float | None = None
) -> CoursePlan:
    """The course for an area (`THOUSAND_FT2_M2` unless given), or of a given length.

    For fl oz of one tip as gal/acre the length is ACRE_128TH_M2 / spacing: give that length.
    """
    width = effective_width_m(boom.spacing_m, float(boom.tips))
    if length_m is None:
        area = (
            THOUSAND_FT2_M2
            if area_m2 is None
            else need_positive(area_m2, "area", "area", "for instance 1000 ft2")
        )
        length_m = course_length_m(area, width)
    need_positive(length_m, "course length", "length", "for instance 150 ft")
    return CoursePlan(
        width, outer_tip_distance_m(boom.spacing_m, float(boom.tips)), length_m, length_m * width
    )


def ounce_course_length_m(spacing_m: float) -> float:
    """Length on which the fl oz of one tip are gal/acre: 1/128 acre over the spacing, m."""
    return course_length_m(
        ACRE_128TH_M2, need_positive(spacing_m, "spacing", "length", "for instance 20 in")
    )


def width_doubt(boom: Boom, width_m: float) -> str | None:
    """Why a width that somebody measured is probably not the effective one, or None."""
    effective = boom.effective_width_m
    if abs(width_m / effective - 1.0) <= 0.02:
        return None
    if is_outer_tip_distance(width_m, boom.spacing_m, boom.tips):
        over = boom.tips / (boom.tips - 1) - 1.0
        return (
            "this is the distance between the outer tips; the effective width is spacing x tips "
            f"(the rate would read {percent(over, 0)} too high)"
        )
    return f"{percent(abs(width_m / effective - 1.0), 0)} off spacing x tips"


def time_doubt(
    seconds: float, others: Sequence[float] = (), *, expected_s: float | None = None
) -> str | None:
    """Why a run's time is probably a slip, beside the other runs or what is expected, or None."""
    reference = math.fsum(others) / len(others) if others else expected_s
    if reference is None:
        return None
    ratio = seconds / reference
    slip = likely_slip(ratio, DECIMAL_SLIPS)
    if slip is not None:
        return slip.because
    beside = "the other runs" if others else "expected"
    if ratio > 2.0 or ratio < 0.5:
        return f"{ratio:.2g} times {beside}"
    return None


def course(
    width_m: float,
    length_m: float,
    seconds: Sequence[float],
    *,
    stopwatch_u_s: float = STOPWATCH_U_S,
    length_half_width_m: float = LENGTH_HALF_WIDTH_M,
    prior: Prior = RUN_PRIOR,
) -> CourseResult:
    """Speed from timed runs over a course.

    Args:
        width_m: effective width.
        length_m: of the course.
        seconds: one time for each run, not rounded; one or more.
        stopwatch_u_s: standard uncertainty of starting and stopping the watch, each run anew.
        length_half_width_m: the length is sure to within this.
        prior: how runs scatter in general, as a share of the time.

    Raises:
        CalibrationError: a time, length or width that is not more than zero, no time at all, or
            a speed at which nobody sprays.
    """
    need_positive(width_m, "effective width", "length", "for instance 80 in")
    need_positive(length_m, "course length", "length", "for instance 150 ft")
    if not seconds:
        raise CalibrationError("course: no run was timed (two are wanted)")
    for number, one in enumerate(seconds, 1):
        need_positive(one, f"run {number}", "time", "the time over the course, for instance 21.3 s")
    runs = tuple(float(one) for one in seconds)
    mean = math.fsum(runs) / len(runs)
    speed = speed_from_course_m_s(length_m, mean)
    if not _SLOWEST_M_S <= speed <= _FASTEST_M_S:
        raise CalibrationError(
            f"course: {speed:.3g} m/s ({speed * 3.6:.3g} km/h) is no speed to spray at "
            "(check the unit of the length and the times)"
        )
    scatter, dof = scatter_beyond([runs], Prior(prior.s * mean, prior.dof), stopwatch_u_s)
    times = len(runs)
    reading = stopwatch_u_s / math.sqrt(times)
    driving = scatter / math.sqrt(times)
    length_u = within(length_half_width_m)
    stopwatch = f"stopwatch, mean of {times}" if times > 1 else "stopwatch"
    evenness = f"run to run, mean of {times}" if times > 1 else "run to run"

    def parts(result: float, sign: float) -> list[Component]:
        return [
            power(stopwatch, mean, reading, result, sign, kind="time"),
            power(evenness, mean, driving, result, sign, dof=dof, kind="time"),
        ]

    length_part = power("course length", length_m, length_u, speed, kind="length", bound=True)
    spread = (max(runs) - min(runs)) / mean
    verdict = _verdict(times, spread)
    return CourseResult(
        width_m=width_m,
        length_m=length_m,
        seconds=runs,
        stopwatch_u_s=stopwatch_u_s,
        length_half_width_m=length_half_width_m,
        prior=prior,
        mean_s=mean,
        speed_m_s=speed,
        spread_share=spread,
        verdict=verdict,
        time=budget("time over the course", mean, "time", parts(mean, 1.0)),
        speed=budget("speed", speed, "speed", [*parts(speed, -1.0), length_part]),
        remarks=_remarks(verdict, spread, runs),
    )


def _verdict(times: int, spread: float) -> Verdict:
    if times == 1:
        return "second run wanted"
    if times == 2:
        return "third run wanted" if spread > DISAGREE_SHARE else "fine"
    return "uneven" if spread > UNEVEN_SHARE else "fine"


def _remarks(verdict: Verdict, spread: float, runs: Sequence[float]) -> tuple[Remark, ...]:
    remarks = []
    if verdict == "third run wanted":
        remarks.append(
            Remark("third-run", f"the two runs disagree by {percent(spread)}: drive a third one")
        )
    elif verdict == "second run wanted":
        remarks.append(Remark("second-run", "one run says nothing about the next: drive a second"))
    elif verdict == "uneven":
        remarks.append(
            Remark("uneven", f"the runs spread over {percent(spread)}: hold gear and throttle")
        )
    for number, one in enumerate(runs, 1):
        others = [*runs[: number - 1], *runs[number:]]
        doubt = time_doubt(one, others) if others else None
        if doubt:
            remarks.append(Remark("slip", f"run {number}: {doubt}"))
    if len(runs) > 1 and all(one == round(one) for one in runs):
        remarks.append(
            Remark("rounded", "all times are whole seconds: write tenths, they are in the rate")
        )
    return tuple(remarks)

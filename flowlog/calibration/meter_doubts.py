"""What a meter's runs give away about wiring, units and slips of the pen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import Final

from flowlog.calibration.faults import (
    DECIMAL_SLIPS,
    CalibrationError,
    Remark,
    Slip,
    likely_slip,
    need_positive,
    percent,
)
from flowlog.calibration.meter_fit import Point
from flowlog.rig.model import Meter

FEWEST_PULSES: Final = 50
ENOUGH_PULSES: Final = 1000
GOOD_SPREAD: Final = 0.01
_BELIEVABLE: Final = 1.3
_NOTEWORTHY: Final = 0.10

FACTOR_SLIPS: Final = (
    Slip(2.0, 0.08, "twice: each pulse is probably counted at both of its edges"),
    Slip(0.5, 0.08, "half: one pulse in two is missed, or the rig's was counted at both edges"),
    Slip(4.0, 0.03, "four times: probably both edges of two channels are counted"),
    Slip(60.0, 0.10, "60 times: Hz at 1 L/min were probably taken for pulses per litre"),
    Slip(1 / 60.0, 0.10, "a 60th: seconds and minutes are mixed up somewhere"),
    Slip(1.20095, 0.03, "1.2 times: a volume in imperial gallons was probably given as US gallons"),
    Slip(1 / 1.20095, 0.03, "1/1.2: a volume in US gallons was probably given as imperial ones"),
    Slip(3.785412, 0.05, "3.79 times: pulses per gallon and per litre are mixed up"),
    Slip(1 / 3.785412, 0.05, "1/3.79: pulses per litre and per gallon are mixed up"),
    Slip(4.54609, 0.05, "4.55 times: pulses per imperial gallon and per litre are mixed up"),
    Slip(1 / 4.54609, 0.05, "1/4.55: pulses per litre and per imperial gallon are mixed up"),
    Slip(1000.0, 0.2, "a thousand times: mL and L are mixed up"),
    Slip(0.001, 0.2, "a thousandth: L and mL are mixed up"),
    *DECIMAL_SLIPS,
)  # fmt: skip
"""Ratios of a found factor to the rig's."""

_RUN_SLIPS: Final = (
    Slip(2.0, 0.1, "twice as many pulses a volume as the other runs: a jug was filled twice?"),
    Slip(0.5, 0.1, "half as many pulses a volume as the other runs: started half-way?"),
    *DECIMAL_SLIPS,
)


def refuse_run(number: int, pulses: float, seconds: float, volume_m3: float) -> None:
    """CalibrationError for a run that nothing can be made of."""
    place = f"run {number}"
    need_positive(volume_m3, place, "volume", "the caught volume, for instance 5 gal")
    need_positive(seconds, place, "time", "the time of the run, for instance 90 s")
    if not (math.isfinite(pulses) and pulses >= 0.0):
        raise CalibrationError(f"{place}: {pulses:g} pulses cannot be")
    if pulses == 0.0:
        raise CalibrationError(f"{place}: no pulses (is the meter wired, and does it turn?)")
    if pulses < FEWEST_PULSES:
        raise CalibrationError(
            f"{place}: {pulses:.0f} pulses are too few (catch enough for {ENOUGH_PULSES}, "
            f"at least {FEWEST_PULSES})"
        )


def factor_doubt(pulses_per_m3: float, rig_pulses_per_m3: float) -> str | None:
    """Why a factor cannot be, beside the rig's, or None."""
    ratio = pulses_per_m3 / rig_pulses_per_m3
    slip = likely_slip(ratio, FACTOR_SLIPS)
    if slip is not None:
        return f"the pulses per volume are {ratio:.3g} times the rig's, about {slip.because}"
    if not 1.0 / _BELIEVABLE <= ratio <= _BELIEVABLE:
        return (
            f"the pulses per volume are {ratio:.3g} times the rig's "
            "(check the rig's [meter] pulses, the volume and the wiring)"
        )
    return None


def refuse_runs(
    factors: Sequence[float], rig_pulses_per_m3: float | None, *, believe: bool
) -> None:
    """CalibrationError for a run that disagrees with the others, or all with the rig."""
    if len(factors) > 2:
        for number, factor in enumerate(factors, 1):
            ratio = factor / median([*factors[: number - 1], *factors[number:]])
            slip = likely_slip(ratio, _RUN_SLIPS)
            if slip is not None:
                raise CalibrationError(f"run {number}: {slip.because}")
    elif len(factors) == 2 and not 1 / 1.5 < factors[0] / factors[1] < 1.5:
        ratio = max(factors) / min(factors)
        raise CalibrationError(f"runs 1 and 2 are {ratio:.3g} times apart: one of them is a slip")
    if rig_pulses_per_m3 is None or believe:
        return
    doubt = factor_doubt(median(factors), rig_pulses_per_m3)
    if doubt is not None:
        raise CalibrationError(f"meter: {doubt}")


def remarks_on(
    points: Sequence[Point],
    pulses: Sequence[float],
    rig_meter: Meter | None,
    factor: float,
    rig_factor: float | None,
    working_m3_s: float,
) -> tuple[Remark, ...]:
    """What to tell about runs that were taken."""
    remarks = []
    few = [str(number) for number, count in enumerate(pulses, 1) if count < ENOUGH_PULSES]
    if few:
        remarks.append(
            Remark("few-pulses", f"fewer than {ENOUGH_PULSES} pulses in run {', '.join(few)}")
        )
    for number, point in enumerate(points, 1):
        if point.count < 3:
            remarks.append(Remark("few-runs", f"flow {number}: {point.count} of 3 runs"))
        if point.repeatability > GOOD_SPREAD:
            spread = percent(point.repeatability)
            remarks.append(
                Remark("spread", f"flow {number}: the runs spread over {spread}, 1 % is good")
            )
        if rig_meter is not None and not (
            rig_meter.lowest_m3_s <= point.flow_m3_s <= rig_meter.highest_m3_s
        ):
            remarks.append(Remark("range", f"flow {number} is outside the meter's range"))
    if not 0.8 * points[0].flow_m3_s <= working_m3_s <= 1.25 * points[-1].flow_m3_s:
        remarks.append(Remark("far", "the working flow is outside the flows of the runs"))
    if rig_factor is not None:
        change = factor / rig_factor - 1.0
        doubt = factor_doubt(factor, rig_factor)
        if doubt is not None:
            remarks.append(Remark("believed", doubt))
        elif abs(change) > _NOTEWORTHY:
            remarks.append(Remark("change", f"{percent(change)} beside the rig's factor"))
    return tuple(remarks)

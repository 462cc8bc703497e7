"""Calibrations in one line each: which one, what it says, how sure."""

from __future__ import annotations

from datetime import UTC, datetime

from flowlog.calibrating.inuse import InUse, result_of
from flowlog.calibration.apply import Result
from flowlog.calibration.baseline import BaselineResult
from flowlog.calibration.capped import CappedResult
from flowlog.calibration.catch import CatchResult
from flowlog.calibration.course import CourseResult
from flowlog.calibration.faults import CalibrationError, percent
from flowlog.calibration.gauge import GaugeResult
from flowlog.calibration.meter import MeterResult
from flowlog.store.rows import StoredCalibration
from flowlog.units import Kind, Units, display_unit, number_in, show

EARLIEST_US = 1_735_689_600_000_000
"""2025-01-01 UTC: a clock that says less was never set."""


def gist(result: Result, units: Units) -> str:
    """What a result says, in a few words with its 95 % interval."""
    match result:
        case CourseResult():
            speed = show(result.speed_m_s, "speed", units)
            return f"{speed} {plus_minus(result.speed.expanded_relative)}"
        case CatchResult():
            named = len(result.named())
            what = f"{named} of {result.tips_fitted} tips to see to" if named else "all tips fine"
            if result.rate is None or result.rate_m3_m2 is None:
                return what
            rate = show(result.rate_m3_m2, "rate", units)
            return f"{rate} {plus_minus(result.rate.expanded_relative)}, {what}"
        case MeterResult():
            factor = show(result.factor.value, "pulses_per_volume", units)
            curve = {"constant": "", "offset": ", with an offset", "curve": ", along a curve"}
            return f"{factor} {plus_minus(result.rate_share_95)}{curve[result.model]}"
        case GaugeResult():
            zero = signed(result.zero_error_pa, "pressure", units)
            return f"zero {zero}, span {100 * result.gain_error:+.1f} %"
        case BaselineResult():
            flow = show(result.flow.value, "flow", units)
            at = show(result.centre_pa, "pressure", units)
            return f"{flow} at {at} {plus_minus(result.flow.expanded_relative)}"
        case CappedResult():
            low, high = result.blocked.interval
            return (
                f"sees {result.blocked.value:.2f} of a tip ({low:.2f} to {high:.2f}), answer "
                f"{result.share:.2f} +-{result.answer.expanded:.2f}"
            )


def plus_minus(share: float) -> str:
    """A 95 % interval as a share: "+-1.2 %"."""
    return f"+-{percent(share, 2 if share < 0.005 else 1)}"


def signed(value_si: float, kind: Kind, units: Units, decimals: int | None = None) -> str:
    """A difference with its sign, in the usual unit."""
    unit = display_unit(kind, units)
    number = number_in(value_si, kind, unit)
    places = decimals if decimals is not None else (1 if abs(number) >= 1 else 2)
    return f"{number:+.{places}f} {unit}"


def day(wall_us: int) -> str:
    """The date in local time, or that the clock was not set."""
    if wall_us < EARLIEST_US:
        return "clock not set"
    moment = datetime.fromtimestamp(wall_us / 1e6, tz=UTC).astimezone()
    return moment.strftime("%Y-%m-%d %H:%M")


def line_of(one: StoredCalibration, units: Units) -> str:
    """`course number 3 (3.05 mph +-1.2 %, 2026-05-04 07:12, by Ann)`."""
    try:
        says = gist(result_of(one.row), units)
    except CalibrationError as fault:
        says = f"unreadable: {fault}"
    made = f"{day(one.row.made_wall_us)}, by {one.row.made_by}"
    return f"{one.row.kind} number {one.id} ({says}; {made})"


def in_one_line(in_use: InUse, units: Units) -> str:
    """All that is in use, and what comes from the rig file."""
    if not in_use.used:
        return "the rig file's values: nothing was calibrated"
    said = "; ".join(line_of(one, units) for one in in_use.used)
    missing = sorted({"course", "meter", "gauge"} - {one.row.kind for one in in_use.used})
    rest = f"; {', '.join(missing)}: as the rig file says" if missing else ""
    return said + rest

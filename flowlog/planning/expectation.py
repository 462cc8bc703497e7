"""What follows from a rig before a drop is sprayed: flows, pressure, signals, and what won't fit.

Formulas: broadcast spraying (effective width = spacing x tips), the square-root law of a tip,
and its density correction; all from `flowlog.physics`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from flowlog.physics.carrier import conversion_factor, water_rate_for
from flowlog.physics.meter import pulses_per_m3_at_flow
from flowlog.physics.rates import (
    application_rate_m3_m2,
    area_per_tank_m2,
    course_length_m,
    course_seconds,
    outer_tip_distance_m,
    speed_for_rate_m_s,
    time_per_tank_s,
)
from flowlog.physics.tips import pressure_for_flow_pa, tip_flow_m3_s
from flowlog.rig.model import Meter, Rig

COURSE_AREA_M2: Final = {"us": 1000 * 0.3048**2, "metric": 100.0}
"""The area that a course covers: 1000 ft2, or 100 m2."""


@dataclass(frozen=True, slots=True)
class Expectation:
    """SI throughout; a share is a fraction."""

    effective_width_m: float
    outer_tip_distance_m: float
    """Between the outer tips: what a tape reads, and not the width that counts."""
    course_area_m2: float
    course_length_m: float
    course_s: float
    """Time over the course at the calibrated speed."""

    boom_flow_m3_s: float
    tip_flow_m3_s: float
    """Of the carrier, at the asked rate and the calibrated speed."""
    catch_m3: float
    """Clean water from one tip in the course's time, at the expected pressure."""
    water_rate_m3_m2: float
    """The rate to calibrate to with water, so that the carrier comes out at the asked rate."""

    pressure_pa: float
    """At the tips, for the asked rate."""
    outside_band_share: float
    """0 inside the tip's band; else the pressure over the nearer end, minus 1 (negative below)."""
    rate_at_low_m3_m2: float
    rate_at_high_m3_m2: float
    """At each end of the tip's band, at the calibrated speed."""
    speed_at_low_m_s: float
    speed_at_high_m_s: float
    """The speeds that give the asked rate at each end of the band."""
    flow_at_low_m3_s: float
    flow_at_high_m3_s: float

    pulses_hz: float
    highest_pulses_hz: float
    """At the top of the tip's band or of the meter's range, whichever is more."""
    meter_fits: bool
    """Whether the expected flow is inside the meter's range."""
    wheel_hz: float | None

    zero_code: float
    pressure_code: float
    span_code: float
    pa_per_code: float
    """ADC codes without pressure, at the expected pressure and at the span; size of one code."""

    tank_s: float | None
    tank_area_m2: float | None
    """How long and how far a full tank goes at the expected flow."""
    tank_low_s: float | None
    """Until it is low."""

    blocked_tip_share: float
    """Change of the boom's conductance when one tip gives nothing: -1/tips."""


def expect(rig: Rig) -> Expectation:
    """Work out what this rig should do when all is well."""
    boom, work, gauge = rig.boom, rig.work, rig.gauge
    width = boom.effective_width_m
    area = COURSE_AREA_M2[rig.units]
    length = course_length_m(area, width)
    seconds = course_seconds(length, work.speed_m_s)
    flow = rig.expected_flow_m3_s
    tip_flow = flow / boom.tips
    thinning = conversion_factor(work.carrier_relative_density)
    pressure = pressure_for_flow_pa(boom.tip.coefficient / thinning, tip_flow)
    at_low, at_high = (
        boom.tips * tip_flow_m3_s(boom.tip.coefficient / thinning, end)
        for end in (boom.pressure_low_pa, boom.pressure_high_pa)
    )
    codes = 1 << gauge.adc_bits
    code_range = (gauge.span_share - gauge.zero_share) * codes
    most = max(rig.meter.highest_m3_s, at_high)
    tank = rig.tank
    return Expectation(
        effective_width_m=width,
        outer_tip_distance_m=outer_tip_distance_m(boom.spacing_m, float(boom.tips)),
        course_area_m2=area,
        course_length_m=length,
        course_s=seconds,
        boom_flow_m3_s=flow,
        tip_flow_m3_s=tip_flow,
        catch_m3=tip_flow * thinning * seconds,
        water_rate_m3_m2=water_rate_for(work.rate_m3_m2, work.carrier_relative_density),
        pressure_pa=pressure,
        outside_band_share=_outside(pressure, boom.pressure_low_pa, boom.pressure_high_pa),
        rate_at_low_m3_m2=application_rate_m3_m2(at_low, work.speed_m_s, width),
        rate_at_high_m3_m2=application_rate_m3_m2(at_high, work.speed_m_s, width),
        speed_at_low_m_s=speed_for_rate_m_s(work.rate_m3_m2, at_low, width),
        speed_at_high_m_s=speed_for_rate_m_s(work.rate_m3_m2, at_high, width),
        flow_at_low_m3_s=at_low,
        flow_at_high_m3_s=at_high,
        pulses_hz=flow * pulses_per_m3_at(rig.meter, flow),
        highest_pulses_hz=most * pulses_per_m3_at(rig.meter, most),
        meter_fits=rig.meter.lowest_m3_s <= flow <= rig.meter.highest_m3_s,
        wheel_hz=None if rig.wheel is None else rig.wheel.pulses_per_m * work.speed_m_s,
        zero_code=gauge.zero_share * codes,
        pressure_code=gauge.zero_share * codes + code_range * pressure / gauge.span_pa,
        span_code=gauge.span_share * codes,
        pa_per_code=gauge.span_pa / code_range,
        tank_s=None if tank is None else time_per_tank_s(tank.volume_m3, flow),
        tank_area_m2=None if tank is None else area_per_tank_m2(tank.volume_m3, work.rate_m3_m2),
        tank_low_s=None if tank is None else time_per_tank_s(tank.volume_m3 - tank.low_m3, flow),
        blocked_tip_share=-1.0 / boom.tips,
    )


def pulses_per_m3_at(meter: Meter, flow_m3_s: float) -> float:
    """The meter's factor at a flow: along its curve, held at the ends, or its constant."""
    if not meter.curve:
        return meter.pulses_per_m3
    return pulses_per_m3_at_flow(meter.curve, flow_m3_s)


def _outside(value: float, low: float, high: float) -> float:
    if value < low:
        return value / low - 1.0
    return value / high - 1.0 if value > high else 0.0

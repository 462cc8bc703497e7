"""What about a rig deserves a second look, in plain sentences. Nothing here forbids anything."""

from __future__ import annotations

import functools
from typing import Final

from flowlog.physics.tips import flow_share_of_gauge_error
from flowlog.planning.expectation import Expectation
from flowlog.rig.model import Rig
from flowlog.units import Kind, show

_WATER_WILL_DO: Final = (0.907, 1.108)
"""Relative densities between which a water calibration is within 5 % (ASTM E549's allowance)."""
_SIGNAL_FAULT_SHARES: Final = (0.04, 0.96)
"""A ratiometric sensor's signal outside these shares of the supply is a broken wire or sensor
(data sheets of the class)."""
_SMALLEST_CLEAR_SHARE: Final = 0.025
"""Changes of the conductance below this are hard to tell from the sensors' own wander:
three times its repeatability of 0.75 % (meter and gauge 0.5 % each, exponent 0.5 on the gauge,
added in squares with 0.5 % for counting; the parts are common practice, no source)."""
_SLOWEST_PULSES_HZ: Final = 5.0
_COARSEST_FLOW_SHARE: Final = 0.01
"""Common practice, no source: below, a second holds too few pulses or codes to judge by."""


def warnings_for(rig: Rig, expected: Expectation) -> list[str]:
    """Plain sentences, the weightiest first; an empty list when all fits."""
    return [
        *_pressure(rig, expected),
        *_meter(rig, expected),
        *_gauge(rig, expected),
        *_carrier(rig, expected),
        *_detection(rig, expected),
    ]


def _pressure(rig: Rig, expected: Expectation) -> list[str]:
    say = functools.partial(_say, rig)
    boom, found = rig.boom, []
    band = f"{say(boom.pressure_low_pa, 'pressure')} to {say(boom.pressure_high_pa, 'pressure')}"
    asked = (
        f"{say(rig.work.rate_m3_m2, 'rate')} at {say(rig.work.speed_m_s, 'speed')} "
        f"needs {say(expected.pressure_pa, 'pressure')}, "
    )
    size = _percent(abs(expected.outside_band_share))
    if expected.outside_band_share > 0:
        found.append(
            f"{asked}{size} above the tip's range ({band}). Go slower (at most "
            f"{say(expected.speed_at_high_m_s, 'speed')}) or fit larger tips."
        )
    elif expected.outside_band_share < 0:
        found.append(
            f"{asked}{size} below the tip's range ({band}). Go faster (at least "
            f"{say(expected.speed_at_low_m_s, 'speed')}) or fit smaller tips."
        )
    if not boom.pressure_low_pa <= boom.tip.at_pressure_pa <= boom.pressure_high_pa:
        found.append(
            f"The tip's flow is given at {say(boom.tip.at_pressure_pa, 'pressure')}, outside its "
            f"own range ({band}). Check boom.tip and boom.pressure."
        )
    return found


def _meter(rig: Rig, expected: Expectation) -> list[str]:
    say = functools.partial(_say, rig)
    meter, found = rig.meter, []
    limits = f"{say(meter.lowest_m3_s, 'flow')} to {say(meter.highest_m3_s, 'flow')}"
    if not expected.meter_fits:
        side = "below" if expected.boom_flow_m3_s < meter.lowest_m3_s else "above"
        found.append(
            f"The expected boom flow, {say(expected.boom_flow_m3_s, 'flow')}, is {side} the "
            f"meter's range ({limits}): the logged flow and rate will be wrong. "
            f"Fit a meter for this flow."
        )
    elif expected.flow_at_high_m3_s > meter.highest_m3_s:
        found.append(
            f"At the top of the tip's range the boom takes "
            f"{say(expected.flow_at_high_m3_s, 'flow')}, above the meter's range ({limits})."
        )
    if expected.pulses_hz < _SLOWEST_PULSES_HZ:
        found.append(
            f"The meter gives only {expected.pulses_hz:.1f} pulses a second at the expected flow: "
            "alerts will come late. Check meter.pulses, or fit a meter with more pulses."
        )
    if meter.curve and not meter.curve[0][0] <= expected.boom_flow_m3_s <= meter.curve[-1][0]:
        found.append(
            f"The expected boom flow, {say(expected.boom_flow_m3_s, 'flow')}, lies outside the "
            "meter's curve: its end value is used. Add a point at this flow."
        )
    return found


def _gauge(rig: Rig, expected: Expectation) -> list[str]:
    say = functools.partial(_say, rig)
    gauge, found = rig.gauge, []
    highest = max(expected.pressure_pa, rig.boom.pressure_high_pa)
    if highest > gauge.span_pa:
        found.append(
            f"The gauge ends at {say(gauge.span_pa, 'pressure')}, below a pressure that this rig "
            f"may see ({say(highest, 'pressure')}). Fit a gauge with a larger span."
        )
    code_share = float(flow_share_of_gauge_error(expected.pressure_pa, expected.pa_per_code))
    if code_share > _COARSEST_FLOW_SHARE:
        found.append(
            f"One step of the ADC is {say(expected.pa_per_code, 'pressure')}, worth "
            f"{_percent(code_share, 1)} of the flow: too coarse for small blockages. "
            "Fit a gauge with a smaller span, or a board with more bits."
        )
    low, high = _SIGNAL_FAULT_SHARES
    if gauge.zero_share < low or gauge.span_share > high:
        found.append(
            f"The gauge's signal runs from {_percent(gauge.zero_share)} to "
            f"{_percent(gauge.span_share)} of the supply; below {_percent(low)} or above "
            f"{_percent(high)} it cannot be told from a broken wire."
        )
    if gauge.place == "before strainer":
        found.append(
            "The gauge sits before the strainer: a plugging strainer will look like blocked "
            "tips. Behind the strainer the two can be told apart."
        )
    return found


def _carrier(rig: Rig, expected: Expectation) -> list[str]:
    density = rig.work.carrier_relative_density
    low, high = _WATER_WILL_DO
    if low <= density <= high:
        return []
    return [
        f"The carrier's relative density is {density:.2f}: with water, calibrate to "
        f"{_say(rig, expected.water_rate_m3_m2, 'rate')}, so that the carrier comes out at "
        f"{_say(rig, rig.work.rate_m3_m2, 'rate')}."
    ]


def _detection(rig: Rig, expected: Expectation) -> list[str]:
    part = -expected.blocked_tip_share * rig.thresholds.tip_share
    if part >= _SMALLEST_CLEAR_SHARE:
        return []
    return [
        f"With {rig.boom.tips} tips, {_percent(rig.thresholds.tip_share)} of one tip is only "
        f"{_percent(part, 1)} of the boom: such a blockage will be told late or not at all. "
        "Raise thresholds.tip, or look at the tips more often."
    ]


def _percent(share: float, decimals: int = 0) -> str:
    return show(share, "share", decimals=decimals)


def _say(rig: Rig, value: float, kind: Kind) -> str:
    return show(value, kind, rig.units)

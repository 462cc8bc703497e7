"""From what truly flows to what the board's pins see."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flowlog.simulator.conditions import profile
from flowlog.simulator.noise import autoregressive, first_order, generator
from flowlog.simulator.plan import Scenario
from flowlog.simulator.plant import Truth

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

VANES = 6
"""Pulses a revolution of the meter's rotor."""


@dataclass(frozen=True, slots=True, eq=False)
class Pulses:
    """A pulse input over time, arrays of shape (n,), one element a sample."""

    count: Ints
    """Pulses since the scenario's start, at the end of the interval."""
    edge_s: Floats
    """Time of the last pulse, seconds since the start; -1 before the first."""


def _bubbles(scenario: Scenario, n: int, step_s: float) -> Floats:
    """Relative error of the meter by single bubbles, shape (n,)."""
    error = np.zeros(n)
    rng = generator(scenario.seed, "bubbles")
    for _ in range(rng.poisson(scenario.noise.bubbles_per_h * n * step_s / 3600.0)):
        first = int(rng.integers(0, n))
        length = max(1, round(rng.uniform(0.3, 1.2) / step_s))
        error[first : first + length] += rng.uniform(0.05, 0.30) * rng.choice((-1.0, 1.0))
    return error


def _roughness(scenario: Scenario, truth: Truth) -> Floats | float:
    """Factor on the swirl: rough ground shakes the hoses in some passes, or from now on."""
    noise = scenario.noise
    factor: Floats | float = 1.0
    if noise.rough_pass_share:
        begins = np.diff(truth.spraying, prepend=False) & truth.spraying
        number = np.cumsum(begins)
        rough = generator(scenario.seed, "rough passes").random(int(number[-1]) + 1)
        factor = np.where(rough[number] < noise.rough_pass_share, noise.rough_pass_factor, 1.0)
    for fault in scenario.of("rough flow"):
        part = profile(fault, truth.t_s - 0.5 * truth.step_s)
        factor = factor * (1.0 + (fault.full_size - 1.0) * part)
    return factor


def _pulses_per_m3(scenario: Scenario, flow_m3_s: Floats) -> Floats:
    meter = scenario.rig.meter
    if meter.curve:
        at, factor = zip(*meter.curve, strict=True)
        believed = np.interp(flow_m3_s, at, factor)
    else:
        believed = np.full(len(flow_m3_s), meter.pulses_per_m3)
    return np.asarray(believed * (1.0 + scenario.meter.error_share), dtype=np.float64)


def count_edges(turned: Floats, rate: Floats, t_s: Floats, step_s: float, vanes: Floats) -> Pulses:
    """Whole pulses and the time of the last one, from how far the rotor has turned.

    Args:
        turned: Rotor position in pulse pitches at the end of each interval, never falling.
        rate: Its mean speed in each interval, pitches a second.
        t_s: End of each interval.
        step_s: Length of an interval.
        vanes: Error of each vane's place in pitches; vane j passes at j + error.

    Speed is constant within an interval, so an edge's time follows exactly from its place.
    """
    whole = np.floor(turned).astype(np.int64)
    ahead = whole + 1 + vanes[(whole + 1) % len(vanes)] <= turned
    behind = whole + vanes[whole % len(vanes)] > turned
    count = np.maximum(np.where(ahead, whole + 1, np.where(behind, whole - 1, whole)), 0)
    previous = np.concatenate(([0], count[:-1]))
    fresh = count > previous
    place = count + vanes[count % len(vanes)]
    back_s = np.where(fresh, (turned - place) / np.maximum(rate, 1e-9), 0.0)
    edge = t_s - np.clip(back_s, 0.0, step_s)
    latest = np.maximum.accumulate(np.where(fresh, np.arange(len(count)), -1))
    return Pulses(count, np.where(latest >= 0, edge[np.maximum(latest, 0)], -1.0))


def meter_pulses(scenario: Scenario, truth: Truth) -> Pulses:
    """What the flow sensor's wire carries."""
    noise, plan, step_s = scenario.noise, scenario.meter, truth.step_s
    n = len(truth.t_s)
    seed = scenario.seed
    swirl = autoregressive(
        generator(seed, "swirl"), n, noise.swirl_share, noise.swirl_tau_s, step_s
    )
    error = np.exp(swirl * _roughness(scenario, truth))
    if noise.bubbles_per_h:
        error *= 1.0 + _bubbles(scenario, n, step_s)
    seen = truth.flow_m3_s * error
    if np.any(truth.air_share):
        # The rotor counts gas as well as liquid, and unevenly; it races, but not without end.
        gulps = autoregressive(generator(seed, "gulps"), n, 0.5, 0.3, step_s)
        gas = np.minimum(1.0 / np.maximum(1.0 - truth.air_share, 1e-3), 1.6)
        seen = seen * gas * np.maximum(1.0 + truth.air_share * gulps, 0.0)
    lag_s = plan.lag_s
    if lag_s is None:
        lag_s = float(generator(seed, "lag").uniform(0.15, 0.25))
    turning = first_order(seen, lag_s, step_s, 0.0)
    rate = _pulses_per_m3(scenario, turning) * np.maximum(turning - plan.drag_m3_s, 0.0)
    if noise.count_share:
        white = generator(seed, "count").standard_normal(n)
        rate *= np.maximum(1.0 + noise.count_share * white, 0.0)
    for fault in scenario.of("meter stuck", "meter open", "meter double"):
        part = profile(fault, truth.t_s - 0.5 * step_s)
        if fault.kind == "meter double":
            rate *= 1.0 + fault.full_size * part
        elif fault.kind == "meter stuck":
            rate *= np.maximum(1.0 - fault.full_size * part, 0.0)
        else:
            rate *= part == 0.0
    # A rotor below a pulse in twenty seconds stands still: bearings are not frictionless.
    rate = np.where(rate < 0.05, 0.0, rate)
    vanes = noise.vane_share * generator(seed, "vanes").standard_normal(VANES)
    vanes = np.clip(vanes, -0.2, 0.2)
    return count_edges(np.cumsum(rate) * step_s, rate, truth.t_s, step_s, vanes)


def wheel_pulses(scenario: Scenario, truth: Truth) -> Pulses:
    """What the ground-speed sensor's wire carries, if the rig has one."""
    wheel = scenario.rig.wheel
    per_m = wheel.pulses_per_m if wheel is not None else 0.0
    rate = truth.speed_m_s * per_m
    turned = np.cumsum(rate) * truth.step_s
    return count_edges(turned, rate, truth.t_s, truth.step_s, np.zeros(1))


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """The ADC's readings of each interval in four integers, arrays of shape (n,)."""

    total: Ints
    number: Ints
    lowest: Ints
    highest: Ints


def _ripple(scenario: Scenario, truth: Truth, codes_per_pa: float) -> tuple[Floats, Floats]:
    """Mean and peak of the pump's ripple over each interval, in ADC codes."""
    noise, n, step_s = scenario.noise, len(truth.t_s), truth.step_s
    rng = generator(scenario.seed, "ripple")
    share, base_hz = rng.uniform(*noise.ripple_share), rng.uniform(*noise.ripple_hz)
    if share == 0.0:
        return np.zeros(n), np.zeros(n)
    hertz = base_hz * (1.0 + autoregressive(rng, n, 0.02, 5.0, step_s))
    turns = np.cumsum(hertz) * step_s
    amplitude = share * truth.gauge_pa * truth.spraying * codes_per_pa
    mean = amplitude * np.sinc(hertz * step_s) * np.sin(2 * np.pi * (turns - 0.5 * hertz * step_s))
    return mean, amplitude * min(1.0, 2.0 * base_hz * step_s)


def gauge_readings(scenario: Scenario, truth: Truth) -> Readings:
    """What the ADC reads of the pressure transducer between two samples.

    A code is floor(share of full scale * 2^bits). The readings of one interval are not drawn one
    by one: their sum, smallest and largest are drawn from the distributions that the single
    readings would give, and made consistent (number * lowest <= total <= number * highest).
    """
    gauge, plan, board, noise = scenario.rig.gauge, scenario.gauge, scenario.board, scenario.noise
    n, step_s, seed = len(truth.t_s), truth.step_s, scenario.seed
    full = 1 << board.adc_bits
    per_pa = (gauge.span_share - gauge.zero_share) / gauge.span_pa * full
    span_codes = per_pa * gauge.span_pa
    middle_s = truth.t_s - 0.5 * step_s

    zero = gauge.zero_share * full + plan.offset_share * span_codes
    exact: Floats = zero + truth.gauge_pa * (per_pa * (1.0 + plan.span_error_share))
    for fault in scenario.of("gauge drift"):
        exact = exact + fault.full_size * span_codes * profile(fault, middle_s)
    ripple, peak = _ripple(scenario, truth, per_pa)
    before = np.concatenate((exact[:1], exact[:-1]))
    mean = exact + ripple
    for fault in scenario.of("gauge stuck"):
        held = profile(fault, middle_s) > 0
        if np.any(held):
            mean = np.where(held, mean[max(int(np.argmax(held)) - 1, 0)], mean)
            peak = np.where(held, 0.0, peak)
            before = np.where(held, mean, before)

    number = np.full(n, board.readings_per_sample, dtype=np.int64)
    rng = generator(seed, "adc")
    sigma = noise.adc_lsb
    if sigma == 0.0 and not np.any(peak):
        code = np.floor(mean).astype(np.int64)
        total, lowest, highest = code * number, code, code.copy()
    else:
        # Flooring takes half a code off the mean and adds a twelfth to the variance.
        count = float(board.readings_per_sample)
        each = (sigma**2 + 1.0 / 12.0) ** 0.5
        total = np.rint(count * (mean - 0.5) + each * count**0.5 * rng.standard_normal(n)).astype(
            np.int64
        )
        # Extremes of 100 normal values lie 2.5 sigma out, give or take 0.43.
        reach = (2.0 * np.log(max(count, 2.0))) ** 0.5 * 0.83
        out = sigma * np.maximum(reach + 0.43 * rng.standard_normal((2, n)), 0.5)
        low_end, high_end = np.minimum(before, exact), np.maximum(before, exact)
        lowest = np.floor(np.minimum(low_end, mean) - peak - out[0]).astype(np.int64)
        highest = np.floor(np.maximum(high_end, mean) + peak + out[1]).astype(np.int64)
    for fault in scenario.of("gauge open", "gauge short"):
        broken = profile(fault, middle_s) > 0
        rail = full - 1 if fault.kind == "gauge short" else 0
        total = np.where(broken, rail * number, total)
        lowest, highest = np.where(broken, rail, lowest), np.where(broken, rail, highest)
    total = np.clip(total, 0, (full - 1) * number)
    lowest = np.minimum(np.clip(lowest, 0, full - 1), total // number)
    highest = np.maximum(np.clip(highest, 0, full - 1), -(-total // number))
    return Readings(total, number, lowest, highest)

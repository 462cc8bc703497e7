"""A simulated plant on the pins of an emulated board: pulses, volts and valve over time.

The simulator's own board is left out: what it would have counted and summed, the firmware does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from support.emulated_board import EmulatedBoard, pin

from flowlog.simulator.plan import Scenario
from flowlog.simulator.plant import Truth, run_plant
from flowlog.simulator.sensors import gauge_readings, meter_pulses

Floats = NDArray[np.float64]
SUPPLY_V = 5.0
RIPPLE_HZ = 20.0
STEPS = 20
"""Voltages within a sample."""


@dataclass(frozen=True)
class Driven:
    """What the pins carry."""

    truth: Truth
    falls_s: Floats
    low_s: Floats


def pulse_times(scenario: Scenario, truth: Truth) -> Floats:
    """Time of each pulse of the meter: evenly between the last pulses of the samples."""
    meter = meter_pulses(scenario, truth)
    fresh = np.diff(meter.count, prepend=0) > 0
    counts, edges = meter.count[fresh], meter.edge_s[fresh]
    begin = truth.t_s[int(np.argmax(fresh))] - truth.step_s
    numbers = np.arange(1, int(counts[-1]) + 1)
    return np.interp(numbers, np.append(0, counts), np.append(begin, edges))


def gauge_volts(scenario: Scenario, truth: Truth) -> tuple[Floats, Floats]:
    """Times and voltages of the gauge: the samples' means, with a ripple between their extremes."""
    gauge = gauge_readings(scenario, truth)
    full = 1 << scenario.board.adc_bits
    at = np.arange(len(truth.t_s) * STEPS) * (truth.step_s / STEPS)
    middle = truth.t_s - 0.5 * truth.step_s
    mean = np.interp(at, middle, gauge.total / gauge.number + 0.5)
    swing = 0.5 * np.repeat(gauge.highest - gauge.lowest, STEPS)
    code = mean + swing * np.sin(2 * np.pi * RIPPLE_HZ * at)
    return at, np.clip(code, 0.0, full - 1) / full * SUPPLY_V


def put_on_pins(
    board: EmulatedBoard, scenario: Scenario, stuck_s: tuple[float, float] | None = None
) -> Driven:
    """Drive a whole scenario. During `stuck_s` the meter's wire lies on ground."""
    truth = run_plant(scenario)
    falls = pulse_times(scenario, truth)
    low = np.clip(np.diff(falls, append=falls[-1] + 0.01) / 2, 0.3e-3, 5e-3)
    if stuck_s is not None:
        free = (falls + low < stuck_s[0]) | (falls > stuck_s[1] + 1e-3)
        falls, low = falls[free], low[free]
        board.level(pin("METER"), stuck_s[0], 0)
        board.level(pin("METER"), stuck_s[1], 1)
    board.pulses(pin("METER"), falls, low)
    board.volts(0, *gauge_volts(scenario, truth))
    changed = np.flatnonzero(np.diff(truth.spraying.astype(int), prepend=0))
    board.level(pin("VALVE"), truth.t_s[changed] - truth.step_s, truth.spraying[changed])
    return Driven(truth, falls, low)

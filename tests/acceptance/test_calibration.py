"""A rig with hidden errors is calibrated by a script: the true values lie where it says, the worn
tip is named, and what the daemon's pipeline measures afterwards agrees with the plant.

Also in a real terminal: tests/cli/test_calibrate.py.
"""

from __future__ import annotations

import concurrent.futures
import dataclasses
import os
from collections import Counter

import pytest
from support.scripted_calibration import (
    METER_ERROR,
    SPAN_ERROR,
    WORN_TIP,
    ZERO_PSI,
    Calibrated,
    calibrate,
    scenario,
)

from flowlog.monitor.pipeline import Monitor
from flowlog.simulator.plan import passes
from flowlog.simulator.run import simulate
from flowlog.simulator.supply import PSI

SEEDS = 100
WANTED = 93


def true_values_inside(c: Calibrated) -> dict[str, bool]:
    """For each value, whether its 95 % interval holds the truth."""
    # An ADC gives the whole code below the voltage: on the mean the rig shows half a code less.
    half_code_pa = 0.5 / 1024 * c.rig.gauge.span_pa / (
        c.rig.gauge.span_share - c.rig.gauge.zero_share
    )  # fmt: skip
    worn = c.catch.tips[WORN_TIP - 1]
    flow, u = worn.flow_m3_s, worn.u_m3_s
    assert flow is not None
    assert u is not None
    jug = c.catch.errors.jug_share / 3**0.5 * flow
    return {
        "speed": c.course.speed.covers(c.true_speed_m_s),
        "meter": c.meter.factor.covers(c.true_pulses_per_m3),
        "gauge zero": c.gauge.zero.covers(ZERO_PSI * PSI - half_code_pa),
        "gauge span": c.gauge.gain.covers(1.0 + SPAN_ERROR),
        "boom flow": c.catch.total.covers(sum(c.true_tips_m3_s)),
        "worn tip": abs(flow - c.true_tips_m3_s[WORN_TIP - 1]) <= 2.0 * (u**2 + jug**2) ** 0.5,
    }


def volume_error(c: Calibrated, seed: int) -> float:
    """What the pipeline makes of a route, over what truly flowed, less one."""
    run = simulate(scenario(c.rig, seed + 9000, passes(4, 60.0, 15.0)))
    monitor = Monitor(c.applied, c.healthy)
    outputs = [monitor.feed(item) for item in run.items] + [monitor.finish()]
    volume = sum(reading.volume_m3 for out in outputs for reading in out.readings)
    return volume / run.truth.total_volume_m3 - 1.0


def one_seed(seed: int) -> tuple[dict[str, bool], bool, float]:
    c = calibrate(seed)
    named = [tip.tip for tip in c.catch.tips if tip.verdict == "replace"]
    return true_values_inside(c), named == [WORN_TIP], volume_error(c, seed)


@pytest.mark.slow
def test_true_values_lie_in_their_intervals_the_worn_tip_is_named_and_volumes_are_right() -> None:
    workers = min(4, len(os.sched_getaffinity(0)))
    with concurrent.futures.ProcessPoolExecutor(workers) as pool:
        found = list(pool.map(one_seed, range(SEEDS), chunksize=5))
    inside: Counter[str] = Counter()
    for values, _, _ in found:
        inside.update(name for name, covered in values.items() if covered)
    errors = [error for _, _, error in found]
    print("inside of 100:", dict(inside), "largest volume error:", max(map(abs, errors)))
    for name in found[0][0]:
        assert inside[name] >= WANTED, dict(inside)
    assert all(named for _, named, _ in found)
    assert max(map(abs, errors)) <= 0.01


def test_without_the_calibration_the_volume_would_be_as_wrong_as_the_meter() -> None:
    c = calibrate(1)
    as_the_file_says = dataclasses.replace(
        c, meter=dataclasses.replace(
            c.meter, pulses_per_m3=c.rig.meter.pulses_per_m3, curve=()
        ),
    )  # fmt: skip
    assert volume_error(as_the_file_says, 1) == pytest.approx(METER_ERROR, abs=0.01)

"""The baseline's own law, from a water run of a simulated rig to the monitor."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from support.scripted_calibration import ItemFeed

from flowlog.calibrating.ask_baseline import baseline_of
from flowlog.calibrating.inuse import healthy_boom
from flowlog.calibrating.measure import water_run
from flowlog.calibration.baseline import BaselineResult
from flowlog.monitor.pipeline import Monitor
from flowlog.rig.model import HealthyBoom
from flowlog.simulator.plan import Fault, GaugePlan, Leg, Scenario
from flowlog.simulator.run import plain_rig, scenario_for, simulate

RIG = plain_rig(8)
OFFSET = 0.04
"""Of the gauge's zero, 4 psi: what it makes of the square root looks like a power of 0.55."""


def plan(legs: tuple[Leg, ...], *faults: Fault, seed: int) -> Scenario:
    made = scenario_for(RIG, legs=legs, faults=faults, seed=seed)
    return replace(made, gauge=GaugePlan(offset_share=OFFSET))


@pytest.fixture(scope="module")
def result() -> BaselineResult:
    low = Fault("regulator", 0.0, -0.35, until_s=80.0)
    high = Fault("regulator", 155.0, 0.3)
    sim = simulate(plan((Leg(4.0, False), Leg(232.0, True)), low, high, seed=5))
    feed = ItemFeed(sim.items)
    run = water_run(feed, RIG, "us", lambda _: None, lambda: False, lambda _: "")
    found = baseline_of(run)
    assert isinstance(found, BaselineResult)
    return found


def shares(healthy: HealthyBoom) -> tuple[set[str], list[float]]:
    """Codes, and what the boom passes of the healthy at three pressures a fifth apart."""
    up = Fault("regulator", 300.0, 0.2, until_s=600.0)
    down = Fault("regulator", 600.0, -0.2)
    sim = simulate(plan((Leg(5.0, False), Leg(900.0, True)), up, down, seed=9))
    monitor = Monitor(RIG, healthy)
    outs = [*(monitor.feed(item) for item in sim.items), monitor.finish()]
    values = np.array([r.conductance_share or np.nan for out in outs for r in out.readings])
    codes = {event.code for out in outs for event in out.events}
    parts = ((60, 295), (310, 595), (610, 895))
    return codes, [float(np.nanmean(values[a:b])) for a, b in parts]


def test_the_monitor_gets_the_fitted_law(result):
    assert result.exponent_was == "fitted"
    assert result.exponent == pytest.approx(0.55, abs=0.02)
    healthy = healthy_boom(result, RIG)
    assert healthy.exponent == result.exponent
    assert healthy.settle_s == result.settle_s
    assert healthy.settle_s is not None
    for share in (0.8, 1.0, 1.3):
        pressure = share * healthy.pressure_pa
        root = pressure**healthy.exponent * healthy.pressure_pa ** (0.5 - healthy.exponent)
        flow = math.exp(healthy.log_conductance) * root
        assert flow == pytest.approx(result.flow_at(pressure), rel=1e-9)


def test_a_regulator_that_is_turned_by_a_fifth_moves_nothing_by_the_fitted_law(result):
    codes, found = shares(healthy_boom(result, RIG))
    assert not {"tip_blocked", "boom_leak", "mix_changed", "meter_low"} & codes
    # Three times what the exponent (known to 0.006), the noise of means over five minutes and a
    # zero error that is no power after all leave together.
    assert np.ptp(found) < 0.01
    _, by_root = shares(replace(healthy_boom(result, RIG), exponent=0.5))
    assert np.ptp(by_root) > 0.012


def test_a_mix_that_is_denser_than_the_baselines_water_is_known_worse_only_by_another_law(result):
    """density^-0.5 or density^(n - 1): 1.3 % apart here, a rectangle of that width."""
    dense = replace(RIG, work=replace(RIG.work, carrier_relative_density=1.3))
    water, mix = healthy_boom(result, RIG).u, healthy_boom(result, dense).u
    off = (result.exponent - 0.5) * math.log(1.3) / math.sqrt(3.0)
    away = abs(math.log(healthy_boom(result, dense).pressure_pa / result.centre_pa))
    assert mix == pytest.approx(
        math.hypot(result.flow.relative, result.exponent_u * away, off), rel=1e-6
    )
    assert mix > water
    fixed = replace(result, exponent=0.5, exponent_was="fixed")
    assert healthy_boom(fixed, dense).u == result.flow.relative

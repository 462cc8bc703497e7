"""A boom whose flow goes with another power of its pressure than a half, calibrated so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.stream_maker import HELLO, PSI, make_rig, make_samples

from flowlog.monitor.outputs import Output
from flowlog.monitor.pipeline import Monitor
from flowlog.rig.model import HealthyBoom, Rig

AT = 40 * PSI
BOOM = {"tip_blocked", "boom_leak", "meter_low", "mix_changed", "boom_drift"}


def run(rig: Rig, healthy: HealthyBoom | None, n: float, *, passes=1.0, noise=0.0) -> Output:
    """Three minutes by the law, the pressure a fifth up in the second and down in the third."""

    def pressure(t):
        return AT * np.where(t < 60, 1.0, np.where(t < 120, 1.2, 0.8))

    def flow(t):
        return passes * rig.nominal_conductance * np.sqrt(AT) * (pressure(t) / AT) ** n

    monitor, out = Monitor(rig, healthy), Output()
    samples = make_samples(rig, 180.0, flow, pressure, noise=noise)
    for part in (monitor.feed(HELLO), monitor.feed(samples), monitor.finish()):
        out.readings += part.readings
        out.events += part.events
    return out


def healthy_of(rig: Rig, n: float) -> HealthyBoom:
    """Of water, as the calibration gives it."""
    water = np.log(rig.nominal_conductance * rig.work.carrier_relative_density**0.5)
    return HealthyBoom(float(water), 0.003, n, AT)


def shares(out: Output) -> np.ndarray:
    """Of each pressure, without the seconds around its change."""
    found = np.array([r.conductance_share or np.nan for r in out.readings])
    return np.array([np.nanmean(found[a:b]) for a, b in ((30, 58), (64, 118), (124, 178))])


def codes(out: Output) -> set[str]:
    return {event.code for event in out.events}


@pytest.mark.parametrize("n", [0.46, 0.52, 0.58])
def test_pressure_steps_of_a_fifth_move_nothing_and_raise_nothing(n):
    rig = make_rig(12)
    assert not BOOM & codes(run(rig, healthy_of(rig, n), n, noise=0.01))
    still = run(rig, healthy_of(rig, n), n)
    assert shares(still) == pytest.approx([1.0] * 3, abs=5e-4)


def test_by_the_square_root_the_same_steps_would_move_it():
    """Beside a baseline that learns it in the second minute in three steps: of the mean of 60, then
    80, then 100 s each takes 20 s in, which leaves 1, 3/4 and 3/5 of the step."""
    rig = make_rig(12)
    out = run(rig, replace(healthy_of(rig, 0.58), exponent=0.5), 0.58)
    assert np.log(shares(out)[1]) == pytest.approx(0.08 * np.log(1.2) * 2.35 / 3.0, abs=1e-3)
    assert shares(out)[2] < 0.985


@pytest.mark.parametrize("n", [0.46, 0.58])
@pytest.mark.parametrize("density", [1.0, 1.28])
def test_the_beginning_is_held_against_the_calibration_by_the_law_and_of_this_mix(n, density):
    rig = make_rig(8)
    rig = replace(rig, work=replace(rig.work, carrier_relative_density=density))
    healthy = healthy_of(rig, n)
    assert not BOOM & codes(run(rig, healthy, n))
    blocked = run(rig, healthy, n, passes=7 / 8)
    (alert, *_) = [e for e in blocked.events if e.code == "tip_blocked"]
    assert alert.change == "opened"
    assert alert.size == pytest.approx(1.0, abs=0.1)
    # ln K at 1 Pa is the same law.
    as_k = healthy.log_conductance + (0.5 - n) * np.log(AT)
    same = run(rig, HealthyBoom(float(as_k), 0.003, n), n, passes=7 / 8)
    (other, *_) = [e for e in same.events if e.code == "tip_blocked"]
    assert other.size == pytest.approx(alert.size, abs=1e-6)

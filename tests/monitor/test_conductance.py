"""Learning the healthy level and its noise."""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.wandering import wander

from flowlog.monitor.conductance import (
    ARM_S,
    LEARN_S,
    TRACK_S,
    Baseline,
    Law,
    Residual,
    law_of,
)
from flowlog.monitor.density import NOISE_DENSITY_S
from flowlog.rig.model import HealthyBoom


def test_the_residual_is_the_log_conductance_when_all_is_steady():
    residual = Residual()
    for _ in range(5):
        value = residual.step(0.5, 2e-4, 250e3)
    assert value == pytest.approx(log(2e-4 / 250e3**0.5))


@pytest.mark.parametrize("n", [0.45, 0.5, 0.52, 0.6])
def test_by_its_own_law_the_residual_is_the_conductance_at_the_laws_pressure_whatever_it_is_now(n):
    law, level = Law(n, 250e3), log(2e-4 / 250e3**0.5)
    for pressure in (150e3, 250e3, 400e3):
        residual = Residual(law)
        for _ in range(5):
            value = residual.step(0.5, 2e-4 * (pressure / 250e3) ** n, pressure)
        assert value == pytest.approx(level, abs=1e-9)
        assert law.root(pressure) == pytest.approx((pressure / 250e3) ** n * 250e3**0.5)


def test_the_law_of_a_healthy_boom_without_a_pressure_is_that_of_its_coefficient():
    """Q = K P^n with ln K as its level."""
    residual = Residual(law_of(HealthyBoom(log(3e-7), 0.003, exponent=0.52)))
    assert residual.step(0.5, 3e-7 * 250e3**0.52, 250e3) == pytest.approx(log(3e-7))


@given(st.floats(1e3, 1e6), st.floats(1e-6, 1e-2))
def test_the_square_root_is_the_same_to_the_last_bit_with_and_without_a_law(pressure, flow):
    calibrated = Residual(law_of(HealthyBoom(-17.0, 0.003, pressure_pa=276e3)))
    assert calibrated.step(0.5, flow, pressure) == log(flow / pressure**0.5)


def test_the_pressure_is_delayed_as_the_meter_delays_the_flow():
    """Flow behind a lag of 0.2 s against pressure without one: a step leaves no residual."""
    residual = Residual()
    true = lambda t: np.where(t < 5.0, 200e3, 300e3)  # noqa: E731
    fine = np.arange(0, 10, 1e-3)
    root = np.sqrt(true(fine))
    lagged = np.empty_like(root)
    now = root[0]
    for i, value in enumerate(root):
        now += (value - now) * (1 - np.exp(-1e-3 / 0.2))
        lagged[i] = now
    values = []
    for k in range(20):
        part = slice(500 * k, 500 * (k + 1))
        values.append(residual.step(0.5, 1e-6 * lagged[part].mean(), true(fine[part]).mean()))
    assert np.ptp(values) < 2e-3
    assert np.ptp(np.log(root.reshape(20, 500).mean(axis=1))) > 0.19


@pytest.mark.parametrize(("flow", "pressure"), [(0.0, 250e3), (1e-4, 0.0), (1e-4, -5e3)])
def test_no_flow_or_no_pressure_has_no_conductance(flow, pressure):
    assert Residual().step(0.5, flow, pressure) is None


def learn(baseline: Baseline, values) -> None:
    """Ticks of half a second, the level refined every twenty."""
    for i, value in enumerate(map(float, values)):
        if not baseline.armed:
            baseline.arm(value, 0.5)
            continue
        baseline.gather([value - baseline.level], [0.5])
        if i % 40 == 39:
            baseline.refine()


def test_the_baseline_arms_after_twenty_seconds_and_learns_for_five_minutes():
    baseline = Baseline()
    armed_at = [i for i in range(1, 41) if baseline.arm(1.0, 0.5)]
    assert armed_at == [ARM_S * 2]
    assert LEARN_S == 300.0


def test_the_level_is_a_plain_mean_while_it_is_learnt_and_follows_slowly_afterwards():
    baseline = Baseline()
    learn(baseline, [0.0] * int(2 * TRACK_S))
    learn(baseline, [0.01] * 120)
    assert baseline.level == pytest.approx(0.01 * 60 / TRACK_S, rel=0.03)
    assert baseline.seconds == TRACK_S


def test_what_was_learnt_in_five_minutes_stays_the_anchor_of_a_slow_drift():
    baseline = Baseline()
    learn(baseline, [0.0] * int(2 * LEARN_S - 1))
    assert baseline.anchor is None
    learn(baseline, [0.04] * 4000)
    # It may hold what came in the twenty seconds before it was due.
    assert baseline.anchor == pytest.approx(0.0, abs=0.04 * 20.0 / LEARN_S)
    assert baseline.level > 0.015


def test_a_calibrated_level_is_an_anchor_at_once_and_a_hasty_one_is_not():
    baseline = Baseline()
    baseline.hold(-17.0)
    assert (baseline.level, baseline.seconds, baseline.anchor) == (-17.0, LEARN_S, -17.0)
    baseline.hold(-16.9, ARM_S)
    assert (baseline.level, baseline.seconds, baseline.anchor) == (-16.9, ARM_S, None)


def test_a_burst_while_arming_does_not_shift_the_level():
    baseline = Baseline()
    for i in range(int(ARM_S * 2)):
        baseline.arm(-0.4 if i in (3, 4, 5) else 0.0, 0.5)
    assert baseline.level == 0.0


def test_the_level_is_as_good_as_its_noise_allows():
    """Spread of a mean over 300 s: sqrt(density / 300 s), here 0.115 %."""
    levels = []
    for seed in range(60):
        baseline = Baseline()
        learn(baseline, wander(LEARN_S, seed, NOISE_DENSITY_S))
        levels.append(baseline.level)
    assert np.std(levels) == pytest.approx((NOISE_DENSITY_S / LEARN_S) ** 0.5, rel=0.4)


RUNS = st.lists(
    st.lists(
        st.tuples(
            st.sampled_from([0.5, 0.5, 0.499998, 1.0]),
            st.floats(1e-6, 1e-3),
            st.floats(1e4, 1e6),
        ),
        min_size=1,
        max_size=30,
    ),
    min_size=1,
    max_size=6,
)


@given(RUNS, st.sampled_from([0.5, 0.47, 0.53]))
def test_many_ticks_give_what_each_gives_by_itself(runs, exponent):
    law = Law(exponent, 2e5)
    many, single = Residual(law), Residual(law)
    for i, run in enumerate(runs):
        if i == 2:
            many.restart()
            single.restart()
        values = many.run(*zip(*run, strict=True))
        assert values == [single.step(*tick) for tick in run]

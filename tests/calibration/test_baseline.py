"""The baseline: law, noise, target, line loss, other liquids, and the cutting of a run."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowlog.calibration.baseline import (
    BaselineResult,
    baseline,
    for_carrier,
    learnt_density,
)
from flowlog.calibration.baseline_noise import noise_of
from flowlog.calibration.baseline_steps import openings_of, settle_time_s, steps_of
from flowlog.calibration.faults import CalibrationError

PSI = 6894.757
K = 4.0 * 3.1545e-5 / (40 * PSI) ** 0.5
"""Four tips of 0.5 gal/min at 40 psi."""


def swirl(rng: np.random.Generator, count: int, tick_s: float, density_s: float, tau_s: float):
    """First-order noise of this density at frequency zero."""
    sigma = math.sqrt(density_s / (2.0 * tau_s))
    decay = math.exp(-tick_s / tau_s)
    white = rng.normal(0.0, sigma * math.sqrt(1.0 - decay**2), count)
    state, values = rng.normal(0.0, sigma), np.empty(count)
    for i in range(count):
        state = decay * state + white[i]
        values[i] = state
    return values


def water_run(
    seed: int = 1,
    psis=(25.0, 32.0, 40.0),
    seconds: float = 60.0,
    tick_s: float = 0.5,
    density_s: float = 4e-4,
    exponent: float = 0.5,
    factor: float = 1.0,
):
    """Flow, pressure, step."""
    rng = np.random.default_rng(seed)
    count = round(seconds / tick_s)
    step = np.repeat(np.arange(len(psis)), count)
    pressure = np.repeat(np.array(psis) * PSI, count)
    pressure = pressure * np.exp(swirl(rng, len(step), tick_s, 4e-4, 2.0))
    scale = (32 * PSI) ** (0.5 - exponent)
    flow = factor * K * scale * pressure**exponent
    flow = flow * np.exp(swirl(rng, len(step), tick_s, density_s, 2.0))
    return flow, pressure, step


def fit(seed: int = 1, *, tick_s: float = 0.5, options=None, **about) -> BaselineResult:
    return baseline(*water_run(seed, tick_s=tick_s, **about), tick_s=tick_s, **(options or {}))


def codes(result: BaselineResult) -> list[str]:
    return [one.code for one in result.remarks]


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.floats(0.5, 2.0))
def test_a_run_without_noise_gives_back_the_coefficient(seed: int, factor: float):
    flow, pressure, step = water_run(seed, factor=factor)
    result = baseline(factor * K * pressure**0.5, pressure, step, tick_s=0.5)
    assert result.coefficient == pytest.approx(factor * K, rel=1e-3)
    assert result.exponent == 0.5
    assert result.flow_at(result.centre_pa) == pytest.approx(result.flow.value)
    assert BaselineResult.from_json(result.to_json()) == result
    assert len(flow) == len(step)


def test_three_minutes_of_field_noise_reach_the_target():
    result = fit(2)
    assert result.good_enough
    assert result.seconds == pytest.approx(180.0)
    assert result.seconds_wanted == 0.0
    assert abs(math.log(result.coefficient / K)) < 2.5 * result.flow.relative
    assert "target" not in codes(result)


def test_a_short_run_says_how_much_longer_to_spray():
    result = fit(2, seconds=40.0, density_s=6.4e-3)
    assert not result.good_enough
    assert result.seconds_wanted > 30.0
    assert "target" in codes(result)


def test_an_exponent_near_the_half_is_taken_as_the_half():
    result = fit(3)
    assert (result.exponent, result.exponent_was) == (0.5, "fixed")
    assert abs(result.fitted_exponent - 0.5) < 3.0 * result.exponent_u


def test_another_exponent_is_fitted_where_the_run_shows_it():
    result = fit(3, psis=(15.0, 30.0, 60.0), exponent=0.46, seconds=120.0)
    assert result.exponent_was == "fitted"
    assert result.exponent == pytest.approx(0.46, abs=3.0 * result.exponent_u)
    assert "exponent" in codes(result)
    forced = fit(3, psis=(15.0, 30.0, 60.0), exponent=0.46, options={"exponent": 0.5})
    assert (forced.exponent, forced.exponent_was) == (0.5, "fixed")
    assert "residual" in codes(forced)


def test_a_zero_error_of_the_gauge_is_seen_as_an_exponent_that_no_boom_has():
    flow, pressure, step = water_run(4, psis=(10.0, 20.0, 40.0))
    with pytest.raises(CalibrationError, match="calibrate the gauge's zero first"):
        baseline(flow, pressure + 8.0 * PSI, step, tick_s=0.5)


def test_the_line_loss_is_part_of_k_unless_a_gauge_stood_at_the_tips():
    loss = 0.05 * 40 * PSI / (K * (40 * PSI) ** 0.5) ** 2
    flow, pressure, step = water_run(5)
    alone = baseline(flow, pressure, step, tick_s=0.5)
    assert alone.line_loss_pa_s2_m6 is None
    assert "line-loss" in codes(alone)
    tips = [
        float(np.mean(pressure[step == i]) - loss * np.mean(flow[step == i]) ** 2) for i in range(3)
    ]
    beside = baseline(flow, pressure, step, tick_s=0.5, tip_pressure_pa=tips)
    assert beside.line_loss_pa_s2_m6 == pytest.approx(loss, rel=0.02)
    assert beside.line_loss_u_pa_s2_m6 < 0.02 * loss
    assert "line-loss" not in codes(beside)


def test_the_noise_is_that_which_was_put_in():
    densities, sigmas, taus = [], [], []
    for seed in range(12):
        noise = fit(seed, seconds=300.0, density_s=8e-4).noise
        densities.append(noise.density_s)
        sigmas.append(noise.sigma)
        taus.append(noise.correlation_s)
    assert np.mean(densities) == pytest.approx(8e-4, rel=0.2)
    assert np.mean(sigmas) == pytest.approx(math.sqrt(8e-4 / 4.0), rel=0.12)
    assert np.mean(taus) == pytest.approx(2.0, rel=0.35)


def test_no_noise_at_all_is_believed_only_as_far_as_the_run_is_long():
    quiet = noise_of(np.zeros(600), np.repeat(np.arange(3), 200), 1.0)
    assert 0.0 < quiet.density_s < 4e-4
    assert quiet.correlation_s == 0.0


@pytest.mark.parametrize(
    ("about", "words"),
    [
        ({"psis": (25.0, 40.0)}, "2 pressures"),
        ({"psis": (38.0, 40.0, 42.0)}, "the pressures differ by"),
        ({"seconds": 6.0}, "pressure 1: 6 s of settled spraying"),
    ],
)
def test_too_little_is_refused_with_what_is_wanted(about, words: str):
    with pytest.raises(CalibrationError, match=words):
        fit(1, **about)


def test_a_shut_boom_and_a_flow_that_stops_again_and_again_are_refused():
    flow, pressure, step = water_run(1)
    shut = np.where(step == 1, 0.0, flow)
    with pytest.raises(CalibrationError, match="pressure 2: no flow"):
        baseline(shut, pressure, step, tick_s=0.5)
    stopping = np.where(np.arange(len(flow)) % 8 < 2, 0.0, flow)
    with pytest.raises(CalibrationError, match="stops again and again"):
        baseline(stopping, pressure, step, tick_s=0.5)


def test_ticks_of_a_slow_meter_with_a_pulse_or_none_do_not_bias_the_level():
    flow, pressure, step = water_run(6, tick_s=0.1, seconds=60.0)
    pulses = np.diff(np.floor(np.cumsum(flow * 0.1) * 60e3), prepend=0.0)
    counted = pulses / 60e3 / 0.1
    assert np.count_nonzero(counted == 0.0) > 100
    result = baseline(counted, pressure, step, tick_s=0.1)
    assert abs(math.log(result.coefficient / K)) < 0.006


def test_another_density_moves_k_by_its_root_and_is_learnt_back():
    water = fit(7)
    dense = for_carrier(water, 1.28)
    assert dense.coefficient == pytest.approx(water.coefficient / math.sqrt(1.28))
    assert dense.flow.value == pytest.approx(dense.flow_at(dense.centre_pa))
    assert dense.flow.relative == pytest.approx(water.flow.relative)
    back = for_carrier(dense, 1.0)
    assert back.coefficient == pytest.approx(water.coefficient)
    mix = fit(8, factor=1.0 / math.sqrt(1.28))
    density, u = learnt_density(water, mix)
    assert density == pytest.approx(1.28, abs=3.0 * u)
    assert u < 0.012
    with pytest.raises(CalibrationError, match="relative density"):
        for_carrier(water, 0.0)


# Cutting a run ----------------------------------------------------------------------------------


def whole_run(tick_s: float = 0.5, settle_s: float = 2.0):
    """Shut, open at 25 psi, 32 psi, 40 psi, shut; with a first-order rise after opening."""
    rng = np.random.default_rng(9)
    psis = np.concatenate([np.full(round(40 / tick_s), psi) for psi in (25.0, 32.0, 40.0)])
    after = np.arange(len(psis)) * tick_s
    rise = 1.0 - 0.5 * np.exp(-after / (settle_s / math.log(0.5 / 0.03)))
    pressure = psis * PSI * np.exp(swirl(rng, len(psis), tick_s, 1e-5, 2.0))
    flow = K * pressure**0.5 * rise
    shut = np.zeros(round(10 / tick_s))
    return np.concatenate([shut, flow, shut]), np.concatenate([shut, pressure, shut + 9 * PSI])


def test_pressures_are_found_in_a_run_by_themselves():
    flow, pressure = whole_run()
    step = steps_of(flow, pressure, 0.5)
    assert sorted(set(step.tolist())) == [-1, 0, 1, 2]
    for number, psi in enumerate((25.0, 32.0, 40.0)):
        assert np.count_nonzero(step == number) * 0.5 >= 30.0
        assert np.median(pressure[step == number]) / PSI == pytest.approx(psi, rel=0.02)
        assert np.min(flow[step == number]) > 0.0
    assert baseline(flow, pressure, step, tick_s=0.5).coefficient == pytest.approx(K, rel=0.003)


def test_a_pressure_that_was_held_twice_is_one():
    flow, pressure, _ = water_run(10, psis=(25.0, 40.0, 25.0, 32.0), density_s=1e-5)
    step = steps_of(flow, pressure, 0.5)
    assert sorted(set(step.tolist())) == [-1, 0, 1, 2]
    assert np.count_nonzero(step == 0) > 1.6 * np.count_nonzero(step == 1)


def test_a_run_with_the_boom_shut_has_no_pressures():
    assert set(steps_of(np.zeros(200), np.full(200, 5e4), 0.5).tolist()) == {-1}
    assert steps_of(np.zeros(0), np.zeros(0), 0.5).tolist() == []


@pytest.mark.parametrize("settle_s", [1.0, 2.0, 4.0])
def test_the_settle_time_is_measured_from_the_opening(settle_s: float):
    flow, pressure = whole_run(tick_s=0.1, settle_s=settle_s)
    assert openings_of(flow) == [100]
    assert settle_time_s(flow, pressure, 0.1) == pytest.approx(settle_s, abs=0.5)


def test_without_an_opening_there_is_no_settle_time():
    flow, pressure, _ = water_run(11)
    assert settle_time_s(flow, pressure, 0.5) is None
    assert settle_time_s(np.zeros(50), np.zeros(50), 0.5) is None

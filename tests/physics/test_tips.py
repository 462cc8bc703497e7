"""Tips, orifices and the boom's conductance: laws that hold for any tip."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.physics import tips

flows = st.floats(1e-6, 1e-3)
pressures = st.floats(1e4, 1e6)
exponents = st.floats(0.4, 0.6)


@given(flows, pressures, pressures, exponents)
def test_flow_and_pressure_are_inverses(flow, at_pressure, pressure, exponent):
    k = tips.tip_coefficient(flow, at_pressure, exponent)
    assert tips.tip_flow_m3_s(k, at_pressure, exponent) == pytest.approx(flow)
    there = tips.tip_flow_m3_s(k, pressure, exponent)
    assert tips.pressure_for_flow_pa(k, there, exponent) == pytest.approx(pressure)


@given(flows, pressures, st.floats(1.001, 10.0), exponents)
def test_more_pressure_gives_more_flow_by_the_power_law(flow, pressure, factor, exponent):
    k = tips.tip_coefficient(flow, pressure, exponent)
    more = tips.tip_flow_m3_s(k, pressure * factor, exponent)
    assert more > flow
    assert more / flow == pytest.approx(factor**exponent)


def test_four_times_the_pressure_doubles_the_flow():
    assert tips.tip_flow_m3_s(1.0, 4.0e5) == pytest.approx(2.0 * tips.tip_flow_m3_s(1.0, 1.0e5))


def test_below_its_check_pressure_a_tip_gives_nothing_and_above_it_everything():
    pressure = np.array([-100.0, 0.0, 54_000.0, 55_000.0, 300_000.0])
    flow = tips.tip_flow_m3_s(2.0, pressure, check_pressure_pa=55_000.0)
    free = tips.tip_flow_m3_s(2.0, pressure)
    assert flow[:3].tolist() == [0.0, 0.0, 0.0]
    assert flow[3:].tolist() == free[3:].tolist()
    alone = [tips.tip_flow_m3_s(2.0, float(p), check_pressure_pa=55_000.0) for p in pressure]
    assert alone == pytest.approx(flow.tolist())


def test_a_gauge_a_little_below_zero_means_no_flow_and_no_conductance():
    assert tips.tip_flow_m3_s(1.0, -200.0) == 0.0
    assert tips.tip_flow_m3_s(1.0, np.array([-200.0, 0.0])).tolist() == [0.0, 0.0]
    assert math.isnan(tips.conductance(1e-5, -200.0))
    assert np.isnan(tips.conductance(np.array([1e-5]), np.array([0.0]))[0])


def test_an_unknown_pressure_stays_unknown():
    assert math.isnan(tips.tip_flow_m3_s(1.0, math.nan))
    assert np.isnan(tips.tip_flow_m3_s(1.0, np.array([math.nan]))[0])


@given(st.integers(2, 24), st.floats(0.0, 1.0))
def test_the_number_of_blocked_tips_comes_back_from_the_shift(count, share):
    blocked = share * (count - 1)
    shift = tips.blocked_tip_log_shift(float(count), blocked)
    assert shift <= 0.0
    assert tips.blocked_tips(float(count), shift) == pytest.approx(blocked, abs=1e-9)


@given(st.integers(2, 24), flows, pressures)
def test_blocking_one_of_equal_tips_moves_the_conductance_by_that_shift(count, flow, pressure):
    k = tips.tip_coefficient(flow, pressure)
    healthy = np.full(count, k)
    clogged = healthy.copy()
    clogged[0] = 0.0
    baseline = float(tips.boom_conductance(healthy))
    shift = tips.conductance_log_shift(float(tips.boom_conductance(clogged)), baseline)
    assert shift == pytest.approx(tips.blocked_tip_log_shift(float(count), 1.0))


def test_all_tips_blocked_is_an_endless_shift_and_more_than_all_is_none():
    assert tips.blocked_tip_log_shift(6.0, 6.0) == -math.inf
    assert tips.blocked_tips(6.0, -math.inf) == pytest.approx(6.0)
    assert math.isnan(tips.blocked_tip_log_shift(6.0, 7.0))
    series = tips.blocked_tip_log_shift(np.full(3, 6.0), np.array([1.0, 6.0, 7.0]))
    assert series[1] == -math.inf
    assert np.isnan(series[2])
    assert tips.conductance_log_shift(0.0, 1.0) == -math.inf


@given(flows, pressures, st.floats(1e8, 1e14))
def test_a_restriction_after_the_gauge_adds_its_loss_at_the_same_flow(flow, pressure, resistance):
    g = tips.conductance(flow, pressure)
    behind = tips.restricted_conductance(g, resistance)
    gauge = tips.pressure_for_flow_pa(behind, flow)
    assert gauge == pytest.approx(pressure + resistance * flow**2)


@given(st.floats(2e-4, 5e-3), pressures, st.floats(0.5, 1.0), st.floats(900.0, 1400.0))
def test_an_orifice_gives_back_its_diameter(diameter, pressure, discharge, density):
    flow = tips.orifice_flow_m3_s(diameter, pressure, discharge, density)
    assert tips.orifice_diameter_m(flow, pressure, discharge, density) == pytest.approx(diameter)
    twice = tips.orifice_flow_m3_s(2.0 * diameter, pressure, discharge, density)
    assert twice == pytest.approx(4.0 * flow)


@given(pressures, st.floats(-0.01, 0.01))
def test_a_small_gauge_error_is_worth_half_its_share_in_flow(pressure, share):
    exact = tips.tip_flow_m3_s(1.0, pressure * (1 + share)) / tips.tip_flow_m3_s(1.0, pressure) - 1
    assert tips.flow_share_of_gauge_error(pressure, share * pressure) == pytest.approx(
        exact, abs=2e-5
    )

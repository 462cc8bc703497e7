"""The three pump families as curves of net flow over pressure."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.physics.pumps import Bypass, CentrifugalPump, DemandPump, DisplacementPump

ROLLER = DisplacementPump(6e-4, 1e-10, Bypass(2.7e5, 1e-8))
THROTTLED = DisplacementPump(6e-4, 1e-10, Bypass(throttle=2e-7))
DEMAND = DemandPump(4.4e-4, 5.7e-10, 3.1e5, 4.1e5, 4.5e5)
CENTRIFUGAL = CentrifugalPump(4.3e5, 2e11)
ALL = (ROLLER, THROTTLED, DEMAND, CENTRIFUGAL)


@pytest.mark.parametrize("pump", ALL)
@given(low=st.floats(0, 1), high=st.floats(0, 1))
def test_net_flow_never_rises_with_pressure(pump, low, high):
    low, high = sorted((low, high))
    top = pump.highest_pa
    assert pump.net_flow_m3_s(high * top) <= pump.net_flow_m3_s(low * top) + 1e-15


@pytest.mark.parametrize("pump", ALL)
def test_nothing_is_left_for_the_line_at_the_highest_pressure(pump):
    assert pump.net_flow_m3_s(pump.highest_pa) <= 1e-12
    assert pump.net_flow_m3_s(0.0) > 0


def test_relief_takes_nothing_below_its_setting_and_its_slope_above():
    without = DisplacementPump(6e-4, 1e-10)
    assert ROLLER.net_flow_m3_s(2.6e5) == without.net_flow_m3_s(2.6e5)
    taken = without.net_flow_m3_s(2.8e5) - ROLLER.net_flow_m3_s(2.8e5)
    assert taken == pytest.approx(1e-8 * 1e4)


def test_throttled_bypass_follows_the_square_root():
    without = DisplacementPump(6e-4, 1e-10)
    taken = [float(without.net_flow_m3_s(p) - THROTTLED.net_flow_m3_s(p)) for p in (1e5, 4e5)]
    assert taken[1] == pytest.approx(2 * taken[0])


def test_a_weak_pump_delivers_its_share_and_the_bypass_is_not_weakened():
    pressure = 2.8e5
    healthy = 6e-4 - 1e-10 * pressure
    relief = 1e-8 * 1e4
    assert ROLLER.net_flow_m3_s(pressure, 0.7) == pytest.approx(0.7 * healthy - relief)


def test_demand_pump_fades_from_cut_out_to_stop():
    at_cut_out = float(DEMAND.net_flow_m3_s(4.1e5))
    assert DEMAND.net_flow_m3_s(4.3e5) == pytest.approx(0.5 * at_cut_out)
    assert DEMAND.net_flow_m3_s(5e5) == 0


def test_centrifugal_pressure_falls_with_the_square_of_flow():
    flow = CENTRIFUGAL.net_flow_m3_s(np.array([1e5, 3e5]))
    assert 4.3e5 - 2e11 * flow**2 == pytest.approx(np.array([1e5, 3e5]))

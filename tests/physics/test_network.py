"""The operating point: continuity, limits, shapes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowlog.physics.network import operating_point
from flowlog.physics.pumps import Bypass, CentrifugalPump, DisplacementPump

GAL_MIN, PSI = 3.785411784e-3 / 60, 6894.757293168
PUMP = DisplacementPump(9 * GAL_MIN, 0.012 * GAL_MIN / PSI, Bypass(39 * PSI, GAL_MIN / PSI))
TIP = 0.8 * GAL_MIN / (40 * PSI) ** 0.5
LOSS = 0.03 * PSI / GAL_MIN**2


@settings(max_examples=50)
@given(
    tips=st.floats(0.5, 24),
    line=st.floats(0, 50),
    branch=st.floats(0, 50),
    leak_down=st.floats(0, 5),
    leak_up=st.floats(0, 5),
    delivery=st.floats(0.1, 1),
)
def test_what_the_pump_leaves_is_what_boom_and_leak_take(
    tips, line, branch, leak_down, leak_up, delivery
):
    point = operating_point(
        PUMP,
        tips * TIP,
        line_loss=line * LOSS,
        branch_loss=branch * LOSS,
        leak_down=leak_down * TIP,
        leak_up=leak_up * TIP,
        delivery=delivery,
    )
    left = PUMP.net_flow_m3_s(point.pump_pa, delivery)
    assert left == pytest.approx(point.flow_m3_s + point.leak_up_m3_s, rel=1e-9)
    # Pressures fall along the way by the quadratic losses, and tips and leak pass the flow.
    assert point.pump_pa - point.gauge_pa == pytest.approx(line * LOSS * point.flow_m3_s**2)
    assert point.gauge_pa - point.tip_pa == pytest.approx(
        branch * LOSS * point.flow_m3_s**2, abs=1e-6 * PSI
    )
    through = (tips + leak_down) * TIP * np.sqrt(point.tip_pa)
    assert point.flow_m3_s == pytest.approx(through, rel=1e-9)


def test_an_array_gives_what_its_elements_give():
    tips = np.arange(1, 9) * TIP
    together = operating_point(PUMP, tips, line_loss=LOSS)
    for i, k in enumerate(tips):
        alone = operating_point(PUMP, k, line_loss=LOSS)
        assert together.flow_m3_s[i] == alone.flow_m3_s
        assert together.gauge_pa[i] == alone.gauge_pa


def test_closed_valve_stops_the_boom_and_dead_heads_the_pump():
    point = operating_point(PUMP, 8 * TIP, line_loss=LOSS, valve_open=False)
    assert point.flow_m3_s == 0 and point.gauge_pa == 0 and not point.tips_open
    assert PUMP.net_flow_m3_s(point.pump_pa) == pytest.approx(0, abs=1e-12)
    assert point.pump_pa > 39 * PSI


def test_check_valves_shut_below_their_pressure_and_a_leak_flows_on():
    starved = operating_point(PUMP, 8 * TIP, delivery=0.3, check_pa=8 * PSI)
    assert not starved.tips_open and starved.flow_m3_s == 0
    leaking = operating_point(PUMP, 8 * TIP, delivery=0.3, check_pa=8 * PSI, leak_down=TIP)
    assert not leaking.tips_open
    assert leaking.flow_m3_s == pytest.approx(TIP * leaking.tip_pa**0.5)
    assert leaking.flow_m3_s > 0
    healthy = operating_point(PUMP, 8 * TIP, check_pa=8 * PSI)
    assert healthy.tips_open and healthy.tip_pa > 8 * PSI


def test_a_pump_without_reserve_or_relief_keeps_its_flow_when_a_tip_clogs():
    # Nearly ideal displacement: flow stays and pressure rises by (N/(N-1))^2.
    stiff = DisplacementPump(6 * GAL_MIN, 1e-6 * GAL_MIN / PSI)
    for tips in (4, 6, 8, 10):
        all_open = operating_point(stiff, tips * TIP)
        one_shut = operating_point(stiff, (tips - 1) * TIP)
        assert one_shut.flow_m3_s == pytest.approx(float(all_open.flow_m3_s), rel=1e-3)
        rise = float(one_shut.gauge_pa / all_open.gauge_pa)
        assert rise == pytest.approx((tips / (tips - 1)) ** 2, rel=1e-3)


def test_no_tip_open_is_no_flow():
    point = operating_point(CentrifugalPump(62 * PSI, 0.12 * PSI / GAL_MIN**2), 0.0)
    assert point.flow_m3_s == 0
    assert point.pump_pa == pytest.approx(62 * PSI)

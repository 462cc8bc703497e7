"""The wet side over time: volumes, transients, air, cycling."""

from dataclasses import replace

import numpy as np
import pytest

from flowlog.physics.pumps import DemandPump
from flowlog.simulator.plan import Fault, Leg, passes, varied_passes
from flowlog.simulator.plant import BLEED_TAU_S, run_plant
from flowlog.simulator.run import plain_rig, scenario_for, with_faults
from flowlog.simulator.supply import FAMILIES, GAL_MIN, PSI

RIG = plain_rig(8)


def _plant(*faults, legs=None, noise="none", family="demand relief", rig=RIG, **changes):
    scenario = scenario_for(
        rig, legs=legs or passes(2, 60.0, 15.0), noise=noise, family=family, faults=faults
    )
    return run_plant(replace(scenario, **changes))


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("tips", [2, 6, 24])
def test_a_sized_supply_gives_the_rig_its_flow_and_pressure(family, tips):
    rig = plain_rig(tips, tip_gal_min_at_40_psi=0.4, pressure_psi=35.0)
    truth = _plant(rig=rig, family=family)
    settled = truth.t_s.searchsorted(40.0)
    assert truth.flow_m3_s[settled] == pytest.approx(rig.expected_flow_m3_s, rel=1e-3)
    assert truth.gauge_pa[settled] == pytest.approx(35.0 * PSI, rel=1e-3)


def test_volume_is_the_integral_of_flow_and_what_the_tank_loses():
    truth = _plant(
        Fault("leak before meter", 20.0, size=0.5),
        Fault("leak after meter", 30.0, size=0.5),
        noise="field",
        tank_m3=0.1,
    )
    assert truth.volume_m3[-1] == pytest.approx(truth.flow_m3_s.sum() * truth.step_s)
    lost = (truth.leak_up_m3_s * truth.spraying).sum() * truth.step_s
    assert 0.1 - truth.tank_m3[-1] == pytest.approx(truth.total_volume_m3 + lost)


def test_the_tips_share_what_passes_the_meter():
    truth = _plant(Fault("tip blocked", 30.0, tip=3, size=0.5), noise="field")
    flows = np.array([truth.tip_flow_m3_s(tip) for tip in range(1, 9)])
    assert flows.sum(axis=0) == pytest.approx(truth.flow_m3_s, rel=1e-9)
    late = truth.t_s.searchsorted(50.0)
    assert flows[2, late] == pytest.approx(0.5 * flows[0, late])


def test_an_opened_boom_comes_within_one_percent_in_one_to_two_seconds():
    truth = _plant(legs=passes(20, 20.0, 10.0))
    final = truth.gauge_pa[truth.t_s.searchsorted(20.0)]
    opened = np.flatnonzero(np.diff(truth.spraying.astype(int)) == 1) + 1
    for first in opened:
        near = np.flatnonzero(truth.gauge_pa[first : first + 60] > 0.99 * final)
        assert 0.8 <= near[0] * truth.step_s <= 2.1
        assert np.all(np.diff(truth.gauge_pa[first : first + 60]) > -1e-6)


def test_a_closed_boom_bleeds_to_the_check_pressure_and_holds_it():
    truth = _plant()
    close = truth.t_s.searchsorted(65.0 + 1e-6)
    pressure = truth.gauge_pa[close : close + 140]
    assert 8.0 * PSI <= truth.check_pa <= 10.0 * PSI
    assert pressure[-1] == pytest.approx(truth.check_pa)
    fall = pressure[3] / pressure[0]
    assert fall == pytest.approx(np.exp(-0.3 / BLEED_TAU_S), rel=1e-6)
    assert np.all(truth.flow_m3_s[close : close + 140] == 0)


def test_with_a_leak_behind_the_meter_a_closed_boom_does_not_hold_its_pressure():
    truth = _plant(Fault("leak after meter", 0.0, size=0.5), legs=passes(1, 60.0, 60.0))
    assert truth.gauge_pa[-1] < 0.1 * truth.check_pa


def test_a_gauge_before_the_strainer_shows_the_pump_while_the_boom_is_closed():
    rig = replace(RIG, gauge=replace(RIG.gauge, place="before strainer"))
    truth = _plant(rig=rig, family="roller")
    open_at, closed_at = truth.t_s.searchsorted([40.0, 75.0])
    assert truth.gauge_pa[closed_at] > truth.gauge_pa[open_at] > truth.manifold_pa[open_at]
    # Clogging in between moves the conductance that this gauge shows, by the line's part.
    clogged = _plant(Fault("strainer", 0.0), rig=rig, family="roller")
    share = (
        clogged.flow_m3_s[open_at]
        / truth.flow_m3_s[open_at]
        * (truth.gauge_pa[open_at] / clogged.gauge_pa[open_at]) ** 0.5
    )
    assert share == pytest.approx(0.888, abs=0.005)


def test_the_tank_runs_out_when_its_volume_is_gone_and_comes_back_with_a_refill():
    legs = (Leg(5, False), Leg(120, True), Leg(60, False, None, True), Leg(60, True))
    truth = _plant(legs=legs, tank_m3=0.02)
    empty = np.flatnonzero(truth.tank_m3 == 0)[0]
    assert truth.volume_m3[empty] == pytest.approx(0.02, rel=0.01)
    assert truth.fills == ((0.0, 0.02), (125.0, 0.02))
    air = truth.air_share[empty:]
    assert air[30] > 0 and air[120] == 1.0
    dry = truth.t_s.searchsorted(124.0)
    assert truth.flow_m3_s[dry] == 0
    assert truth.gauge_pa[dry] == pytest.approx(truth.check_pa)
    again = truth.t_s.searchsorted(230.0)
    assert truth.air_share[again] == 0
    assert truth.flow_m3_s[again] == pytest.approx(RIG.expected_flow_m3_s, rel=1e-3)


def test_a_demand_pump_with_too_few_tips_cycles_between_its_switch_points():
    half = [Fault("tip blocked", 0.0, tip=tip) for tip in (1, 2, 3, 4)]
    truth = _plant(*half, family="demand", legs=passes(1, 60.0, 10.0))
    pump = scenario_for(RIG, family="demand").supply.pump
    assert isinstance(pump, DemandPump)
    part = slice(*truth.t_s.searchsorted([15.0, 60.0]))
    pressure = truth.gauge_pa[part]
    # The gauge sits behind the line loss, so a little below the pump.
    assert pressure.max() <= pump.cut_out_pa
    assert pump.cut_in_pa * 0.9 < pressure.min() < pressure.max() - 0.15 * pump.cut_out_pa
    turns = np.sum(np.diff(np.sign(np.diff(pressure))) != 0)
    assert turns > 20
    conductance = truth.flow_m3_s[part] / np.sqrt(pressure)
    assert conductance.std() / conductance.mean() < 0.005


def test_a_demand_pump_that_keeps_up_does_not_cycle():
    truth = _plant(family="demand")
    part = slice(*truth.t_s.searchsorted([15.0, 60.0]))
    assert truth.gauge_pa[part].std() / truth.gauge_pa[part].mean() < 1e-3


def test_a_heavy_carrier_lowers_the_flow_by_the_root_of_its_density():
    heavy = replace(RIG, work=replace(RIG.work, carrier_relative_density=1.28))
    supply = scenario_for(RIG).supply
    light_truth, heavy_truth = _plant(), _plant(rig=heavy, supply=supply)
    at = light_truth.t_s.searchsorted(40.0)
    light, dense = (t.flow_m3_s[at] / t.gauge_pa[at] ** 0.5 for t in (light_truth, heavy_truth))
    assert dense / light == pytest.approx(1.28**-0.5)


def test_tips_as_made_differ_by_their_spread():
    truth = _plant(rig=plain_rig(24), tip_spread_share=0.02)
    made = truth.tip_share[0]
    assert 0.01 < made.std() < 0.03
    assert np.all(truth.tip_share == made)


def test_supply_noise_moves_flow_and_pressure_together():
    truth = _plant(noise="field", legs=passes(1, 2000.0, 10.0))
    part = slice(*truth.t_s.searchsorted([20.0, 1990.0]))
    log_p = np.log(truth.gauge_pa[part])
    assert 0.015 < log_p.std() < 0.04
    conductance = truth.flow_m3_s[part] / truth.gauge_pa[part] ** 0.5
    assert conductance.std() / conductance.mean() < 1e-9


def test_varied_passes_fill_the_time_and_differ_by_seed():
    legs = varied_passes(3600.0, 1)
    assert 3600.0 <= sum(leg.duration_s for leg in legs) < 3720.0
    assert all(20 <= leg.duration_s <= 90 for leg in legs if leg.spraying)
    assert legs == varied_passes(3600.0, 1) and legs != varied_passes(3600.0, 2)


def test_a_fault_leaves_the_noise_of_everything_else_as_it_was():
    scenario = scenario_for(RIG, legs=passes(2, 60.0, 15.0))
    before = run_plant(scenario)
    after = run_plant(with_faults(scenario, Fault("tip blocked", 70.0, tip=1)))
    early = before.t_s < 70.0
    assert np.array_equal(before.gauge_pa[early], after.gauge_pa[early])
    assert np.array_equal(before.flow_m3_s[early], after.flow_m3_s[early])
    assert not np.array_equal(before.flow_m3_s, after.flow_m3_s)


def test_stops_are_told_from_their_first_to_their_last_spraying():
    legs = (
        *passes(2, 30.0, 10.0, "north"),
        Leg(60.0, False),
        *passes(1, 20.0, 10.0, "south"),
    )
    assert scenario_for(RIG, legs=legs).stops() == [
        ("north", 5.0, 75.0),
        ("south", 150.0, 170.0),
    ]


def test_gal_min_is_the_us_gallon():
    assert GAL_MIN * 60 == 3.785411784e-3


def test_long_hoses_rise_slowly_and_the_meter_counts_what_fills_them():
    hose = 8e-10
    legs = passes(6, 30.0, 15.0)
    plain = _plant(legs=legs, rise_s=(3.0, 5.0))
    truth = _plant(legs=legs, rise_s=(3.0, 5.0), hose_m3_pa=hose)
    assert (truth.gauge_pa == plain.gauge_pa).all()
    final = truth.gauge_pa[truth.t_s.searchsorted(30.0)]
    opened = np.flatnonzero(np.diff(truth.spraying.astype(int)) == 1) + 1
    assert len(opened) == 6
    for first in opened:
        near = np.flatnonzero(truth.gauge_pa[first : first + 100] > 0.99 * final)
        assert 2.8 <= near[0] * truth.step_s <= 5.1
    # Each opening fills them from what the check valves hold.
    more = truth.total_volume_m3 - plain.total_volume_m3
    assert more == pytest.approx(6 * hose * (final - truth.check_pa), rel=0.02)

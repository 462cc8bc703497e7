"""The operating point against a pipe-network solver with emitters, Q = C * P^0.5.

Source: WNTR, an open-source water-network library that drives the public-domain EPANET solver.
The boom is one emitter a tip, the line a pipe whose minor loss is the quadratic line loss.
"""

import numpy as np
import pytest
import wntr

from flowlog.physics.network import operating_point
from flowlog.physics.pumps import Bypass, CentrifugalPump, DisplacementPump
from flowlog.simulator.supply import GAL_MIN, PSI, reference_supply

WEIGHT = 9.81 * 1000.0
"""Pa in a metre of the solver's water."""
BORE_M = 0.02
TIP = 0.8 * GAL_MIN / (40 * PSI) ** 0.5
LOSS = 0.03 * PSI / GAL_MIN**2


def _loss_factor(loss):
    """K of K v^2 / 2g that loses `loss` * Q^2 pascals in a pipe of `BORE_M`."""
    return float(loss * 2 * (np.pi * BORE_M**2 / 4) ** 2 / 1000.0)


def _network(line_loss, branch_loss, emitters, leak_up=0.0):
    model = wntr.network.WaterNetworkModel()
    model.options.hydraulic.emitter_exponent = 0.5
    model.options.hydraulic.accuracy = 1e-6
    model.options.time.duration = 0
    for name in ("outlet", "manifold", "branch"):
        model.add_junction(name, elevation=0, base_demand=0)
    if leak_up:
        model.get_node("outlet").emitter_coefficient = leak_up * WEIGHT**0.5
    for begin, end, loss in (
        ("outlet", "manifold", line_loss),
        ("manifold", "branch", branch_loss),
    ):
        model.add_pipe(
            f"to {end}".replace(" ", "_"),
            begin,
            end,
            length=0.01,
            diameter=BORE_M,
            roughness=150,
            minor_loss=_loss_factor(loss),
        )
    for i, coefficient in enumerate(emitters):
        model.add_junction(f"tip{i}", elevation=0, base_demand=0)
        model.add_pipe(f"drop{i}", "branch", f"tip{i}", length=0.01, diameter=0.1, roughness=150)
        model.get_node(f"tip{i}").emitter_coefficient = float(coefficient * WEIGHT**0.5)
    return model


def _solve(model, folder):
    found = wntr.sim.EpanetSimulator(model).run_sim(file_prefix=str(folder / "net"))
    pressure = found.node["pressure"].iloc[0] * WEIGHT
    return pressure, float(found.link["flowrate"].iloc[0]["to_manifold"])


@pytest.mark.parametrize(
    ("tips", "branch", "leak_up"),
    [
        ([1] * 8, 0.0, 0.0),
        ([1] * 7, 0.0, 0.0),
        ([1] * 7 + [0.5], 0.0, 0.0),
        ([1] * 7 + [6], 0.0, 0.0),
        ([1.1] * 8, 0.0, 0.0),
        ([1] * 8, 10.0, 0.0),
        ([1] * 8, 0.0, 1.0),
    ],
)
def test_centrifugal_pump_and_boom(tmp_path, tips, branch, leak_up):
    supply = reference_supply("centrifugal")
    assert isinstance(supply.pump, CentrifugalPump)
    model = _network(
        supply.line_loss, branch * LOSS, np.array(tips, dtype=float) * TIP, leak_up * TIP
    )
    model.add_reservoir("tank", base_head=0.0)
    flow = np.array([0.0, 4e-4, 8e-4])
    head = (supply.pump.shut_off_pa - supply.pump.drop_pa_per_m3_s_2 * flow**2) / WEIGHT
    model.add_curve("curve", "HEAD", list(zip(flow.tolist(), head.tolist(), strict=True)))
    model.add_pump("pump", "tank", "outlet", "HEAD", "curve")
    pressure, through = _solve(model, tmp_path)

    ours = operating_point(
        supply.pump,
        sum(tips) * TIP,
        line_loss=supply.line_loss,
        branch_loss=branch * LOSS,
        leak_up=leak_up * TIP,
    )
    assert float(ours.flow_m3_s) == pytest.approx(through, rel=1e-3)
    assert float(ours.gauge_pa) == pytest.approx(pressure["manifold"], rel=2e-3)
    assert float(ours.tip_pa) == pytest.approx(pressure["branch"], rel=2e-3)
    assert float(ours.pump_pa) == pytest.approx(pressure["outlet"], rel=2e-3)


@pytest.mark.parametrize("blocked", [0, 1, 3])
def test_displacement_pump_with_throttled_bypass(tmp_path, blocked):
    # A displacement pump without slip is a fixed inflow; its bypass is one more emitter.
    pumped, throttle = 9 * GAL_MIN, 2.0 * GAL_MIN / (40 * PSI) ** 0.5
    tips = 8 - blocked
    model = _network(LOSS, 0.0, [TIP] * tips, leak_up=throttle)
    model.get_node("outlet").demand_timeseries_list[0].base_value = -pumped
    model.add_reservoir("far", base_head=0.0)  # the solver wants one; nothing flows to it
    model.add_pipe("shut", "far", "outlet", length=1, diameter=0.01, initial_status="CLOSED")
    pressure, through = _solve(model, tmp_path)

    pump = DisplacementPump(pumped, 1e-9 * pumped / PSI, Bypass(throttle=throttle))
    ours = operating_point(pump, tips * TIP, line_loss=LOSS)
    assert float(ours.flow_m3_s) == pytest.approx(through, rel=1e-3)
    assert float(ours.gauge_pa) == pytest.approx(pressure["manifold"], rel=2e-3)

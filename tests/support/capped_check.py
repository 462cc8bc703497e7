"""A capped-tip check of a simulated rig, and what the steady network says of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from support.scripted_calibration import ItemFeed

from flowlog.calibrating.measure import TICK_S
from flowlog.calibrating.sprayings import sprayings_from
from flowlog.calibration.capped import CappedResult, capped
from flowlog.physics.network import operating_point
from flowlog.rig.model import Rig
from flowlog.simulator.noise import Noise
from flowlog.simulator.plan import Fault, Leg, Scenario
from flowlog.simulator.run import plain_rig, scenario_for, simulate
from flowlog.simulator.supply import Family, sized_supply

A_B_A = (False, True, False)


def check_of(
    rig: Rig,
    family: Family,
    seed: int,
    *,
    order: Sequence[bool] = A_B_A,
    spray_s: float = 34.0,
    pause_s: float = 90.0,
    size: float = 1.0,
    noise: str | Noise = "field",
    faults: Sequence[Fault] = (),
) -> Scenario:
    """Sprayings in this order, a part of a tip capped (or all of it) where it says so."""
    legs = [Leg(5.0, False)]
    caps = []
    at = 5.0
    for one in order:
        if one:
            caps.append(Fault("tip blocked", at - 2.0, size, until_s=at + spray_s + 2.0, tip=2))
        legs += [Leg(spray_s, True), Leg(pause_s, False)]
        at += spray_s + pause_s
    return scenario_for(
        rig, legs=legs, faults=(*caps, *faults), family=family, noise=noise, seed=seed
    )


def checked(scenario: Scenario, rig: Rig | None = None) -> CappedResult:
    """As flowlog sees it, with the rig file's meter and gauge or those of another rig."""
    own = rig or scenario.rig
    sprayed = sprayings_from(ItemFeed(simulate(scenario).items), own)
    return capped(sprayed, tips=own.boom.tips, tick_s=TICK_S, working_pa=own.expected_pressure_pa)


def true_share(rig: Rig, family: Family) -> float:
    """Rise of ln P over fall of ln(Q / P^0.5) at the gauge, from the network with a tip less."""
    supply = sized_supply(family, rig.expected_flow_m3_s, rig.expected_pressure_pa)
    each = rig.boom.tip.coefficient
    whole, less = (
        operating_point(supply.pump, tips * each, line_loss=supply.line_loss)
        for tips in (rig.boom.tips, rig.boom.tips - 1)
    )
    rise = math.log(float(less.gauge_pa) / float(whole.gauge_pa))
    flow = math.log(float(less.flow_m3_s) / float(whole.flow_m3_s))
    return rise / (0.5 * rise - flow)


def rig_of(tips: int) -> Rig:
    return plain_rig(tips)

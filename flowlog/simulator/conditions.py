"""What the faults make of the network at each moment, and the network solved for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flowlog.physics.network import OperatingPoint, operating_point
from flowlog.simulator.noise import generator
from flowlog.simulator.plan import Fault, Scenario

Floats = NDArray[np.float64]


def profile(fault: Fault, t_s: Floats) -> Floats:
    """Progress of a fault, 0 (not there) to 1 (its full size), at each of `t_s`."""
    if fault.over_s > 0:
        grown = np.clip((t_s - fault.at_s) / fault.over_s, 0.0, 1.0)
    else:
        grown = (t_s >= fault.at_s).astype(np.float64)
    return np.where(t_s < fault.until_s, grown, 0.0)


@dataclass(slots=True)
class Conditions:
    """What the network is solved for: numbers, or arrays over time where a fault moves them."""

    tips: Floats
    line_loss: Floats
    branch_loss: Floats
    leak_down: Floats
    leak_up: Floats
    delivery: Floats
    pressure_factor: Floats


def density_factor(scenario: Scenario, t_s: Floats) -> Floats:
    """Density of the mix over that of the rig file, shape of `t_s`."""
    factor = np.ones(len(t_s))
    for fault in scenario.of("density"):
        factor *= 1.0 + fault.full_size * profile(fault, t_s)
    return factor


def tip_shares(scenario: Scenario, t_s: Floats) -> Floats:
    """Each tip's flow over that of a clean new one, shape (n, tips)."""
    tips = scenario.rig.boom.tips
    made = np.ones(tips)
    if scenario.tip_spread_share:
        rng = generator(scenario.seed, "tips as made")
        made = 1.0 + scenario.tip_spread_share * rng.standard_normal(tips)
    faults = list(scenario.of("tip blocked", "tip worn", "tip missing"))
    if not faults and not any(scenario.of("density")):
        return np.broadcast_to(made, (len(t_s), tips))
    shares = np.repeat(made[np.newaxis, :], len(t_s), axis=0)
    for fault in faults:
        which = slice(None) if fault.tip is None else slice(fault.tip - 1, fault.tip)
        change = {"tip blocked": -1.0, "tip worn": 1.0, "tip missing": 1.0}[fault.kind]
        size = fault.full_size - 1.0 if fault.kind == "tip missing" else fault.full_size
        shares[:, which] *= 1.0 + change * size * profile(fault, t_s)[:, np.newaxis]
    # What a tip passes at a pressure falls with the root of density (Bernoulli).
    shares /= np.sqrt(density_factor(scenario, t_s))[:, np.newaxis]
    return np.maximum(shares, 0.0)


def conditions(scenario: Scenario, t_s: Floats, shares: Floats, each: float) -> Conditions:
    """What the scenario's faults make of a network of tips of `each` conductance."""
    boom = scenario.rig.boom
    c = Conditions(
        tips=np.asarray(each * (shares[0] if shares.strides[0] == 0 else shares).sum(axis=-1)),
        line_loss=np.asarray(scenario.supply.line_loss),
        branch_loss=np.asarray(0.0),
        leak_down=np.asarray(0.0),
        leak_up=np.asarray(0.0),
        delivery=np.asarray(1.0),
        pressure_factor=np.asarray(1.0),
    )
    for fault in scenario.faults:
        size = fault.full_size
        match fault.kind:
            case "leak after meter":
                c.leak_down = c.leak_down + each * size * profile(fault, t_s)
            case "leak before meter":
                c.leak_up = c.leak_up + each * size * profile(fault, t_s)
            case "strainer":
                c.line_loss = c.line_loss * (1.0 + (size - 1.0) * profile(fault, t_s))
            case "strainer after gauge":
                own = 1.0 / (boom.tips * each) ** 2
                c.branch_loss = c.branch_loss + size * own * profile(fault, t_s)
            case "pump weak":
                c.delivery = c.delivery * (1.0 - size * profile(fault, t_s))
            case "regulator":
                c.pressure_factor = c.pressure_factor * (1.0 + size * profile(fault, t_s))
            case _:
                pass
    if any(scenario.of("density")):
        # All these losses are turbulent: pressure goes with density times the square of flow.
        factor = density_factor(scenario, t_s)
        c.line_loss, c.branch_loss = c.line_loss * factor, c.branch_loss * factor
        c.leak_down, c.leak_up = c.leak_down / np.sqrt(factor), c.leak_up / np.sqrt(factor)
    return c


def solve(scenario: Scenario, c: Conditions, n: int, check_pa: float) -> OperatingPoint:
    """The network at each sample, solved once for each stretch of unchanged conditions."""
    stack = np.column_stack(
        [
            np.broadcast_to(x, n)
            for x in (c.tips, c.line_loss, c.branch_loss, c.leak_down, c.leak_up, c.delivery)
            if x.ndim
        ]
        or [np.zeros(n)]
    )
    new = np.ones(n, dtype=np.bool_)
    new[1:] = np.any(stack[1:] != stack[:-1], axis=1)
    at = np.flatnonzero(new)
    lengths = np.diff(np.append(at, n))

    def pick(x: Floats) -> Floats:
        return x if x.ndim == 0 else x[at]

    point = operating_point(
        scenario.supply.pump,
        np.broadcast_to(pick(c.tips), at.shape),
        line_loss=pick(c.line_loss),
        branch_loss=pick(c.branch_loss),
        leak_down=pick(c.leak_down),
        leak_up=pick(c.leak_up),
        delivery=pick(c.delivery),
        check_pa=check_pa,
    )
    return OperatingPoint(
        pump_pa=np.repeat(point.pump_pa, lengths),
        gauge_pa=np.repeat(point.gauge_pa, lengths),
        tip_pa=np.repeat(point.tip_pa, lengths),
        flow_m3_s=np.repeat(point.flow_m3_s, lengths),
        leak_up_m3_s=np.repeat(point.leak_up_m3_s, lengths),
        tips_open=np.repeat(point.tips_open, lengths),
    )

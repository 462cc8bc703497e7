"""Where pump, line and boom agree: pressures and flow at the operating point.

One unknown, the pressure at the pump's outlet, in one equation (continuity): what the pump leaves
for the line equals what the boom takes plus what leaks before the meter. Both sides are monotonic
in that pressure, so bisection always finds the one answer, for a whole array at once.

    pump outlet --leak_up-- [line loss] -- meter -- gauge -- [branch loss] -- tips, leak_down

Losses are quadratic (turbulent), tips and leaks are orifices (flow = conductance * P^0.5).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flowlog.physics.pumps import Pump

Floats = NDArray[np.float64]

_HALVINGS = 52
"""Brings any bracket to the rounding of a double."""


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """Arrays of one common shape. Pressures above the atmosphere."""

    pump_pa: Floats
    """At the pump's outlet."""
    gauge_pa: Floats
    """At the boom manifold, behind line and meter; 0 behind a closed valve."""
    tip_pa: Floats
    flow_m3_s: Floats
    """Through the meter."""
    leak_up_m3_s: Floats
    """Lost before the meter."""
    tips_open: NDArray[np.bool_]
    """False where the check valves hold the tips shut."""


def _boom_flow(pump_pa: Floats, conductance: Floats, loss: Floats) -> Floats:
    # Q = G sqrt(P - loss Q^2), solved for Q without dividing by a conductance that may be zero.
    flow = conductance * np.sqrt(pump_pa) / np.sqrt(1.0 + loss * conductance**2)
    return np.asarray(flow, dtype=np.float64)


def _balance(
    pump: Pump, delivery: Floats, conductance: Floats, loss: Floats, leak_up: Floats
) -> Floats:
    """Pump outlet pressure at which inflow equals outflow, same shape as the arguments."""
    low = np.zeros_like(conductance)
    high = np.full_like(conductance, pump.highest_pa)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        surplus = (
            pump.net_flow_m3_s(middle, delivery)
            - _boom_flow(middle, conductance, loss)
            - leak_up * np.sqrt(middle)
        )
        rises = surplus > 0.0
        low = np.where(rises, middle, low)
        high = np.where(rises, high, middle)
    return 0.5 * (low + high)


def operating_point(
    pump: Pump,
    tips: ArrayLike,
    *,
    line_loss: ArrayLike = 0.0,
    branch_loss: ArrayLike = 0.0,
    leak_down: ArrayLike = 0.0,
    leak_up: ArrayLike = 0.0,
    delivery: ArrayLike = 1.0,
    check_pa: ArrayLike = 0.0,
    valve_open: ArrayLike = True,
) -> OperatingPoint:
    """Solve for the steady state; all arguments broadcast against one another.

    Args:
        pump: The pump with its relief and bypass.
        tips: Sum of the tips' conductances, m3/s/Pa^0.5 (already divided by the root of the
            carrier's relative density, if it isn't water).
        line_loss: Between pump and gauge, Pa/(m3/s)^2.
        branch_loss: Between gauge and tips, Pa/(m3/s)^2.
        leak_down: Conductance of a leak behind the meter, at the tips' pressure.
        leak_up: Conductance of a leak before the meter, at the pump's pressure.
        delivery: Share of its healthy flow that the pump delivers.
        check_pa: The tips' check valves are shut below this pressure.
        valve_open: The boom valve.

    Returns:
        The operating point, arrays of the common shape (at least 0-d).
    """
    parts = np.broadcast_arrays(
        *(
            np.asarray(value, dtype=np.float64)
            for value in (tips, line_loss, branch_loss, leak_down, leak_up, delivery, check_pa)
        ),
        np.asarray(valve_open, dtype=np.bool_),
    )
    tips_, line, branch, down, up, share, check = (part.astype(np.float64) for part in parts[:7])
    opened = parts[7].astype(np.bool_)
    total = line + branch

    conductance = np.where(opened, tips_ + down, 0.0)
    pump_pa = _balance(pump, share, conductance, total, up)
    flow = _boom_flow(pump_pa, conductance, total)
    tip_pa = np.where(opened, pump_pa - total * flow**2, 0.0)
    tips_open = opened & (tip_pa >= check)

    # Where the check valves shut, only a leak behind the meter is left to flow.
    shut = opened & ~tips_open
    if np.any(shut):
        conductance = np.where(shut, down, conductance)
        pump_pa = np.where(shut, _balance(pump, share, conductance, total, up), pump_pa)
        flow = _boom_flow(pump_pa, conductance, total)
        tip_pa = np.where(opened, pump_pa - total * flow**2, 0.0)

    return OperatingPoint(
        pump_pa=pump_pa,
        gauge_pa=np.where(opened, pump_pa - line * flow**2, 0.0),
        tip_pa=tip_pa,
        flow_m3_s=flow,
        leak_up_m3_s=np.asarray(up * np.sqrt(pump_pa), dtype=np.float64),
        tips_open=tips_open,
    )

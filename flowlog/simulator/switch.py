"""The pressure switch of a demand pump: off at the cut-out, on again at the cut-in."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flowlog.physics.pumps import DemandPump

Floats = NDArray[np.float64]

_SUBSTEPS = 20
FALL_S = 0.6
"""Seconds in which the working flow lets the line fall from cut-out to cut-in: a hose stretches
little, and a small accumulator is common (common practice, no source)."""


def cycle(
    pump: DemandPump, conductance: Floats, delivery: Floats, step_s: float
) -> tuple[Floats, Floats]:
    """Mean pump pressure and mean root of it over each step while the switch cycles.

    Args:
        pump: The pump.
        conductance: Of line, boom and leaks together as the pump sees it, shape (n,).
        delivery: Share of the pump's flow, shape (n,).
        step_s: One step.

    Returns:
        Pressure (Pa) and root of pressure (Pa^0.5), each of shape (n,): means over the steps.

    A loop over time, because the switch remembers; cycling is the exception, not the rule.
    """
    middle_pa = 0.5 * (pump.cut_in_pa + pump.cut_out_pa)
    typical = float(np.mean(conductance)) * middle_pa**0.5
    compliance = max(typical, 1e-9) * FALL_S / (pump.cut_out_pa - pump.cut_in_pa)
    substep = step_s / _SUBSTEPS
    pressure, running = pump.cut_in_pa, True
    means, roots = np.empty(len(conductance)), np.empty(len(conductance))
    for k, (g, share) in enumerate(zip(conductance.tolist(), delivery.tolist(), strict=True)):
        total = total_root = 0.0
        for _ in range(_SUBSTEPS):
            root = pressure**0.5
            inflow = 0.0
            if running:
                inflow = share * (pump.free_m3_s - pump.slip_m3_s_pa * pressure)
            pressure = max(pressure + (inflow - g * root) / compliance * substep, 0.0)
            if pressure >= pump.cut_out_pa:
                running = False
            elif pressure <= pump.cut_in_pa:
                running = True
            total += pressure
            total_root += root
        means[k], roots[k] = total / _SUBSTEPS, total_root / _SUBSTEPS
    return means, roots

"""Pumps with their plumbing, sized for a rig.

Five arrangements that are met on small sprayers, each known by the shape of its curve around the
working point. The shapes (free flow, slip, relief slope, line loss relative to the working point)
are plausible values for their class: common practice, no source, and no particular product. They
are stated in gal/min and psi for one boom and scaled to another by similarity: multiplying all
flows by one factor and all pressures by another leaves the equations as they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final, Literal, get_args

from flowlog.errors import FlowlogError
from flowlog.physics.network import operating_point
from flowlog.physics.pumps import Bypass, CentrifugalPump, DemandPump, DisplacementPump, Pump

Family = Literal["demand", "demand relief", "roller", "roller throttled", "centrifugal"]
FAMILIES: Final[tuple[Family, ...]] = get_args(Family)

GAL_MIN: Final = 3.785411784e-3 / 60.0
"""m3/s in one US gallon a minute."""
PSI: Final = 6894.757293168
"""Pa in one pound-force per square inch."""


@dataclass(frozen=True, slots=True)
class Supply:
    """A pump and the line from it to the boom."""

    pump: Pump
    line_loss: float
    """Pa/(m3/s)^2, from the pump's outlet to the manifold, strainer included."""


def _shape(family: Family, flow: float, pressure: float) -> Supply:
    """The family's reference shape with flows in `flow` and pressures in `pressure`."""
    loss = pressure / flow**2
    slope = flow / pressure
    match family:
        case "demand":
            pump: Pump = DemandPump(
                7.0 * flow, 0.0625 * slope, 45 * pressure, 60 * pressure, 65 * pressure
            )
            return Supply(pump, 0.08 * loss)
        case "demand relief":
            pump = DemandPump(
                7.0 * flow,
                0.0625 * slope,
                45 * pressure,
                60 * pressure,
                65 * pressure,
                Bypass(36 * pressure, 0.5 * slope),
            )
            return Supply(pump, 0.08 * loss)
        case "roller":
            bypass = Bypass(39 * pressure, 1.0 * slope)
            return Supply(DisplacementPump(9.0 * flow, 0.012 * slope, bypass), 0.03 * loss)
        case "roller throttled":
            bypass = Bypass(throttle=2.0 * flow / (40 * pressure) ** 0.5)
            return Supply(DisplacementPump(9.0 * flow, 0.012 * slope, bypass), 0.03 * loss)
        case "centrifugal":
            return Supply(CentrifugalPump(62 * pressure, 0.12 * loss), 0.40 * loss)
        case _:
            raise FlowlogError(f"{family!r} is not a pump family (one of: {', '.join(FAMILIES)})")


def reference_tips(family: Family) -> tuple[int, float]:
    """The boom that the reference shape was drawn for: tips, and gal/min at 40 psi of each."""
    return (6, 0.5) if family.startswith("demand") else (8, 0.8)


def reference_supply(family: Family) -> Supply:
    """The reference shape itself, in SI, for the boom of `reference_tips`."""
    return _shape(family, GAL_MIN, PSI)


@cache
def _working_point(family: Family) -> tuple[float, float]:
    """Flow (gal/min) and pressure (psi) of the reference shape on its own boom."""
    tips, each = reference_tips(family)
    supply = _shape(family, 1.0, 1.0)
    point = operating_point(supply.pump, tips * each / 40**0.5, line_loss=supply.line_loss)
    return float(point.flow_m3_s), float(point.gauge_pa)


def sized_supply(family: Family, flow_m3_s: float, pressure_pa: float) -> Supply:
    """The family's supply that gives this flow at this gauge pressure on a healthy boom.

    Raises:
        FlowlogError: If the family is unknown.
    """
    if family not in FAMILIES:
        raise FlowlogError(f"{family!r} is not a pump family (one of: {', '.join(FAMILIES)})")
    flow, pressure = _working_point(family)
    return _shape(family, flow_m3_s / flow, pressure_pa / pressure)

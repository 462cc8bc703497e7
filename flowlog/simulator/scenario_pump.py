"""The [pump] table of a scenario file."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import cast

from flowlog.physics.pumps import CentrifugalPump, DemandPump, DisplacementPump, Pump
from flowlog.rig.model import Rig
from flowlog.rig.table import Table
from flowlog.simulator.supply import FAMILIES, Family, Supply, sized_supply


def read_pump(table: Table, rig: Rig | None) -> Supply | None:
    """The supply, sized for the rig; None if there is no rig to size it for."""
    family = cast("Family", table.choice("family", FAMILIES, default="demand relief"))
    nan = math.nan
    flow = table.quantity(
        "flow", "flow", "0.01 gal/min", "200 gal/min", example='flow = "4 gal/min"', default=nan
    )
    limits = ("1 psi", "500 psi")
    pressure = table.quantity(
        "pressure", "pressure", *limits, example='pressure = "40 psi"', default=nan
    )
    loss_pa = table.quantity(
        "line_loss", "pressure", "0 psi", "100 psi", example='line_loss = "1.5 psi"', default=nan
    )
    values = {
        key: table.quantity(key, "pressure", *limits, example=f'{key} = "45 psi"', default=nan)
        for key in ("relief", "cut_out", "cut_in", "shut_off")
    }
    values["free_flow"] = table.quantity(
        "free_flow",
        "flow",
        "0.01 gal/min",
        "200 gal/min",
        example='free_flow = "7 gal/min"',
        default=nan,
    )
    table.end()
    if rig is None:
        return None
    conductance = rig.nominal_conductance
    # One of the two is enough: the boom's tips give the other.
    if math.isnan(pressure):
        pressure = rig.expected_pressure_pa if math.isnan(flow) else (flow / conductance) ** 2
    if math.isnan(flow):
        flow = conductance * pressure**0.5
    supply = sized_supply(family, flow, pressure)
    driven = supply.pump
    for key, value in values.items():
        if key in table and not math.isnan(value):
            driven = _override(table, family, driven, key, value)
    if isinstance(driven, DemandPump) and driven.cut_in_pa >= driven.cut_out_pa:
        table.fault("cut_in", "the switch must close at a lower pressure than it opens at")
    loss = supply.line_loss if math.isnan(loss_pa) else loss_pa / flow**2
    return Supply(driven, loss)


def _override(table: Table, family: Family, pump: Pump, key: str, value: float) -> Pump:
    """The pump with one of its values changed; a value that it has not is a fault."""
    bypass = pump.bypass if isinstance(pump, DemandPump | DisplacementPump) else None
    match key, pump:
        case "shut_off", CentrifugalPump():
            return replace(pump, shut_off_pa=value)
        case "free_flow", DisplacementPump():
            return replace(pump, free_m3_s=value)
        case "free_flow", DemandPump():
            return replace(pump, free_m3_s=value)
        case "cut_in", DemandPump():
            return replace(pump, cut_in_pa=value)
        case "cut_out", DemandPump():
            # The switch's other points move along, unless the file says otherwise.
            ratio = value / pump.cut_out_pa
            return replace(
                pump,
                cut_out_pa=value,
                stop_pa=pump.stop_pa * ratio,
                cut_in_pa=pump.cut_in_pa * ratio,
            )
        case "relief", DisplacementPump() if bypass and bypass.relief_pa is not None:
            return replace(pump, bypass=replace(bypass, relief_pa=value))
        case "relief", DemandPump() if bypass and bypass.relief_pa is not None:
            return replace(pump, bypass=replace(bypass, relief_pa=value))
        case _:
            table.fault(key, f"a pump of the family '{family}' has none (leave the line out)")
            return pump

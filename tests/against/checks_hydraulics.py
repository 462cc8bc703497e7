"""Tips, carriers, lines, water and meters: tables and worked values."""

from __future__ import annotations

import numpy as np
import sources as src
from register import check

from flowlog.physics import carrier, lines, meter, rates, tips, water
from flowlog.units import number_in, parse


def pa(text: str) -> float:
    return parse(text, "pressure")


def m3_s(text: str) -> float:
    return parse(text, "flow")


# Pressure and flow of a tip --------------------------------------------------------------------


def flow_share(pressure: float, reference: float) -> float:
    return tips.tip_flow_m3_s(1.0, pressure) / tips.tip_flow_m3_s(1.0, reference)


for _psi, _exact in (
    ("15", "0.612"), ("20", "0.707"), ("25", "0.791"), ("30", "0.866"), ("35", "0.935"),
    ("45", "1.061"), ("50", "1.118"), ("60", "1.225"),
):  # fmt: skip
    check(
        src.SQUARE_ROOT, f"flow at {_psi} psi over flow at 40 psi",
        lambda psi=_psi: flow_share(pa(f"{psi} psi"), pa("40 psi")), exact=_exact,
    )  # fmt: skip
check(
    src.SQUARE_ROOT, "flow at 3 bar over flow at 40 psi",
    lambda: flow_share(pa("3 bar"), pa("40 psi")), exact="1.043",
)  # fmt: skip
for _more, _exact in (("5 %", "10.25"), ("10 %", "21.0"), ("20 %", "44.0"), ("100 %", "300.0")):
    check(
        src.SQUARE_ROOT, f"more pressure for {_more} more flow",
        lambda more=_more: 100.0 * (
            tips.pressure_for_flow_pa(1.0, 1.0 + parse(more, "share")) - 1.0
        ),
        "%", exact=_exact,
    )  # fmt: skip
for _psi, _exact in (
    ("20", "2.50"), ("30", "1.67"), ("40", "1.25"), ("50", "1.00"), ("60", "0.83"),
):  # fmt: skip
    check(
        src.SQUARE_ROOT, f"flow that 1 psi of gauge error is worth at {_psi} psi",
        lambda psi=_psi: 100.0 * float(
            tips.flow_share_of_gauge_error(pa(f"{psi} psi"), pa("1 psi"))
        ),
        "%", exact=_exact,
    )  # fmt: skip


def us_flow_of_iso(l_min: str) -> float:
    """gal/min at 40 psi of an ISO size, its L/min at 3 bar."""
    k = tips.tip_coefficient(m3_s(f"{l_min} L/min"), pa("3 bar"))
    return number_in(tips.tip_flow_m3_s(k, pa("40 psi")), "flow", "gal/min")


for _size, _nominal, _l_min in (
    ("0050", 0.05, "0.20"), ("0075", 0.075, "0.30"), ("01", 0.1, "0.40"), ("015", 0.15, "0.60"),
    ("02", 0.2, "0.80"), ("025", 0.25, "1.00"), ("03", 0.3, "1.20"), ("035", 0.35, "1.40"),
    ("04", 0.4, "1.60"), ("05", 0.5, "2.00"), ("06", 0.6, "2.40"), ("08", 0.8, "3.20"),
    ("10", 1.0, "4.00"), ("15", 1.5, "6.00"), ("20", 2.0, "8.00"),
):  # fmt: skip
    check(
        src.TIP_SIZES, f"size {_size}, {_l_min} L/min at 3 bar: over US nominal at 40 psi",
        lambda nominal=_nominal, l_min=_l_min: 100.0 * (us_flow_of_iso(l_min) / nominal - 1.0),
        "%", exact="1.3",
    )  # fmt: skip
check(
    src.US_TIP_SIZES, "size 04: 1.60 L/min at 3 bar", lambda: us_flow_of_iso("1.60"),
    "gal/min at 40 psi", printed="0.4", tolerance=0.006, exact="0.4053",
)  # fmt: skip


def orifice(diameter: str, pressure: str) -> float:
    density = water.density_kg_m3(15.0)
    flow = tips.orifice_flow_m3_s(parse(diameter, "length"), pa(pressure), 1.0, density)
    return number_in(flow, "flow", "gal/min")


for _diameter, _printed, _tolerance in (("0.25 in", "5.9", 0.05), ("0.125 in", "1.5", 0.05)):
    check(
        src.PUMP_LIBRARY, f"theoretical discharge, {_diameter} at 10 psi",
        lambda diameter=_diameter: orifice(diameter, "10 psi"), "gal/min",
        printed=_printed, tolerance=_tolerance,
        exact="5.90" if _diameter == "0.25 in" else "1.47",
    )  # fmt: skip
check(
    src.PUMP_LIBRARY, "constant: 1 in at a head of 1 ft",
    lambda: number_in(
        tips.orifice_flow_m3_s(0.0254, 9.80665 * 0.3048 * 998.2, 1.0, 998.2), "flow", "gal/min"
    ),
    "gal/min", printed="19.636", tolerance=0.006,
)  # fmt: skip
for _discharge, _exact in ((0.95, "1.34"), (0.70, "1.56")):
    check(
        src.SQUARE_ROOT, f"orifice that gives 0.5 gal/min at 40 psi, discharge {_discharge}",
        lambda discharge=_discharge: 1000.0
        * tips.orifice_diameter_m(m3_s("0.5 gal/min"), pa("40 psi"), discharge),
        "mm", exact=_exact,
    )  # fmt: skip
check(
    src.SQUARE_ROOT, "wider by, for 10 % more flow",
    lambda: 100.0 * (tips.orifice_diameter_m(1.1, 1.0) / tips.orifice_diameter_m(1.0, 1.0) - 1.0),
    "%", exact="4.9",
)  # fmt: skip

# The boom's conductance ------------------------------------------------------------------------


def boom_change(coefficients: np.ndarray, leak: float = 0.0) -> float:
    """Change of conductance against as many tips of coefficient 1, per cent."""
    healthy = tips.boom_conductance(np.ones_like(coefficients))
    changed = tips.boom_conductance(coefficients, leak)
    shift = tips.conductance_log_shift(float(changed), float(healthy))
    return -100.0 * tips.blocked_tips(1.0, shift)


def first_tip(count: int, share: float) -> np.ndarray:
    row = np.ones(count)
    row[0] = share
    return row


for _count, _exact in ((4, "-25.0"), (6, "-16.7"), (8, "-12.5"), (10, "-10.0"), (12, "-8.3")):
    check(
        src.TIPS_IN_PARALLEL, f"conductance, 1 tip of {_count} blocked",
        lambda count=_count: boom_change(first_tip(count, 0.0)), "%", exact=_exact,
    )  # fmt: skip
    check(
        src.TIPS_IN_PARALLEL, f"tips that this shift tells to be blocked, of {_count}",
        lambda count=_count: tips.blocked_tips(
            float(count), tips.blocked_tip_log_shift(float(count), 1.0)
        ),
        "tips", exact="1.000000",
    )  # fmt: skip
for _count, _half, _missing, _leak in ((6, "-8.33", "83.3", "16.7"), (8, "-6.25", "62.5", "12.5")):
    check(
        src.TIPS_IN_PARALLEL, f"conductance, 1 tip of {_count} half blocked",
        lambda count=_count: boom_change(first_tip(count, 0.5)), "%", exact=_half,
    )  # fmt: skip
    check(
        src.TIPS_IN_PARALLEL, f"conductance, 1 tip of {_count} missing (6 times its flow)",
        lambda count=_count: boom_change(first_tip(count, 6.0)), "%", exact=_missing,
    )  # fmt: skip
    check(
        src.TIPS_IN_PARALLEL, f"conductance, leak of one tip behind the meter, {_count} tips",
        lambda count=_count: boom_change(np.ones(count), leak=1.0), "%", exact=_leak,
    )  # fmt: skip
    check(
        src.TIPS_IN_PARALLEL, f"conductance, all {_count} tips worn by 10 %",
        lambda count=_count: boom_change(np.full(count, 1.1)), "%", exact="10.0",
    )  # fmt: skip


def restricted(count: int, tip: str) -> float:
    """Change of conductance by a restriction of 0.3 psi/(gal/min)^2 behind the gauge, per cent."""
    k = tips.tip_coefficient(m3_s(tip), pa("40 psi"))
    healthy = float(tips.boom_conductance(np.full(count, k)))
    resistance = lines.strainer_resistance_pa_s2_m6(m3_s("1 gal/min"), pa("0.3 psi"))
    shift = tips.conductance_log_shift(tips.restricted_conductance(healthy, resistance), healthy)
    return -100.0 * tips.blocked_tips(1.0, shift)


for _count, _tip, _exact in ((6, "0.5 gal/min", "-3.2"), (8, "0.8 gal/min", "-12.5")):
    check(
        src.TIPS_IN_PARALLEL,
        f"conductance, {_count} tips of {_tip}, 0.3 psi/(gal/min)2 after the gauge",
        lambda count=_count, tip=_tip: restricted(count, tip), "%", exact=_exact,
    )  # fmt: skip
for _count, _exact in ((4, "78"), (6, "44"), (8, "31"), (10, "23")):
    check(
        src.TIPS_IN_PARALLEL, f"pressure rise at constant flow, 1 tip of {_count} blocked",
        lambda count=_count: 100.0 * (
            tips.pressure_for_flow_pa(float(tips.boom_conductance(first_tip(count, 0.0))), 1.0)
            / tips.pressure_for_flow_pa(float(tips.boom_conductance(np.ones(count))), 1.0)
            - 1.0
        ),
        "%", exact=_exact,
    )  # fmt: skip

# Carriers --------------------------------------------------------------------------------------


def density(lb_gal: str) -> float:
    return parse(f"{lb_gal} lb/gal", "relative_density")


for _lb, _sg, _cf in (
    ("6.6", "0.79", "0.89"), ("7.0", "0.84", "0.92"), ("8.0", "0.96", "0.98"),
    ("8.34", "1.00", "1.00"), ("9.0", "1.08", "1.04"), ("10.0", "1.20", "1.10"),
    ("10.65", "1.28", "1.13"), ("11.0", "1.32", "1.15"), ("11.06", "1.33", "1.15"),
    ("11.4", "1.37", "1.17"), ("11.5", "1.38", "1.17"), ("11.6", "1.39", "1.18"),
    ("12.0", "1.44", "1.20"), ("14.0", "1.68", "1.30"), ("16.0", "1.92", "1.39"),
):  # fmt: skip
    _source = src.NEBRASKA_DENSITY if float(_lb) <= 12.0 else src.GEORGIA_DENSITY
    check(
        _source, f"{_lb} lb/gal: relative density", lambda lb=_lb: density(lb),
        printed=_sg, tolerance=0.005,
    )  # fmt: skip
    check(
        _source, f"{_lb} lb/gal: conversion factor",
        lambda lb=_lb: carrier.conversion_factor(density(lb)), printed=_cf, tolerance=0.005,
    )  # fmt: skip
for _source in (src.NEBRASKA_DENSITY, src.OKLAHOMA_DENSITY):
    check(
        _source, "20 gal/ac of 10.65 lb/gal: water rate",
        lambda: number_in(
            carrier.water_rate_for(parse("20 gal/ac", "rate"), density("10.65")), "rate", "gal/ac"
        ),
        "gal/ac", printed="22.6", tolerance=0.05, exact="22.60",
    )  # fmt: skip
for _sg, _printed in ((0.907, "5"), (1.108, "-5")):
    check(
        src.ASTM_E549, f"flow at relative density {_sg} against water (limit 5 %)",
        lambda sg=_sg: 100.0 * (carrier.carrier_flow_for(1.0, sg) - 1.0), "%",
        printed=_printed, tolerance=0.05,
    )  # fmt: skip
for _sg, _exact in ((1.05, "-2.4"), (1.10, "-4.7"), (1.28, "-11.6")):
    check(
        src.SQUARE_ROOT, f"conductance with a carrier of {_sg}",
        lambda sg=_sg: -100.0 * tips.blocked_tips(1.0, carrier.carrier_log_shift(sg)), "%",
        exact=_exact,
    )  # fmt: skip

# Lines and water -------------------------------------------------------------------------------

DRAWN_TUBING_M = 1.5e-6


def hose(bore_in: float, gal_min: float) -> float:
    loss = lines.line_loss_pa(
        m3_s(f"{gal_min} gal/min"), bore_in * 0.0254, parse("10 ft", "length"),
        water.density_kg_m3(20.0), water.viscosity_pa_s(20.0), roughness_m=DRAWN_TUBING_M,
    )  # fmt: skip
    return number_in(loss, "pressure", "psi")


for _bore, _row in (
    (0.375, ("0.59", "1.99", "4.06", "6.77", "10.1", "14.0", "23.5")),
    (0.5, ("0.15", "0.50", "1.03", "1.71", "2.54", "3.51", "5.87")),
    (0.625, (None, "0.17", "0.35", "0.59", "0.87", "1.20", "2.01")),
    (0.75, (None, None, "0.15", "0.25", "0.37", "0.50", "0.84")),
    (1.0, (None, None, None, None, "0.09", "0.13", "0.21")),
):
    # None: a loss of less than 0.08 psi is written with too few figures to check anything.
    for _flow, _printed in zip((1, 2, 3, 4, 5, 6, 8), _row, strict=True):
        if _printed is None:
            continue
        check(
            src.DARCY, f"10 ft of {_bore} in bore at {_flow} gal/min",
            lambda bore=_bore, flow=_flow: hose(bore, flow), "psi",
            printed=_printed, tolerance=0.006 if float(_printed) < 10 else 0.05,
        )  # fmt: skip
for _celsius, _density, _viscosity in (
    (0, "999.95", "1.791"), (5, "1000.06", "1.518"), (10, "999.80", "1.306"),
    (15, "999.19", "1.138"), (20, "998.30", "1.002"), (25, "997.14", "0.890"),
    (30, "995.74", "0.797"), (35, "994.13", "0.719"), (40, "992.31", "0.653"),
):  # fmt: skip
    check(
        src.IAPWS_TABLE, f"density at {_celsius} C (0.2 MPa are worth 0.10)",
        lambda c=_celsius: water.density_kg_m3(float(c)), "kg/m3",
        printed=_density, tolerance=0.12,
    )  # fmt: skip
    check(
        src.IAPWS_TABLE, f"viscosity at {_celsius} C",
        lambda c=_celsius: 1e3 * water.viscosity_pa_s(float(c)), "mPa s",
        printed=_viscosity, tolerance=0.0015,
    )  # fmt: skip
for _celsius, _printed in ((4, "8.34"), (17, "8.34"), (20, "8.33")):
    check(
        src.COMMON_PRACTICE, f"a gallon of water at {_celsius} C",
        lambda c=_celsius: number_in(
            carrier.relative_density(water.density_kg_m3(float(c))), "relative_density", "lb/gal"
        ),
        "lb", printed=_printed, tolerance=0.0055,
    )  # fmt: skip

# Meters ----------------------------------------------------------------------------------------


def frequency(flow: str, pulses: str) -> float:
    return meter.pulse_frequency_hz(m3_s(flow), parse(pulses, "pulses_per_volume"))


check(
    src.COUNTING, "1 L/min at 450 pulse/L", lambda: frequency("1 L/min", "450 pulse/L"), "Hz",
    exact="7.500",
)  # fmt: skip
for _flow, _exact in (
    ("0.5", "14.2"), ("1", "28.4"), ("2", "56.8"), ("3", "85.2"), ("4", "113.6"), ("5", "142.0"),
    ("6", "170.3"), ("8", "227.1"),
):  # fmt: skip
    check(
        src.COUNTING, f"{_flow} gal/min at 450 pulse/L",
        lambda flow=_flow: frequency(f"{flow} gal/min", "450 pulse/L"), "Hz", exact=_exact,
    )  # fmt: skip
check(
    src.COUNTING, "8 gal/min at 660 pulse/L", lambda: frequency("8 gal/min", "660 pulse/L"), "Hz",
    exact="333",
)  # fmt: skip
check(
    src.COUNTING, "time between pulses, 0.05 gal/min at 450 pulse/L",
    lambda: rates.time_per_tank_s(
        1.0 / parse("450 pulse/L", "pulses_per_volume"), m3_s("0.05 gal/min")
    ),
    "s", exact="0.70",
)  # fmt: skip
for _flow, _exact in (("1", "3.5"), ("3", "1.2"), ("4", "0.88"), ("8", "0.44")):
    check(
        src.COUNTING, f"one count of a gate of 1 s, {_flow} gal/min at 450 pulse/L",
        lambda flow=_flow: 100.0
        * meter.gated_count_limit(frequency(f"{flow} gal/min", "450 pulse/L"), 1.0),
        "%", exact=_exact,
    )  # fmt: skip
check(
    src.COUNTER_COURSE, "a period of 1 s on a clock of 1 MHz",
    lambda: 100.0 * meter.edge_timing_limit(1.0, 1e6), "%", printed="0.0001", tolerance=1e-9,
)  # fmt: skip
check(
    src.COUNTER_ARTICLE, "one period in 743 ticks of a clock of 1 MHz",
    lambda: meter.frequency_from_ticks_hz(1.0, 743.0, 1e6), "Hz",
    printed="1345.895", tolerance=0.001,
)  # fmt: skip
check(
    src.COUNTING, "flow of 450 pulses at 450 pulse/L in 60 s",
    lambda: number_in(
        meter.flow_from_pulses_m3_s(450.0, 60.0, parse("450 pulse/L", "pulses_per_volume")),
        "flow", "L/min",
    ),
    "L/min", exact="1.000000",
)  # fmt: skip

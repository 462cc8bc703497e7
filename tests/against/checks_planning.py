"""Reaching a rate and filling a tank: worked examples, through the planning functions."""

from __future__ import annotations

import math
from functools import cache

import sources as src
from register import check

from flowlog.planning.areas import circle_m2, rectangle_m2, triangle_m2
from flowlog.planning.nozzles import TIP_SIZES
from flowlog.planning.plan_products import read_product_line
from flowlog.planning.products import read_active_rate, read_label_rate, read_strength
from flowlog.planning.rate import RatePlan, Setting, Way, plan_rate
from flowlog.planning.tank import Stop, TankJob, TankPlan, plan_tank
from flowlog.rig.model import Boom, Tip
from flowlog.units import WATER_KG_M3, Kind, number_in, parse

# Reaching a rate --------------------------------------------------------------------------------


def setting(
    tip: str, pressure: str, speed: str, band: tuple[str, str], density: str = "1", tips: int = 4
) -> Setting:
    boom = Boom(
        tips,
        parse("20 in", "length"),
        Tip(parse(tip, "flow"), parse(pressure, "pressure")),
        parse(band[0], "pressure"),
        parse(band[1], "pressure"),
    )
    return Setting(
        boom,
        parse(density, "relative_density"),
        parse(pressure, "pressure"),
        parse(speed, "speed"),
    )


@cache
def halved() -> RatePlan:
    """The common practice example: 64 fl oz a tip in 21 s over 150 ft, at 40 psi; now half."""
    flow = f"{64 / 128 * 60 / 21!r} gal/min"
    speed = f"{150 / 21!r} ft/s"
    return plan_rate(
        setting(flow, "40 psi", speed, ("30 psi", "40 psi")), parse("1 gal/1000 ft2", "rate")
    )


def way(plan: RatePlan, kind: str) -> Way:
    """The way of a kind; with the sign of a refusal left to `refused`."""
    return next(one for one in (*plan.ways, *plan.refused) if one.kind == kind)


HALVED = "4 tips at 20 in, 2.00 to 1.00 gal/1000 ft2, band 30 to 40 psi: "
check(
    src.COMMON_PRACTICE, HALVED + "rate now",
    lambda: number_in(halved().setting.rate_m3_m2, "rate", "gal/1000 ft2"), "gal/1000 ft2",
    printed="2.00",
)  # fmt: skip
check(
    src.COMMON_PRACTICE, HALVED + "flow of a tip now",
    lambda: 2 * number_in(halved().tip_flow_m3_s, "flow", "gal/min"), "gal/min", printed="1.43",
)  # fmt: skip
check(
    src.COMMON_PRACTICE, HALVED + "pressure way",
    lambda: number_in(way(halved(), "pressure").pressure_pa, "pressure", "psi"), "psi",
    printed="10", tolerance=1e-6,
)  # fmt: skip
check(
    src.COMMON_PRACTICE, HALVED + "pressure way is refused, below",
    lambda: float(way(halved(), "pressure").refusal == "pressure below"), "", printed="1",
    tolerance=0.0,
)  # fmt: skip
check(
    src.COMMON_PRACTICE, HALVED + "speed way",
    lambda: number_in(way(halved(), "speed").speed_m_s, "speed", "mph"), "mph",
    printed="9.74",
)  # fmt: skip
check(
    src.COMMON_PRACTICE, HALVED + "tips way: flow of a tip at 40 psi",
    lambda: number_in(halved().tip_flow_m3_s, "flow", "gal/min"), "gal/min", exact="0.714286",
)  # fmt: skip
check(
    src.TIP_SIZES, HALVED + "tips way: size",
    lambda: float(way(halved(), "tips").size.name), "size", printed="8", tolerance=0.0,
)  # fmt: skip
check(
    src.TIP_SIZES, HALVED + "tips way: pressure",
    lambda: number_in(way(halved(), "tips").pressure_pa, "pressure", "psi"), "psi", exact="31.065",
)  # fmt: skip


@cache
def doubled_speed() -> Way:
    """What is a speed for another speed's rate: 20 gal/ac at 3 mph, and now 10 gal/ac."""
    flow = parse("20 gal/ac", "rate") * parse("3 mph", "speed") * parse("20 in", "length")
    now = setting(
        f"{number_in(flow, 'flow', 'gal/min')!r} gal/min", "40 psi", "3 mph", ("30 psi", "40 psi")
    )
    return way(plan_rate(now, parse("10 gal/ac", "rate")), "speed")


check(
    src.CAROLINA_TURF, "20 gal/ac at 3 mph: speed for 10 gal/ac",
    lambda: number_in(doubled_speed().speed_m_s, "speed", "mph"), "mph", printed="6",
    tolerance=1e-9,
)  # fmt: skip
check(
    src.CAROLINA_TURF, "20 gal/ac at 3 mph: rate at 6 mph, from the way's own speed",
    lambda: number_in(doubled_speed().rate_m3_m2, "rate", "gal/ac"), "gal/ac", printed="10",
    tolerance=1e-9,
)  # fmt: skip


def water_rate_of_dense() -> float:
    """Calibrate with water to what makes the dense carrier come out at 20 gal/ac."""
    dense = setting("0.4 gal/min", "40 psi", "5 mph", ("1 psi", "400 psi"), "10.65 lb/gal")
    reached = way(plan_rate(dense, parse("20 gal/ac", "rate")), "pressure")
    water = setting("0.4 gal/min", "40 psi", "5 mph", ("1 psi", "400 psi"))
    return number_in(water.rate_at(reached.pressure_pa), "rate", "gal/ac")


for _source in (src.NEBRASKA_DENSITY, src.OKLAHOMA_DENSITY):
    check(
        _source, "20 gal/ac of 10.65 lb/gal: rate of water at the pressure planned",
        water_rate_of_dense, "gal/ac", printed="22.6", tolerance=0.05, exact="22.60",
    )  # fmt: skip

for _size in TIP_SIZES:
    if _size.name == "0067":
        continue  # Its flow, 0.27 L/min, is rounded from 0.268.
    check(
        src.US_TIP_SIZES, f"size {_size.name}: over its number at 40 psi",
        lambda size=_size: 100 * (
            number_in(size.coefficient * parse("40 psi", "pressure") ** 0.5, "flow", "gal/min")
            / {"0050": 0.05, "0075": 0.075, "01": 0.1, "015": 0.15, "02": 0.2,
               "025": 0.25, "03": 0.3, "035": 0.35, "04": 0.4, "05": 0.5, "06": 0.6, "08": 0.8,
               "10": 1.0, "15": 1.5, "20": 2.0}[size.name] - 1
        ),
        "%", printed="1.3", tolerance=0.05,
    )  # fmt: skip

# Filling a tank ---------------------------------------------------------------------------------


@cache
def tank(rate: str, volume: str, area: str, *products: str) -> TankPlan:
    return plan_tank(
        TankJob(
            parse(rate, "rate"),
            parse(volume, "volume"),
            0.0,
            (Stop("", parse(area, "area")),),
            tuple(read_product_line(f"p: {text}", "fl oz") for text in products),
        )
    )


def volume(value: float, unit: str) -> float:
    return number_in(value, "volume", unit)


def area(value: float, unit: str) -> float:
    return number_in(value, "area", unit)


GOLDEN = ("1.5 gal/1000 ft2", "25 gal", "40000 ft2", "3 fl oz/1000 ft2")
_NAME = "25 gal, 1.5 gal and 3 fl oz a 1000 ft2, 40000 ft2: "
for _what, _compute, _unit, _exact in (
    ("area a tank", lambda: area(tank(*GOLDEN).job.area_per_tank_m2, "ft2"), "ft2", "16666.67"),
    ("spray", lambda: volume(tank(*GOLDEN).job.spray_m3, "gal"), "gal", "60.000"),
    ("fills", lambda: float(len(tank(*GOLDEN).fills)), "", "3.00"),
    ("last fill", lambda: volume(tank(*GOLDEN).fills[2].added_m3, "gal"), "gal", "10.000"),
    ("last fill covers", lambda: area(tank(*GOLDEN).fills[2].area_m2, "ft2"), "ft2", "6666.67"),
    ("product a full tank", lambda: volume(tank(*GOLDEN).fills[0].doses[0].measured, "fl oz"),
     "fl oz", "50.000"),
    ("product in the last", lambda: volume(tank(*GOLDEN).fills[2].doses[0].measured, "fl oz"),
     "fl oz", "20.000"),
    ("product in all", lambda: volume(tank(*GOLDEN).total(0), "fl oz"), "fl oz", "120.000"),
):  # fmt: skip
    check(src.PROJECT, _NAME + _what, _compute, _unit, exact=_exact)
check(
    src.PROJECT, "32 fl oz/ac", lambda: number_in(
        read_label_rate("32 fl oz/ac").on_area(1.0), "rate", "fl oz/1000 ft2"
    ),
    "fl oz/1000 ft2", exact="0.73462",
)  # fmt: skip
PER_ACRE = ("1.5 gal/1000 ft2", "25 gal", "10 ac", "32 fl oz/ac")
check(
    src.PROJECT, "25 gal at 1.5 gal/1000 ft2: area a tank",
    lambda: area(tank(*PER_ACRE).job.area_per_tank_m2, "ac"), "ac", exact="0.38261",
)  # fmt: skip
check(
    src.PROJECT, "the same with 32 fl oz/ac: product a tank",
    lambda: volume(tank(*PER_ACRE).fills[0].doses[0].measured, "fl oz"), "fl oz", exact="12.2436",
)  # fmt: skip
check(
    src.WYOMING_ALBANY, "32 fl oz/ac at 20 gal/ac: product in 20 gal",
    lambda: volume(tank("20 gal/ac", "20 gal", "5 ac", "32 fl oz/ac").fills[0].doses[0].exact,
                   "fl oz"),
    "fl oz", printed="32", tolerance=1e-9,
)  # fmt: skip
check(
    src.COLORADO_MESA, "150 fl oz on 18.5 x 18.5 ft",
    lambda: number_in(
        parse("150 fl oz", "volume")
        / rectangle_m2(parse("18.5 ft", "length"), parse("18.5 ft", "length")), "rate", "gal/ac",
    ),
    "gal/ac", printed="150", tolerance=1.0, exact="149.15",
)  # fmt: skip
check(
    src.COLORADO_MESA, "25 gal tank at 150 gal/ac: area a tank",
    lambda: area(tank("150 gal/ac", "25 gal", "1 ac").job.area_per_tank_m2, "ac"), "ac",
    printed="0.1667",
)  # fmt: skip
check(
    src.ALBERTA, "30 ac at 40 L/ac",
    lambda: volume(tank("40 L/ac", "1000 L", "30 ac").job.spray_m3, "L"), "L", printed="1200",
    tolerance=1e-6,
)  # fmt: skip
UAN = "28 % of 10.65 lb/gal: "
check(
    src.NEBRASKA_DENSITY, UAN + "lb N in a gallon",
    lambda: number_in(
        read_strength(
            "28 %", parse("10.65 lb/gal", "relative_density") * WATER_KG_M3
        ).active, "mass_per_volume", "lb/gal",
    ),
    "lb/gal", printed="2.982",
)  # fmt: skip
check(
    src.NEBRASKA_DENSITY, UAN + "product for 75 lb/ac of N",
    lambda: number_in(
        read_active_rate(
            "75 lb/ac",
            read_strength("28 %", parse("10.65 lb/gal", "relative_density") * WATER_KG_M3),
            "gal",
        ).on_area(1.0), "rate", "gal/ac",
    ),
    "gal/ac", printed="25.151",
)  # fmt: skip
check(
    src.OKLAHOMA_SLIDES, "25 ac at 3.6 pt/ac, 40 gal/ac: product in all",
    lambda: volume(tank("40 gal/ac", "300 gal", "25 ac", "3.6 pt/ac").total(0), "gal"), "gal",
    printed="11.25", tolerance=1e-9,
)  # fmt: skip
check(
    src.OKLAHOMA_SLIDES, "3.6 pt/ac as a label rate",
    lambda: number_in(read_label_rate("3.6 pt/ac").on_area(1.0), "rate", "fl oz/1000 ft2"),
    "fl oz/1000 ft2", printed="1.3", exact="1.322",
)  # fmt: skip
for _what, _compute, _printed, _tolerance in (
    ("60 x 25 ft", lambda m: rectangle_m2(m("60 ft"), m("25 ft")), "1500", 1e-6),
    ("circle of 80 ft (printed with pi = 3.14)", lambda m: circle_m2(m("80 ft")), "5024", 3.0),
    ("triangle 30 x 26 ft", lambda m: triangle_m2(m("30 ft"), m("26 ft")), "390", 1e-6),
):  # fmt: skip
    check(
        src.OKLAHOMA_SLIDES, f"area of a stop: {_what}",
        lambda compute=_compute: area(compute(lambda text: parse(text, "length")), "ft2"), "ft2",
        printed=_printed, tolerance=_tolerance,
    )  # fmt: skip
HANDBOOK = ("15 gal/ac", "20 gal", "3.5 ac", "3 lb/ac")
check(
    src.SAFETY_HANDBOOK, "3.5 ac at 15 gal/ac and 3 lb/ac: spray",
    lambda: volume(tank(*HANDBOOK).mix_m3, "gal"), "gal", printed="52.5", tolerance=1e-9,
)  # fmt: skip
check(
    src.SAFETY_HANDBOOK, "3.5 ac at 15 gal/ac and 3 lb/ac: product",
    lambda: number_in(tank(*HANDBOOK).total(0), "mass", "lb"), "lb", printed="10.5",
    tolerance=1e-9,
)  # fmt: skip
check(
    src.SAFETY_HANDBOOK, "2 lb a.i./ac of an 80 % powder",
    lambda: number_in(
        read_active_rate("2 lb/ac", read_strength("80 %"), "fl oz").on_area(1.0),
        "mass_per_area", "lb/ac",
    ),
    "lb/ac", printed="2.5", tolerance=1e-9,
)  # fmt: skip
check(
    src.EXAM_PREP, "12 gal on a stop of 660 x 10 ft",
    lambda: number_in(
        parse("12 gal", "volume")
        / rectangle_m2(parse("660 ft", "length"), parse("10 ft", "length")), "rate", "gal/ac",
    ),
    "gal/ac", printed="79.2", tolerance=1e-6,
)  # fmt: skip


def of_active(active: str, strength: str, unit: str) -> float:
    rate = read_active_rate(active, read_strength(strength), "fl oz")
    kind: Kind = "rate"
    return number_in(rate.on_area(math.nan), kind, unit)


for _strength, _printed, _exact in (
    ("0.67", "130", "129.7"), ("1.0", "87", "86.9"), ("1.5", "58", "57.9"), ("2.0", "43", "43.5"),
    ("2.5", "35", "34.8"), ("3.0", "29", "29.0"), ("3.34", "26", "26.0"), ("4.0", "22", "21.7"),
    ("6.0", "14", "14.5"), ("7.0", "12", "12.4"),
):  # fmt: skip
    check(
        src.PACIFIC_TABLES, f"1 lb a.i./ac of {_strength} lb/gal",
        lambda s=_strength: of_active("1 lb/ac", f"{s} lb/gal", "mL/1000 ft2"), "mL/1000 ft2",
        printed=_printed, tolerance=0.6, exact=_exact,
    )  # fmt: skip
for _strength, _active, _printed, _exact in (
    ("2", "0.75", "3", "3.000"), ("4", "0.5", "1", "1.000"), ("3", "1", "2.7", "2.667"),
):  # fmt: skip
    check(
        src.PACIFIC_TABLES, f"{_active} lb a.i./ac of {_strength} lb/gal",
        lambda s=_strength, a=_active: of_active(f"{a} lb/ac", f"{s} lb/gal", "pt/ac"), "pt/ac",
        printed=_printed, tolerance=0.05, exact=_exact,
    )  # fmt: skip

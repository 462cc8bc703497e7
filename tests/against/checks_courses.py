"""Courses, catches and rates that publications work out."""

from __future__ import annotations

import sources as src
from register import check

from flowlog.physics import rates
from flowlog.units import number_in, parse


def m(text: str) -> float:
    return parse(text, "length")


def m3(text: str) -> float:
    return parse(text, "volume")


def rate_of(flow: str, speed: str, width: str, unit: str = "gal/ac") -> float:
    rate = rates.application_rate_m3_m2(parse(flow, "flow"), parse(speed, "speed"), m(width))
    return number_in(rate, "rate", unit)


def caught(volume: str, length: str, width: str, unit: str = "gal/ac") -> float:
    """Rate of a catch that lasted as long as the course; how long is all the same."""
    rate = rates.rate_from_catch_m3_m2(m3(volume), 17.0, 17.0, m(length), m(width))
    return number_in(rate, "rate", unit)


def course(area: str, width: str) -> float:
    return number_in(rates.course_length_m(parse(area, "area"), m(width)), "length", "ft")


# Course lengths --------------------------------------------------------------------------------

ACRE_128TH = "340.3125 ft2"  # 43,560 / 128; ounces caught from one tip are gallons per acre
for _spacing, _printed, _exact in (
    ("10", "408", "408.38"), ("12", "340", "340.31"), ("14", "291", "291.70"),
    ("16", "255", "255.23"), ("18", "227", "226.88"), ("20", "204", "204.19"),
    ("22", "185", "185.63"), ("24", "170", "170.16"), ("26", "157", "157.07"),
    ("28", "146", "145.85"), ("30", "136", "136.13"), ("32", "127", "127.62"),
    ("34", "120", "120.11"), ("36", "113", "113.44"), ("38", "107", "107.47"),
    ("40", "102", "102.09"),
):  # fmt: skip
    check(
        src.LOUISIANA_OUNCES if int(_spacing) < 18 else src.OHIO_TURF,
        f"1/128-acre course, spacing {_spacing} in",
        lambda spacing=_spacing: course(ACRE_128TH, f"{spacing} in"),
        "ft",
        printed=_printed,
        tolerance=1.0,
        exact=_exact,
    )
for _width, _printed, _exact in (
    ("30", "182", "181.5"), ("36", "152", "151.25"), ("40", "137", "136.125"),
    ("44", "124", "123.75"),
):  # fmt: skip
    check(
        src.CLEMSON,
        f"1/8-acre course, {_width} ft wide",
        lambda width=_width: course("5445 ft2", f"{width} ft"),
        "ft",
        printed=_printed,
        tolerance=1.0,
        exact=_exact,
    )
for _width, _exact in (
    ("5", "200.00"), ("6", "166.67"), ("8", "125.00"), ("10", "100.00"), ("12", "83.33"),
    ("13.333333", "75.00"), ("15", "66.67"), ("20", "50.00"), ("6.6666667", "150.00"),
    ("8.3333333", "120.00"), ("11.666667", "85.71"),
):  # fmt: skip
    check(
        src.RATE_DEFINITION,
        f"course of 1000 ft2, {_width} ft wide",
        lambda width=_width: course("1000 ft2", f"{width} ft"),
        "ft",
        exact=_exact,
    )
for _width, _printed, _tolerance, _exact in (
    ("18 in", "227", 1.0, "226.7"), ("20 in", "204", 1.0, "204.0"),
):  # fmt: skip
    check(
        src.MISSISSIPPI_TURF, f"course of 340 ft2, spacing {_width}",
        lambda width=_width: course("340 ft2", width), "ft",
        printed=_printed, tolerance=_tolerance, exact=_exact,
    )  # fmt: skip
for _width, _printed in (("9", "37.8"), ("12", "28.4"), ("15", "22.7")):
    check(
        src.UTAH_VEGETABLE, f"course of 340.3 ft2, boom of {_width} ft",
        lambda width=_width: course("340.3 ft2", f"{width} ft"), "ft", printed=_printed,
    )  # fmt: skip
check(
    src.GEORGIA_FOREST, "course of 340.3 ft2, band of 13 in", lambda: course("340.3 ft2", "13 in"),
    "ft", printed="314.1", exact="314.12",
)  # fmt: skip
check(
    src.GEORGIA_FOREST, "ten times 340.3 ft2, boomless 13 ft", lambda: course("3403 ft2", "13 ft"),
    "ft", printed="261.8", exact="261.77",
)  # fmt: skip

# Catches ---------------------------------------------------------------------------------------

check(
    src.LOUISIANA_OUNCES, "40 in rows, 2 tips a row, 102 ft in 17 s, 14 fl oz from both",
    lambda: caught("14 fl oz", "102 ft", "40 in"), "gal/ac",
    printed="14", tolerance=0.1, exact="14.01",
)  # fmt: skip
check(
    src.LOUISIANA_TURF, "constant: 1 fl oz, 200 ft, 1 in",
    lambda: caught("1 fl oz", "200 ft", "1 in"),
    "gal/ac", printed="20.4", tolerance=0.02, exact="20.41875",
)  # fmt: skip
check(
    src.FLORIDA_CIRCULAR, "12 in band, 300 ft, 26 fl oz",
    lambda: caught("26 fl oz", "300 ft", "12 in"),
    "gal/ac", printed="29.5", exact="29.49",
)  # fmt: skip
check(
    src.FLORIDA_CIRCULAR, "15 in band, 300 ft, 16 fl oz",
    lambda: caught("16 fl oz", "300 ft", "15 in"),
    "gal/ac", printed="14.5", exact="14.52",
)  # fmt: skip
for _ounces, _printed, _exact in (
    ("10", "11.3", "11.34"), ("12", "13.6", "13.61"), ("14", "15.9", "15.88"),
    ("16", "18.2", "18.15"), ("20", "22.7", "22.69"), ("22", "25.0", "24.96"),
    ("24", "27.2", "27.23"), ("28", "31.8", "31.76"), ("30", "34.0", "34.03"),
    ("32", "36.3", "36.30"),
):  # fmt: skip
    check(
        src.FLORIDA_CIRCULAR, f"table: 12 in band, 300 ft, {_ounces} fl oz",
        lambda ounces=_ounces: caught(f"{ounces} fl oz", "300 ft", "12 in"), "gal/ac",
        printed=_printed, tolerance=0.06, exact=_exact,
    )  # fmt: skip
for _ounces, _printed, _exact in (
    ("8", "12.1", "12.10"), ("10", "15.1", "15.12"), ("14", "21.2", "21.18"),
    ("16", "24.2", "24.20"), ("18", "27.2", "27.22"), ("20", "30.2", "30.25"),
    ("22", "33.3", "33.28"), ("24", "36.3", "36.30"), ("26", "39.3", "39.32"),
):  # fmt: skip
    check(
        src.FLORIDA_CIRCULAR, f"table: 9 in band, 300 ft, {_ounces} fl oz",
        lambda ounces=_ounces: caught(f"{ounces} fl oz", "300 ft", "9 in"), "gal/ac",
        printed=_printed, tolerance=0.06, exact=_exact,
    )  # fmt: skip
check(
    src.OHIO_TURF, "80 fl oz a tip on 1/128 acre",
    lambda: number_in(
        rates.rate_from_volume_m3_m2(m3("80 fl oz"), parse("1 acre", "area") / 128.0),
        "rate", "gal/ac",
    ),
    "gal/ac", printed="80", tolerance=1e-6,
)  # fmt: skip
check(
    src.COLORADO_MESA, "18.5 x 18.5 ft, 150 fl oz",
    lambda: caught("150 fl oz", "18.5 ft", "18.5 ft"),
    "gal/ac", printed="150", tolerance=1.0, exact="149.15",
)  # fmt: skip
check(
    src.COLORADO_MESA, "25 gal tank at 150 gal/ac (printed 1/6 acre)",
    lambda: number_in(
        rates.area_per_tank_m2(m3("25 gal"), parse("150 gal/ac", "rate")), "area", "ac"
    ),
    "ac", printed="0.1667",
)  # fmt: skip
check(
    src.HENDERSON, "6.5 gal over 660 x 21.7 ft (answer not in the copy)",
    lambda: caught("6.5 gal", "660 ft", "21.7 ft"), "gal/ac", exact="19.77",
)  # fmt: skip
check(
    src.EXAM_PREP, "12 gal over 660 ft, 10 ft wide", lambda: caught("12 gal", "660 ft", "10 ft"),
    "gal/ac", printed="79.2", tolerance=1e-6,
)  # fmt: skip
check(
    src.HOMEOWNER, "1.25 gal caught in the 20 s that 250 ft2 take",
    lambda: number_in(
        rates.rate_from_volume_m3_m2(m3("1.25 gal"), parse("250 ft2", "area")),
        "rate", "gal/1000 ft2",
    ),
    "gal/1000 ft2", exact="5.000",
)  # fmt: skip
check(
    src.PROJECT, "8 tips of 16 fl oz, 75 ft x 13.333 ft",
    lambda: caught("128 fl oz", "75 ft", "13.3333333 ft", "gal/1000 ft2"), "gal/1000 ft2",
    exact="1.000000",
)  # fmt: skip
check(
    src.PROJECT, "the same caught for 17 s, course of 18 s: over-estimate",
    lambda: 100.0 * (
        rates.rate_from_catch_m3_m2(1.0, 17.0, 18.0, 1.0, 1.0)
        / rates.rate_from_catch_m3_m2(1.0, 17.0, 17.0, 1.0, 1.0) - 1.0
    ),
    "%", exact="5.9",
)  # fmt: skip

# Flow, speed, width ----------------------------------------------------------------------------


def flow_of(volume: str, seconds: float) -> float:
    return number_in(rates.flow_from_catch_m3_s(m3(volume), seconds), "flow", "gal/min")


check(
    src.FLORIDA_MARION, "16 fl oz in 1 min", lambda: flow_of("16 fl oz", 60.0), "gal/min",
    printed="0.125", tolerance=1e-9,
)  # fmt: skip
check(
    src.EXAM_CARDS, "32 fl oz in 30 s", lambda: flow_of("32 fl oz", 30.0), "gal/min", exact="0.50"
)
for _flow in ("480 fl oz/min", "3.75 gal/min"):
    check(
        src.WYOMING_ALBANY, f"222 in swath, {_flow}, 5 mph",
        lambda flow=_flow: rate_of(flow, "5 mph", "222 in"), "gal/ac",
        printed="20", tolerance=0.5, exact="20.068",
    )  # fmt: skip
check(
    src.WYOMING_ALBANY, "32 fl oz/ac of herbicide in 20 gal at 20 gal/ac",
    lambda: number_in(
        rates.volume_for_area_m3(
            parse("32 fl oz/ac", "rate"),
            rates.area_per_tank_m2(m3("20 gal"), parse("20 gal/ac", "rate")),
        ),
        "volume", "fl oz",
    ),
    "fl oz", printed="32", tolerance=1e-9,
)  # fmt: skip
check(
    src.ALBERTA, "0.75 L/min, 9 km/h, 50 cm",
    lambda: rate_of("0.75 L/min", "9 km/h", "50 cm", "L/ac"), "L/ac",
    printed="40", tolerance=0.5, exact="40.47",
)  # fmt: skip
for _sign, _printed, _exact in ((-1.0, "0.71", "0.7125"), (1.0, "0.79", "0.7875")):
    check(
        src.ALBERTA, f"a tip of 0.75 L/min may be off by {5 * _sign:+.0f} %",
        lambda sign=_sign: number_in(
            parse("0.75 L/min", "flow") * (1.0 + sign * parse("5 %", "share")), "flow", "L/min"
        ),
        "L/min", printed=_printed, exact=_exact,
    )  # fmt: skip
check(
    src.ALBERTA, "30 ac at 40 L/ac",
    lambda: number_in(
        rates.volume_for_area_m3(parse("40 L/ac", "rate"), parse("30 ac", "area")), "volume", "L"
    ),
    "L", printed="1200", tolerance=1e-6,
)  # fmt: skip
for _speed, _printed, _exact in (
    ("8", "360", "360.0"), ("9", "320", "320.0"), ("10", "288", "288.0"),
    ("11", "262", "261.8"), ("12", "240", "240.0"),
):  # fmt: skip
    check(
        src.ALBERTA, f"800 m at {_speed} km/h (printed in min:s)",
        lambda speed=_speed: rates.course_seconds(m("800 m"), parse(f"{speed} km/h", "speed")),
        "s", printed=_printed, tolerance=0.5, exact=_exact,
    )  # fmt: skip
check(
    src.CAROLINA_TURF, "20 gal/ac at 3 mph, then 6 mph",
    lambda: number_in(
        rates.application_rate_m3_m2(
            rates.flow_for_rate_m3_s(
                parse("20 gal/ac", "rate"), parse("3 mph", "speed"), m("20 in")
            ),
            parse("6 mph", "speed"), m("20 in"),
        ),
        "rate", "gal/ac",
    ),
    "gal/ac", printed="10", tolerance=1e-9,
)  # fmt: skip
check(
    src.MISSOURI, "over-application when 10 % slower (printed 'about')",
    lambda: 100.0 * (
        rates.application_rate_m3_m2(1.0, 0.9, 1.0) / rates.application_rate_m3_m2(1.0, 1.0, 1.0)
        - 1.0
    ),
    "%", printed="10", tolerance=1.5, exact="11.1",
)  # fmt: skip
check(
    src.ACCREDITATION, "24 L/min, 200 m/min, 12 m",
    lambda: rate_of("24 L/min", "200 m/min", "12 m", "L/ha"), "L/ha",
    printed="100", tolerance=1e-6,
)  # fmt: skip
check(
    src.HENDERSON, "13 tips, 20 in apart",
    lambda: number_in(rates.effective_width_m(m("20 in"), 13.0), "length", "ft"), "ft",
    printed="21.7", exact="21.667",
)  # fmt: skip
check(
    src.HENDERSON, "300 ft in 51 s (answer not in the copy)",
    lambda: number_in(rates.speed_from_course_m_s(m("300 ft"), 51.0), "speed", "mph"), "mph",
    exact="4.01",
)  # fmt: skip
check(
    src.HENDERSON, "35 fl oz/min, 20 in, 4 mph (answer not in the copy)",
    lambda: rate_of("35 fl oz/min", "4 mph", "20 in"), "gal/ac", exact="20.30",
)  # fmt: skip
check(
    src.HENDERSON, "31 fl oz/min, 12 in band, 4 mph (answer not in the copy)",
    lambda: rate_of("31 fl oz/min", "4 mph", "12 in"), "gal/ac", exact="29.97",
)  # fmt: skip
for _flow_unit, _exact in (("gal/min", "0.50505"), ("fl oz/min", "64.65")):
    check(
        src.DAKOTA, "15 gal/ac, 10 mph, 20 in: flow of a tip (answer is an image)",
        lambda unit=_flow_unit: number_in(
            rates.flow_for_rate_m3_s(
                parse("15 gal/ac", "rate"), parse("10 mph", "speed"), m("20 in")
            ),
            "flow", unit,
        ),
        _flow_unit, exact=_exact,
    )  # fmt: skip
check(
    src.GRAINS_MANUAL, "error of a spacing of 20 in taken for 0.50 m",
    lambda: 100.0 * (
        rate_of("1 L/min", "6 km/h", "0.50 m") / rate_of("1 L/min", "6 km/h", "20 in") - 1.0
    ),
    "%", printed="1.6",
)  # fmt: skip
for _tips, _exact in ((4, "33.3"), (8, "14.3")):
    check(
        src.RATE_DEFINITION, f"{_tips} tips, boom length between outer tips taken for the width",
        lambda tips=_tips: 100.0 * (
            rates.application_rate_m3_m2(1.0, 1.0, rates.outer_tip_distance_m(0.5, float(tips)))
            / rates.application_rate_m3_m2(1.0, 1.0, rates.effective_width_m(0.5, float(tips)))
            - 1.0
        ),
        "%", exact=_exact,
    )  # fmt: skip

# Per acre and per thousand square feet, areas --------------------------------------------------


def converted(text: str, unit: str) -> float:
    return number_in(parse(text, "rate"), "rate", unit)


def rectangle(length: str, width: str, unit: str, share: float = 1.0) -> float:
    return number_in(m(length) * m(width) * share, "area", unit)


check(
    src.OKLAHOMA_SLIDES, "40 gal/ac", lambda: converted("40 gal/ac", "gal/1000 ft2"),
    "gal/1000 ft2", printed="0.92", exact="0.918",
)  # fmt: skip
check(
    src.OKLAHOMA_SLIDES, "3.6 pt/ac", lambda: converted("3.6 pt/ac", "fl oz/1000 ft2"),
    "fl oz/1000 ft2", printed="1.3", exact="1.322",
)  # fmt: skip
check(
    src.OKLAHOMA_SLIDES, "25 ac at 3.6 pt/ac",
    lambda: number_in(
        rates.volume_for_area_m3(parse("3.6 pt/ac", "rate"), parse("25 ac", "area")),
        "volume", "gal",
    ),
    "gal", printed="11.25", tolerance=1e-9,
)  # fmt: skip
check(
    src.OKLAHOMA_SLIDES, "60 x 25 ft", lambda: rectangle("60 ft", "25 ft", "ft2"), "ft2",
    printed="1500", tolerance=1e-6,
)  # fmt: skip
check(
    src.OKLAHOMA_SLIDES, "circle of 80 ft (with 3.14)",
    lambda: rectangle("80 ft", "80 ft", "ft2", 3.14 / 4.0), "ft2", printed="5024", tolerance=1e-6,
)  # fmt: skip
check(
    src.OKLAHOMA_SLIDES, "triangle 30 x 26 ft", lambda: rectangle("30 ft", "26 ft", "ft2", 0.5),
    "ft2", printed="390", tolerance=1e-6,
)  # fmt: skip
check(
    src.SAFETY_HANDBOOK, "3.5 ac at 15 gal/ac",
    lambda: number_in(
        rates.volume_for_area_m3(parse("15 gal/ac", "rate"), parse("3.5 ac", "area")),
        "volume", "gal",
    ),
    "gal", printed="52.5", tolerance=1e-9,
)  # fmt: skip
for _what, _length, _width, _share, _feet, _printed, _tolerance, _exact in (
    ("rectangle 1320 x 120 ft", "1320 ft", "120 ft", 1.0, "158400", "3.6", 0.05, "3.636"),
    ("triangle 325 x 150 ft", "325 ft", "150 ft", 0.5, "24375", "0.6", 0.05, "0.5596"),
    ("circle of 90 ft (with 3.14)", "90 ft", "90 ft", 3.14 / 4, "6358.5", "0.15", 0.005, "0.14597"),
):  # fmt: skip
    for _area_unit, _values in (
        ("ft2", {"printed": _feet, "tolerance": 1e-6}),
        ("ac", {"printed": _printed, "tolerance": _tolerance, "exact": _exact}),
    ):
        check(
            src.CORE_MANUAL, _what,
            lambda length=_length, width=_width, share=_share, unit=_area_unit: rectangle(
                length, width, unit, share
            ),
            _area_unit, **_values,
        )  # fmt: skip

"""Worked examples through the calibration core: course, catch, meter, gauge and budgets."""

from __future__ import annotations

import math
from functools import cache

import sources as src
from register import Source, check

from flowlog.calibration.catch import CatchResult, Caught, catch
from flowlog.calibration.course import CourseResult, course, ounce_course_length_m, plan_course
from flowlog.calibration.meter_runs import weighed_volume_m3
from flowlog.calibration.student import t_coverage
from flowlog.calibration.uncertainty import (
    LEVEL,
    Budget,
    Component,
    Prior,
    budget,
    combine,
    power,
    within,
)
from flowlog.physics.water import density_kg_m3
from flowlog.rig.model import Boom, Tip
from flowlog.units import number_in, parse

GUIDE = Source(
    "JCGM 100:2008, Guide to the expression of uncertainty in measurement",
    "Joint Committee for Guides in Metrology",
    "2008",
    standing="memory",
)
WYOMING_TIPS = Source("Extension column on sprayer tips", "Wyoming extension")
NEBRASKA_OUNCE = Source(
    "Fine-tuning a Sprayer with the Ounce Method (G1756)", "University of Nebraska"
)


def m(text: str) -> float:
    return parse(text, "length")


def boom(tips: int, spacing: str, tip: str = "0.5 gal/min") -> Boom:
    pressure = parse("40 psi", "pressure")
    return Boom(tips, m(spacing), Tip(parse(tip, "flow"), pressure), 0.75 * pressure, pressure)


def done(
    tips: int, spacing: str, length: str, seconds: float, volume: str, *, catch_s: float = 0.0
) -> tuple[CourseResult, CatchResult]:
    """A course driven in `seconds`, and `volume` caught from each tip in as long."""
    row = boom(tips, spacing)
    timed = course(row.effective_width_m, m(length), [seconds])
    each = parse(volume, "volume")
    those = [Caught(tip, each, catch_s or seconds) for tip in range(1, tips + 1)]
    return timed, catch(row, those, course=timed)


def rate(
    tips: int, spacing: str, length: str, seconds: float, volume: str, unit: str = "gal/ac"
) -> float:
    _, result = done(tips, spacing, length, seconds, volume)
    return number_in(result.rate_m3_m2 or math.nan, "rate", unit)


# The hand method on four tips ------------------------------------------------------------------

FOUR = (4, "20 in", "150 ft", 21.0, "64 fl oz")
for _words, _compute, _unit, _printed in (
    ("effective width", lambda: number_in(done(*FOUR)[0].width_m, "length", "in"), "in", "80"),
    (
        "course for 1000 ft2",
        lambda: number_in(plan_course(boom(4, "20 in")).length_m, "length", "ft"), "ft", "150",
    ),
    (
        "caught in all", lambda: number_in(done(*FOUR)[1].total_m3_s * 21.0, "volume", "fl oz"),
        "fl oz", "256",
    ),
    ("rate", lambda: rate(*FOUR, unit="gal/1000 ft2"), "gal/1000 ft2", "2.00"),
    ("rate an acre", lambda: rate(*FOUR), "gal/ac", "87.1"),
    ("speed", lambda: number_in(done(*FOUR)[0].speed_m_s, "speed", "mph"), "mph", "4.87"),
    (
        "flow of a tip",
        lambda: number_in(done(*FOUR)[1].tips[0].flow_m3_s or math.nan, "flow", "gal/min"),
        "gal/min", "1.43",
    ),
):  # fmt: skip
    check(
        src.COMMON_PRACTICE, f"4 tips, 20 in, 150 ft in 21 s, 64 fl oz each: {_words}", _compute,
        _unit, printed=_printed,
    )  # fmt: skip

# Worked examples of catches and courses --------------------------------------------------------

check(
    src.LOUISIANA_OUNCES, "calibration: 2 tips a row of 40 in, 102 ft in 17 s, 14 fl oz from both",
    lambda: rate(2, "20 in", "102 ft", 17.0, "7 fl oz"), "gal/ac",
    printed="14", tolerance=0.1, exact="14.01",
)  # fmt: skip
check(
    src.FLORIDA_MARION, "calibration: 16 fl oz in 1 min from one tip",
    lambda: number_in(
        catch(boom(1, "20 in"), [Caught(1, parse("16 fl oz", "volume"), 60.0)]).total_m3_s,
        "flow", "gal/min",
    ),
    "gal/min", printed="0.125", tolerance=1e-9,
)  # fmt: skip
for _spacing, _volume, _printed, _exact in (
    ("12 in", "26 fl oz", "29.5", "29.49"), ("15 in", "16 fl oz", "14.5", "14.52"),
    ("12 in", "10 fl oz", "11.3", "11.34"), ("12 in", "32 fl oz", "36.3", "36.30"),
    ("9 in", "8 fl oz", "12.1", "12.10"), ("9 in", "26 fl oz", "39.3", "39.32"),
):  # fmt: skip
    check(
        src.FLORIDA_CIRCULAR, f"calibration: 1 tip, {_spacing} band, 300 ft, {_volume}",
        lambda spacing=_spacing, volume=_volume: rate(1, spacing, "300 ft", 60.0, volume),
        "gal/ac", printed=_printed, tolerance=0.06, exact=_exact,
    )  # fmt: skip
check(
    src.OHIO_TURF, "calibration: 80 fl oz a tip on the 1/128-acre course of 20 in",
    lambda: rate(
        1, "20 in", f"{number_in(ounce_course_length_m(m('20 in')), 'length', 'ft')!r} ft", 90.0,
        "80 fl oz",
    ),
    "gal/ac", printed="80", tolerance=1e-6,
)  # fmt: skip
for _spacing, _printed, _exact in (
    ("10", "408", "408.38"), ("12", "340", "340.31"), ("18", "227", "226.88"),
    ("20", "204", "204.19"), ("30", "136", "136.13"), ("40", "102", "102.09"),
):  # fmt: skip
    check(
        src.LOUISIANA_OUNCES if int(_spacing) < 18 else src.OHIO_TURF,
        f"calibration: 1/128-acre course, spacing {_spacing} in",
        lambda spacing=_spacing: number_in(
            ounce_course_length_m(m(f"{spacing} in")), "length", "ft"
        ),
        "ft", printed=_printed, tolerance=1.0, exact=_exact,
    )  # fmt: skip
for _tips, _spacing, _printed in (
    (9, "12 in", "37.8"),
    (12, "12 in", "28.4"),
    (15, "12 in", "22.7"),
):
    check(
        src.UTAH_VEGETABLE, f"calibration: course of 340.3 ft2, boom of {_tips} ft",
        lambda tips=_tips: number_in(
            plan_course(boom(tips, "12 in"), area_m2=parse("340.3 ft2", "area")).length_m,
            "length", "ft",
        ),
        "ft", printed=_printed,
    )  # fmt: skip
check(
    src.HENDERSON, "calibration: 13 tips, 20 in apart",
    lambda: number_in(plan_course(boom(13, "20 in")).width_m, "length", "ft"), "ft",
    printed="21.7", exact="21.667",
)  # fmt: skip
check(
    src.HENDERSON, "calibration: 300 ft in 51 s (answer not in the copy)",
    lambda: number_in(course(5.0, m("300 ft"), [51.0]).speed_m_s, "speed", "mph"), "mph",
    exact="4.01",
)  # fmt: skip
check(
    src.PROJECT, "calibration: 8 tips of 16 fl oz, 75 ft in 17.05 s",
    lambda: rate(8, "20 in", "75 ft", 17.05, "16 fl oz", "gal/1000 ft2"), "gal/1000 ft2",
    exact="1.000000",
)  # fmt: skip
check(
    src.PROJECT, "calibration: 20 and 30 s over 150 ft: mean of the times, not of the speeds",
    lambda: number_in(course(2.0, m("150 ft"), [20.0, 30.0]).speed_m_s, "speed", "mph"), "mph",
    exact="4.0909",
)  # fmt: skip

# Limits -----------------------------------------------------------------------------------------


def least_excess(worn: bool) -> float:
    """The excess of one tip of 100, in tenths of a percent, at which it is first named."""
    row = boom(100, "20 in")
    pressure = parse("40 psi", "pressure") if worn else None
    for tenths in range(400):
        shares = [1.0 + (tenths / 1000.0 if worn or tip == 1 else 0.0) for tip in range(1, 101)]
        flow = row.tip.flow_m3_s
        those = [Caught(tip, share * flow * 20.0, 20.0) for tip, share in enumerate(shares, 1)]
        if catch(row, those, pressure_pa=pressure).tips[0].verdict == "replace":
            return tenths / 10.0
    return math.nan


check(
    WYOMING_TIPS, "all tips alike: excess over new ones from which they are replaced",
    lambda: least_excess(worn=True), "%", printed="10", tolerance=0.15,
)  # fmt: skip
check(
    NEBRASKA_OUNCE, "one tip of 100: excess over the mean from which it is replaced",
    lambda: least_excess(worn=False), "%", printed="5", tolerance=0.25,
)  # fmt: skip

# Budgets ----------------------------------------------------------------------------------------


@cache
def hand_budget() -> Budget:
    row = boom(8, "20 in", "0.44 gal/min")
    seconds = 17.05
    timed = course(
        row.effective_width_m, m("75 ft"), [seconds, seconds], prior=Prior(0.30 / seconds, 1e9)
    )
    those = [Caught(tip, parse("16 fl oz", "volume"), seconds) for tip in range(1, 9)]
    result = catch(row, those, course=timed, pressure_pa=parse("40 psi", "pressure"))
    assert result.rate is not None
    return result.rate


for _start, _exact in (
    ("reading the jug", "0.32"), ("jug's scale", "1.15"), ("timing the catch", "0.24"),
    ("stopwatch", "0.62"), ("run to run", "1.24"), ("course length", "0.19"),
    ("effective width", "0.58"), ("pressure", "0.72"),
):  # fmt: skip
    check(
        src.PROJECT, f"hand budget, 8 tips: {_start}",
        lambda start=_start: 100.0 * next(
            abs(part.contribution) / hand_budget().value
            for part in hand_budget().components if part.name.startswith(start)
        ),
        "%", exact=_exact,
    )  # fmt: skip
check(
    src.PROJECT, "hand budget, 8 tips: u", lambda: 100 * hand_budget().relative, "%", exact="2.08"
)
check(
    src.PROJECT, "hand budget, 8 tips: U at k = 2",
    lambda: 100 * hand_budget().expanded_relative, "%", exact="4.2",
)  # fmt: skip


def relative_budget(*parts: tuple[str, float, bool]) -> Budget:
    """Percent and whether it is a bound (then +-), all to the first power."""
    return budget(
        "rate", 1.0, None,
        [
            power(name, 1.0, within(share / 100.0) if bound else share / 100.0, 1.0, bound=bound)
            for name, share, bound in parts
        ],
    )  # fmt: skip


def live_budget() -> Budget:
    return relative_budget(
        ("meter's factor", 1.5, False), ("repeatability", 0.5, False), ("linearity", 2.0, True),
        ("counting", 0.5, False), ("speed now against calibrated", 5.0, True),
        ("width", 1.0, True),
    )  # fmt: skip


def drift_budget() -> Budget:
    """Conductance now over the baseline: what both have in common drops out."""
    common = power("meter's factor", 1.0, 0.015, 1.0, common=True)
    now = budget("now", 1.0, None, [common, power("repeatability", 1.0, 0.005, 1.0)])
    then = budget("baseline", 1.0, None, [common, power("repeatability", 1.0, 0.005, 1.0)])
    gauge = budget("gauge", 1.0, None, [power("repeatability", 1.0, 0.005, 1.0)])
    return combine("drift", 1.0, None, [(now, 1.0), (then, -1.0), (gauge, 0.5)])


check(src.PROJECT, "live rate: u", lambda: 100 * live_budget().relative, "%", exact="3.57")
check(
    src.PROJECT, "live rate: U at k = 2", lambda: 100 * live_budget().expanded_relative, "%",
    exact="7.1",
)  # fmt: skip
check(
    src.PROJECT, "drift against the own baseline: u", lambda: 100 * drift_budget().relative, "%",
    exact="0.75",
)  # fmt: skip


def example_g41() -> Budget:
    return budget(
        "y", 1.0, None,
        [
            Component(name, 1.0, u, u, dof)
            for name, u, dof in (("x1", 0.0025, 9.0), ("x2", 0.0057, 4.0), ("x3", 0.0082, 14.0))
        ],
    )  # fmt: skip


check(
    GUIDE, "example of G.4.1: u of 0.25, 0.57 and 0.82 %", lambda: 100 * example_g41().relative,
    "%", printed="1.03",
)  # fmt: skip
check(GUIDE, "example of G.4.1: degrees of freedom", lambda: example_g41().dof, "", printed="19.0")
for _level, _words, _factors in (
    (0.95, "95 %", {1: "12.71", 2: "4.30", 5: "2.57", 10: "2.23", 20: "2.09"}),
    (LEVEL, "95.45 %", {1: "13.97", 2: "4.53", 5: "2.65", 10: "2.28", 20: "2.13"}),
):
    for _dof, _printed in _factors.items():
        check(
            GUIDE, f"table G.2: t at {_words}, {_dof} degrees of freedom",
            lambda level=_level, dof=_dof: t_coverage(level, float(dof)), "", printed=_printed,
        )  # fmt: skip

# Weighing ---------------------------------------------------------------------------------------

WEIGHING = Source("Weighing water in air of 1.2 kg/m3", "common practice", standing="memory")
check(
    WEIGHING, "a scale shows water too light by",
    lambda: 100.0 * (1.0 - 1.0 / (weighed_volume_m3(1.0, 20.0) * density_kg_m3(20.0))),
    "%", printed="0.105",
)  # fmt: skip

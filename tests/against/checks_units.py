"""Units and the trade's constants: all of them are only units of rate = volume / area."""

from __future__ import annotations

import sources as src
from register import check

from flowlog.physics import rates, water
from flowlog.units import Kind, number_in, parse

STANDARD_GRAVITY_M_S2 = 9.80665


def _unit(kind: Kind, one: str, other: str, **values: str) -> None:
    check(
        src.DEFINITIONS,
        one,
        lambda: number_in(parse(one, kind), kind, other),
        other,
        **values,
    )


_unit("area", "1 acre", "ft2", exact="43560")
_unit("area", "1 acre", "m2", exact="4046.8564224")
_unit("area", "1 ac", "1000 ft2", exact="43.56")
_unit("area", "1000 ft2", "m2", exact="92.90304")
_unit("area", "1 ha", "m2", exact="10000")
_unit("area", "1 ha", "ac", exact="2.4710538")
_unit("volume", "1 gal", "fl oz", exact="128")
_unit("volume", "1 gal", "L", exact="3.785411784")
_unit("volume", "1 fl oz", "mL", exact="29.5735296")
_unit("volume", "1 imp gal", "L", exact="4.54609")
_unit("volume", "1 imp gal", "gal", exact="1.20094993")
_unit("volume", "1 imp gal", "imp fl oz", exact="160")
_unit("volume", "1 imp fl oz", "mL", exact="28.4130625")
_unit("volume", "1 imp fl oz", "fl oz", exact="0.9608")
_unit("speed", "1 mph", "ft/min", exact="88")
_unit("speed", "1 mph", "ft/s", exact="1.4666667")
_unit("speed", "1 mph", "km/h", exact="1.609344")
_unit("speed", "1 mph", "m/s", exact="0.44704")
_unit("speed", "1 ft/s", "mph", exact="0.681818")
_unit("speed", "1 m/s", "km/h", exact="3.6")
_unit("pressure", "1 psi", "kPa", exact="6.894757")
_unit("pressure", "1 psi", "bar", exact="0.0689475729")
_unit("pressure", "40 psi", "bar", exact="2.757903")
_unit("pressure", "3 bar", "psi", exact="43.5113")
_unit("rate", "1 gal/1000 ft2", "gal/ac", exact="43.56")
_unit("rate", "1 gal/1000 ft2", "L/ha", exact="407.4583")
_unit("rate", "1 gal/1000 ft2", "mL/m2", exact="40.7458")
_unit("rate", "1 gal/1000 ft2", "fl oz/1000 ft2", exact="128")
_unit("rate", "1 gal/ac", "L/ha", exact="9.353956")
_unit("rate", "1 gal/ac", "gal/1000 ft2", exact="0.0229568")
_unit("rate", "1 gal/ac", "fl oz/1000 ft2", exact="2.93848")
_unit("rate", "1 fl oz/1000 ft2", "L/ha", exact="3.183268")
_unit("rate", "1 fl oz/ac", "mL/ha", exact="73.0778")
_unit("flow", "1 L/min", "gal/min", exact="0.264")
_unit("flow", "2 L/min", "gal/min", exact="0.528")
_unit("flow", "30 L/min", "gal/min", exact="7.93")
_unit("flow", "60 L/min", "gal/min", exact="15.9")
_unit("pulses_per_volume", "450 pulse/L", "pulse/gal", exact="1703.4")

check(
    src.DEFINITIONS,
    "1 psi as a column of water at 20 C",
    lambda: number_in(
        parse("1 psi", "pressure") / (water.density_kg_m3(20.0) * STANDARD_GRAVITY_M_S2),
        "length",
        "ft",
    ),
    "ft",
    exact="2.311",
)
check(
    src.ALBERTA,
    "275 kPa",
    lambda: number_in(parse("275 kPa", "pressure"), "pressure", "psi"),
    "psi",
    exact="39.9",
)
check(
    src.ALBERTA,
    "a ball check costs 35 kPa",
    lambda: number_in(parse("35 kPa", "pressure"), "pressure", "psi"),
    "psi",
    printed="5",
    tolerance=0.1,
)


def _rate(flow: str, speed: str, width: str, unit: str) -> float:
    rate = rates.application_rate_m3_m2(
        parse(flow, "flow"), parse(speed, "speed"), parse(width, "length")
    )
    return number_in(rate, "rate", unit)


def _constant(
    source: src.Source, flow: str, speed: str, width: str, unit: str, **values: str | float
) -> None:
    check(
        source,
        f"constant for {flow}, {speed}, {width}",
        lambda: _rate(flow, speed, width, unit),
        unit,
        **values,  # type: ignore[arg-type]
    )


for _source in (
    src.FLORIDA_HERBICIDE, src.FLORIDA_MARION, src.WYOMING_ALBANY, src.CLEMSON, src.MISSOURI,
):  # fmt: skip
    _constant(_source, "1 gal/min", "1 mph", "1 in", "gal/ac", printed="5940", tolerance=1e-6)
for _source in (src.WYOMING_ALBANY, src.HENDERSON):
    _constant(
        _source, "1 fl oz/min", "1 mph", "1 in", "gal/ac",
        printed="46.4", tolerance=0.01, exact="46.40625",
    )  # fmt: skip
_constant(src.COLORADO_MESA, "1 gal/min", "1 mph", "1 ft", "gal/ac", printed="495", tolerance=1e-6)
_constant(
    src.COMMON_PRACTICE, "1 gal/min", "1 mph", "1 in", "gal/1000 ft2",
    printed="136", tolerance=0.5, exact="136.363636",
)  # fmt: skip
_constant(src.RATE_DEFINITION, "1 gal/min", "1 mph", "1 ft", "gal/1000 ft2", exact="11.3636")
_constant(src.RATE_DEFINITION, "1 gal/min", "1 ft/min", "1 ft", "gal/1000 ft2", exact="1000.0000")
_constant(src.RATE_DEFINITION, "1 L/min", "1 km/h", "1 m", "L/ha", exact="600.0000")
_constant(src.RATE_DEFINITION, "1 L/min", "1 km/h", "1 cm", "L/ha", exact="60000.0000")
_constant(src.RATE_DEFINITION, "1 L/min", "1 m/min", "1 m", "L/ha", exact="10000.0000")


def _speed(length: str, seconds: float, unit: str) -> float:
    return number_in(rates.speed_from_course_m_s(parse(length, "length"), seconds), "speed", unit)


for _source in (src.FLORIDA_MARION,):
    check(_source, "88 ft in 60 s", lambda: _speed("88 ft", 60.0, "mph"), "mph", exact="1.000000")
check(
    src.HENDERSON,
    "constant: 300 ft in 1 s",
    lambda: _speed("300 ft", 1.0, "mph"),
    "mph",
    printed="204",
    tolerance=0.6,
    exact="204.545",
)
check(
    src.RATE_DEFINITION, "constant: 100 m in 1 s", lambda: _speed("100 m", 1.0, "km/h"), "km/h",
    exact="360.0000",
)  # fmt: skip
check(
    src.RATE_DEFINITION, "constant: 800 m in 1 s", lambda: _speed("800 m", 1.0, "km/h"), "km/h",
    exact="2880.0000",
)  # fmt: skip
check(src.PROJECT, "75 ft in 17 s", lambda: _speed("75 ft", 17.0, "mph"), "mph", exact="3.008")
check(src.PROJECT, "75 ft in 17.4 s", lambda: _speed("75 ft", 17.4, "mph"), "mph", exact="2.939")

# The project's golden: one set of inputs in both systems of units, all rates of it.
for _unit_name, _exact in (
    ("gal/ac", "49.50000"),
    ("gal/1000 ft2", "1.136364"),
    ("L/ha", "463.02"),
):
    _constant(src.PROJECT, "0.5 gal/min", "3 mph", "20 in", _unit_name, exact=_exact)
    _constant(src.PROJECT, "1.892706 L/min", "4.828032 km/h", "50.8 cm", _unit_name, exact=_exact)

"""Text to SI: what a person may write, and what is refused with which words."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.units import WATER_KG_M3, Kind, UnitError, parse, parse_with_unit

GALLON = 231 * 0.0254**3
FOOT = 0.3048
POUND = 0.45359237
ACCEPTED: list[tuple[str, Kind, float]] = [
    ("20 in", "length", 0.508),
    ('20"', "length", 0.508),
    ("20”", "length", 0.508),
    ("20in", "length", 0.508),
    ("20 inches", "length", 0.508),
    ("1.5 ft", "length", 0.4572),
    ("5'", "length", 1.524),
    ("50.8 cm", "length", 0.508),
    ("508 mm", "length", 0.508),
    ("5 m", "length", 5.0),
    ("5 kilometers", "length", 5000.0),
    ("1 acre", "area", 43560 * FOOT**2),
    ("1 ac", "area", 43560 * FOOT**2),
    ("100 ft2", "area", 100 * FOOT**2),
    ("100 ft²", "area", 100 * FOOT**2),
    ("100 ft^2", "area", 100 * FOOT**2),
    ("100 sq ft", "area", 100 * FOOT**2),
    ("100 sq. ft.", "area", 100 * FOOT**2),
    ("100 square feet", "area", 100 * FOOT**2),
    ("5 kft2", "area", 5000 * FOOT**2),
    ("5 kilo sq ft", "area", 5000 * FOOT**2),
    ("5 thousand square feet", "area", 5000 * FOOT**2),
    ("2 ha", "area", 20000.0),
    ("3 m2", "area", 3.0),
    ("3 square meters", "area", 3.0),
    ("60 gal", "volume", 60 * GALLON),
    ("60 gallons", "volume", 60 * GALLON),
    ("128 fl oz", "volume", GALLON),
    ("128 fl. oz.", "volume", GALLON),
    ("4 qt", "volume", GALLON),
    ("8 pt", "volume", GALLON),
    ("1 imp gal", "volume", 0.00454609),
    ("160 imp fl oz", "volume", 0.00454609),
    ("250 mL", "volume", 0.00025),
    ("250 ml", "volume", 0.00025),
    ("2 L", "volume", 0.002),
    ("2 l", "volume", 0.002),
    ("90 s", "time", 90.0),
    ("3 min", "time", 180.0),
    ("4 hours", "time", 14400.0),
    ("4500 mV", "voltage", 4.5),
    ("0.5 V", "voltage", 0.5),
    ("40 psi", "pressure", 40 * 0.45359237 * 9.80665 / 0.0254**2),
    ("40 PSI", "pressure", 40 * 0.45359237 * 9.80665 / 0.0254**2),
    ("3 bar", "pressure", 3e5),
    ("275 kPa", "pressure", 275e3),
    ("275 kilopascal", "pressure", 275e3),
    ("0.3 MPa", "pressure", 3e5),
    ("0.5 gal/min", "flow", 0.5 * GALLON / 60),
    (".5 gal/min", "flow", 0.5 * GALLON / 60),
    ("0.5 gal / min", "flow", 0.5 * GALLON / 60),
    ("0.5 gal per minute", "flow", 0.5 * GALLON / 60),
    ("0.5 gpm", "flow", 0.5 * GALLON / 60),
    ("0.5 GPM", "flow", 0.5 * GALLON / 60),
    ("64 fl oz/min", "flow", 0.5 * GALLON / 60),
    ("30 L/min", "flow", 5e-4),
    ("5.2 km/h", "speed", 5.2 / 3.6),
    ("5.2 kph", "speed", 5.2 / 3.6),
    ("3.2 mph", "speed", 3.2 * 0.44704),
    ("3.2 MPH", "speed", 3.2 * 0.44704),
    ("4.4 ft/s", "speed", 4.4 * FOOT),
    ("88 ft/min", "speed", 88 * FOOT / 60),
    ("1.5 gal/1000 ft2", "rate", 1.5 * GALLON / (1000 * FOOT**2)),
    ("1.5 gal/1,000 sq ft", "rate", 1.5 * GALLON / (1000 * FOOT**2)),
    ("1.5 gal/1000sqft", "rate", 1.5 * GALLON / (1000 * FOOT**2)),
    ("1.5 gal/kft2", "rate", 1.5 * GALLON / (1000 * FOOT**2)),
    ("1.5 gal/M", "rate", 1.5 * GALLON / (1000 * FOOT**2)),
    ("1.5 gal per 1000 square feet", "rate", 1.5 * GALLON / (1000 * FOOT**2)),
    ("65 gal/ac", "rate", 65 * GALLON / (43560 * FOOT**2)),
    ("65 gal/acre", "rate", 65 * GALLON / (43560 * FOOT**2)),
    ("65 GPA", "rate", 65 * GALLON / (43560 * FOOT**2)),
    ("3 fl oz/1000 ft2", "rate", 3 * GALLON / 128 / (1000 * FOOT**2)),
    ("600 L/ha", "rate", 6e-5),
    ("6 L/100 m2", "rate", 6e-5),
    ("450 pulse/L", "pulses_per_volume", 450e3),
    ("450 pulses/L", "pulses_per_volume", 450e3),
    ("450 counts / liter", "pulses_per_volume", 450e3),
    ("1700 pulse/gal", "pulses_per_volume", 1700 / GALLON),
    ("12.5 pulse/ft", "pulses_per_length", 12.5 / FOOT),
    ("2 lb", "mass", 2 * POUND),
    ("8 wt oz", "mass", POUND / 2),
    ("8 oz wt", "mass", POUND / 2),
    ("250 g", "mass", 0.25),
    ("2 lb/ac", "mass_per_area", 2 * POUND / (43560 * FOOT**2)),
    ("0.5 wt oz/1000 ft2", "mass_per_area", POUND / 32 / (1000 * FOOT**2)),
    ("2 kg/ha", "mass_per_area", 2e-4),
    ("4 lb/gal", "mass_per_volume", 4 * POUND / GALLON),
    ("360 g/L", "mass_per_volume", 360.0),
    ("1 lb/100 gal", "mass_per_volume", POUND / (100 * GALLON)),
    ("1 lb per 100 gallons", "mass_per_volume", POUND / (100 * GALLON)),
    ("32 fl oz/100 gal", "volume_per_volume", 0.0025),
    ("2 pt / 100 gals", "volume_per_volume", 0.0025),
    ("250 mL/100 L", "volume_per_volume", 0.0025),
    ("2.5 mL/L", "volume_per_volume", 0.0025),
    ("1.28", "relative_density", 1.28),
    ("8.34 lb/gal", "relative_density", 1.0),
    ("1.28 kg/L", "relative_density", 1280 / WATER_KG_M3),
    ("5 %", "share", 0.05),
    ("5%", "share", 0.05),
    ("0.05", "share", 0.05),
    ("1", "share", 1.0),
    ("-3 psi", "pressure", -3 * 0.45359237 * 9.80665 / 0.0254**2),
    ("2e2 psi", "pressure", 200 * 0.45359237 * 9.80665 / 0.0254**2),
]
REFUSED: list[tuple[str, Kind, str]] = [
    (
        "4,5 psi",
        "pressure",
        "'4,5 psi' has a comma in its number (write a decimal point and no thousands mark, "
        "for instance '40 psi')",
    ),
    (
        "1,000 ft2",
        "area",
        "'1,000 ft2' has a comma in its number (write a decimal point and no thousands mark, "
        "for instance '1000 ft2')",
    ),
    (
        "in 20",
        "length",
        "'in 20' does not begin with its number (write the number first, for instance '20 in')",
    ),
    ("20", "length", "'20' has no unit (write a length, for instance '20 in')"),
    ("", "length", "the text is empty (write a length, for instance '20 in')"),
    ("  ", "length", "the text is empty (write a length, for instance '20 in')"),
    ("wide", "length", "'wide' is not a length (write for instance '20 in')"),
    ("nan in", "length", "'nan in' is not a length (write for instance '20 in')"),
    ("inf psi", "pressure", "'inf psi' is not a pressure (write for instance '40 psi')"),
    ("1e999 in", "length", "'1e999 in' is too large a number (write for instance '20 in')"),
    ("20 inc", "length", "'20 inc' is not a length (did you mean '20 in'?)"),
    ("20 xyz", "length", "'20 xyz' is not a length (write for instance '20 in')"),
    ("2 minuts", "time", "'2 minuts' is not a time (did you mean '2 min'?)"),
    ("0.5 gal/mni", "flow", "'0.5 gal/mni' is not a flow (did you mean '0.5 gal/min'?)"),
    ("0.8 gpn", "flow", "'0.8 gpn' is not a flow (did you mean '0.8 gpm'?)"),
    (
        "450 puls/L",
        "pulses_per_volume",
        "'450 puls/L' is not a number of pulses per volume (did you mean '450 pulse/L'?)",
    ),
    ("12 oz", "volume", "'12 oz' is not a volume (did you mean '12 fl oz'?)"),
    ("12 oz", "mass", "'12 oz' is not a mass (did you mean '12 wt oz'?)"),
    (
        "3 oz/ac",
        "mass_per_area",
        "'3 oz/ac' is not a mass per area (did you mean '3 wt oz/acre'?)",
    ),
    (
        "3 fl oz/ac",
        "mass_per_area",
        "'3 fl oz/ac' is a rate, not a mass per area (write for instance '2 lb/ac')",
    ),
    ("5 ML", "volume", "'5 ML' is not a volume (did you mean '5 mL'?)"),
    ("3 mPa", "pressure", "'3 mPa' is not a pressure (write for instance '40 psi')"),
    ("5 M", "length", "'5 M' is not a length (did you mean '5 m'?)"),
    ("60 in", "pressure", "'60 in' is a length, not a pressure (write for instance '40 psi')"),
    ("10 in", "rate", "'10 in' is a length, not a rate (write for instance '1.5 gal/1000 ft2')"),
    (
        "1.5 gal",
        "rate",
        "'1.5 gal' is a volume, not a rate (write for instance '1.5 gal/1000 ft2')",
    ),
    ("5 gal/ac", "length", "'5 gal/ac' is a rate, not a length (write for instance '20 in')"),
    ("3 min", "voltage", "'3 min' is a time, not a voltage (write for instance '4.5 V')"),
    ("5 gal/min/ft", "flow", "'5 gal/min/ft' is not a flow (write for instance '0.8 gal/min')"),
    ("1/2 in", "length", "'1/2 in' is not one number and one unit (write for instance '20 in')"),
    (
        "20 1/2 in",
        "length",
        "'20 1/2 in' is not one number and one unit (write for instance '20 in')",
    ),
    ("5'6\"", "length", "'5'6\"' is not a length (write for instance '20 in')"),
    ("5", "share", "'5' is not a share (write '5 %', or from 0 to 1)"),
]


@pytest.mark.parametrize(("text", "kind", "si"), ACCEPTED)
def test_reads_what_people_write(text: str, kind: Kind, si: float) -> None:
    assert parse(text, kind) == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(("text", "kind", "message"), REFUSED)
def test_refuses_with_the_fact_and_what_would_be_right(text: str, kind: Kind, message: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text, kind)
    assert str(caught.value) == message


def test_the_unit_comes_back_as_it_was_written() -> None:
    assert parse_with_unit("3 fl. oz. / 1,000 sq ft", "rate") == (
        parse("3 fl oz/1000 ft2", "rate"),
        "fl. oz. / 1,000 sq ft",
    )
    assert parse_with_unit("1.28", "relative_density") == (1.28, "")


def test_the_acre_is_that_of_the_international_foot() -> None:
    assert parse("1 ac", "area") / parse("1 ft2", "area") == pytest.approx(43560, rel=1e-14)


def test_the_imperial_gallon_is_a_fifth_larger_than_ours() -> None:
    assert parse("1 imp gal", "volume") / parse("1 gal", "volume") == pytest.approx(1.20094993)


def test_a_message_is_one_short_line_whatever_the_text() -> None:
    with pytest.raises(UnitError) as caught:
        parse("20 in\x1b[2J\n" + "x" * 500, "length")
    message = str(caught.value)
    assert message.isprintable()
    assert len(message) < 130


@given(st.text(max_size=30), st.sampled_from(["length", "rate", "pressure", "share"]))
def test_any_text_is_a_finite_number_or_a_unit_error(text: str, kind: Kind) -> None:
    try:
        assert math.isfinite(parse(text, kind))
    except UnitError as error:
        assert str(error).isprintable()


@given(
    st.from_regex(r"[0-9]{1,3}(\.[0-9]{1,3})? ?[a-zA-Z0-9/.%\"' ]{1,12}", fullmatch=True),
    st.sampled_from(["length", "rate", "flow", "volume"]),
)
def test_any_text_that_looks_like_a_quantity_is_one_or_a_unit_error(text: str, kind: Kind) -> None:
    try:
        assert math.isfinite(parse(text, kind))
    except UnitError as error:
        assert str(error).isprintable()

"""SI to text, and back again."""

from __future__ import annotations

import math
import subprocess
import sys
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.units import Kind, UnitError, Units, display_unit, number_in, parse, show

KINDS: tuple[Kind, ...] = get_args(Kind)
POSITIVE = st.floats(min_value=1e-5, max_value=1e5)


@pytest.mark.parametrize(
    ("text", "kind", "us", "metric"),
    [
        ("5.632 gal/min", "flow", "5.63 gal/min", "21.32 L/min"),
        ("40 psi", "pressure", "40 psi", "2.76 bar"),
        ("1.5 gal/1000 ft2", "rate", "1.5 gal/1000 ft2", "611 L/ha"),
        ("3 fl oz/1000 ft2", "rate", "0.0234 gal/1000 ft2", "9.55 L/ha"),
        ("3.2 mph", "speed", "3.2 mph", "5.15 km/h"),
        ("40000 ft2", "area", "40000 ft2", "3716 m2"),
        ("60 gal", "volume", "60 gal", "227.1 L"),
        ("450 pulse/L", "pulses_per_volume", "450 pulse/L", "450 pulse/L"),
        ("12.5 pulse/ft", "pulses_per_length", "12.5 pulse/ft", "41.01 pulse/m"),
        ("12.5 %", "share", "12.5 %", "12.5 %"),
        ("1.28", "relative_density", "1.28", "1.28"),
        ("0 psi", "pressure", "0 psi", "0 bar"),
        ("-2 psi", "pressure", "-2 psi", "-0.138 bar"),
    ],
)
def test_shows_in_the_units_of_each_system(text: str, kind: Kind, us: str, metric: str) -> None:
    value = parse(text, kind)
    assert (show(value, kind, "us"), show(value, kind, "metric")) == (us, metric)


def test_shows_in_another_unit_when_asked() -> None:
    assert show(0.508, "length", unit="in") == "20 in"
    assert show(parse("0.125 gal", "volume"), "volume", unit="fl oz") == "16 fl oz"


def test_a_fixed_number_of_decimals_keeps_its_zeros() -> None:
    assert show(parse("6 gal/min", "flow"), "flow", decimals=2) == "6.00 gal/min"
    assert show(-0.0, "pressure", decimals=1) == "0.0 psi"


def test_what_is_not_a_number_is_not_dressed_up() -> None:
    assert show(math.nan, "pressure") == "nan psi"


def test_numbers_for_tables_come_in_any_unit_of_the_kind() -> None:
    assert number_in(0.508, "length", "in") == pytest.approx(20)
    assert number_in(1.28, "relative_density", "") == 1.28
    with pytest.raises(UnitError, match="is a length, not a pressure"):
        number_in(1.0, "pressure", "ft")


@given(st.sampled_from(KINDS), st.sampled_from(["us", "metric"]), POSITIVE)
def test_what_is_shown_reads_back_to_three_figures(kind: Kind, units: Units, number: float) -> None:
    unit = display_unit(kind, units)
    text = f"{number!r} {unit}".strip()
    if kind in {"share"}:
        text = f"{number % 100!r} %"
    value = parse(text, kind)
    assert parse(show(value, kind, units), kind) == pytest.approx(value, rel=5.1e-3)


@given(st.sampled_from(KINDS), st.sampled_from(["us", "metric"]), POSITIVE)
def test_a_number_written_out_in_full_reads_back_exactly(
    kind: Kind, units: Units, value: float
) -> None:
    unit = display_unit(kind, units) or "lb/gal"
    text = f"{number_in(value, kind, unit)!r} {unit}"
    assert parse(text, kind) == pytest.approx(value, rel=1e-14)


def test_importing_the_module_does_not_import_pint() -> None:
    code = "import sys, flowlog.units; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

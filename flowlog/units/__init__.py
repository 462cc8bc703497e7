"""A person's text to SI and back: `parse("20 in", "length")` is 0.508.

Inside flowlog everything is a float in SI units. Text with a unit comes in only here, and values
with a unit go out only here. The units themselves are in `units.txt`, read by pint; this package
adds what pint leaves open for our purpose: which units belong to which kind of quantity (a rate
in gal/acre has the dimension of a length, so a dimension check alone would take "10 in" as a
rate), and messages that say what would be right.
"""

from __future__ import annotations

from flowlog.units.kinds import WATER_KG_M3, Kind, UnitError, Units
from flowlog.units.read import parse, parse_with_unit
from flowlog.units.write import display_unit, number_in, show

__all__ = [
    "WATER_KG_M3",
    "Kind",
    "UnitError",
    "Units",
    "display_unit",
    "number_in",
    "parse",
    "parse_with_unit",
    "show",
]

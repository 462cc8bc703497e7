"""The many ways to write one unit, folded to the names in `units.txt`."""

from __future__ import annotations

import re
from typing import Final

WORDS: Final = {
    "gpm": "gal/min",
    "gph": "gal/h",
    "lpm": "l/min",
    "lph": "l/h",
    "mph": "mi/h",
    "kph": "km/h",
    "kmh": "km/h",
    "gpa": "gal/ac",
    "%": "percent",
    '"': "in",
    "''": "in",
    "'": "ft",
}
"""One-word spellings of units that have a stroke, and marks that are no names."""

_CASE_MATTERS: Final = frozenset({"m", "mm", "ml", "mv", "mpa"})
"""Here m is milli or meter and M is mega or, in turf, a thousand: never guess between them."""

PLAIN_NAMES: Final = {
    "meter": "m",
    "kilometer": "km",
    "centimeter": "cm",
    "millimeter": "mm",
    "inch": "in",
    "foot": "ft",
    "yard": "yd",
    "mile": "mi",
    "square_meter": "m2",
    "hectare": "ha",
    "square_foot": "ft2",
    "thousand_square_feet": "1000 ft2",
    "square_yard": "yd2",
    "cubic_meter": "m3",
    "liter": "L",
    "milliliter": "mL",
    "gallon": "gal",
    "quart": "qt",
    "pint": "pt",
    "fluid_ounce": "fl oz",
    "imperial_gallon": "imp gal",
    "imperial_fluid_ounce": "imp fl oz",
    "second": "s",
    "minute": "min",
    "hour": "h",
    "hundred_gallons": "100 gal",
    "hundred_liters": "100 L",
    "kilogram": "kg",
    "gram": "g",
    "pound": "lb",
    "weight_ounce": "wt oz",
    "pascal": "Pa",
    "kilopascal": "kPa",
    "megapascal": "MPa",
    "volt": "V",
    "millivolt": "mV",
    "percent": "%",
}
"""How a unit of `units.txt` is written in suggestions, where not by its own name."""


def split_unit(unit: str) -> list[str]:
    """Spellings folded to names of `units.txt`, split at the stroke."""
    folded = re.sub(r"\bper\b", "/", " ".join(unit.split()))
    folded = re.sub(r"\s*/\s*", "/", folded)
    parts = []
    for place, part in enumerate(folded.split("/")):
        name = part.strip()
        if place == 1 and name == "M":
            # Turf writes gal/M for gallons per thousand square feet.
            parts.append("kft2")
            continue
        if name.casefold() in _CASE_MATTERS and name[0] == "M" and name != "MPa":
            parts.append(name)
            continue
        if name.casefold() == "mpa" and name != "MPa":
            parts.append("?")
            continue
        parts.extend(_fold(name).split("/"))
    return parts


def _fold(name: str) -> str:
    name = name.casefold().replace("**", "").replace("^", "").rstrip(".")
    name = re.sub(r"\.(?= )", "", name)
    name = re.sub(r"^100 ?m2$", "are", name)
    name = re.sub(r"^100 ?gal(?:s|lons?)?$", "hundred_gallons", name)
    name = re.sub(r"^100 ?(?:l|lit(?:er|re)s?)$", "hundred_liters", name)
    name = re.sub(r"^(?:1,?000|thousand|kilo|k) ?(?=sq|ft|feet|foot)", "k ", name)
    name = re.sub(r"\b(?:sq|square) ?(feet|foot|ft|yards?|yd|meters?|metres?|m)\b", r"\1 2", name)
    name = re.sub(r"\b(?:cu|cubic) ?(meters?|metres?|m)\b", r"\1 3", name)
    name = re.sub(r"\b(feet|foot) ?2$", "ft2", name)
    name = re.sub(r"\byards? ?2$", "yd2", name)
    name = re.sub(r"\b(?:meters?|metres?) ?([23])$", r"m\1", name)
    name = re.sub(r"\b(ft|yd|m) ([23])$", r"\1\2", name)
    name = re.sub(r"^k ft2$|^k ?sq ?ft$|^k sqft$", "kft2", name)
    return WORDS.get(name, name.replace(". ", " ").replace(" ", "_"))

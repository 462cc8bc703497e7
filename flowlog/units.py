"""A person's text to SI and back: `parse("20 in", "length")` is 0.508.

Inside flowlog everything is a float in SI units. Text with a unit comes in only here, and values
with a unit go out only here. The units themselves are in `units.txt`, read by pint; this module
adds what pint leaves open for our purpose: which units belong to which kind of quantity (a rate
in gal/acre has the dimension of a length, so a dimension check alone would take "10 in" as a
rate), and messages that say what would be right.
"""

from __future__ import annotations

import difflib
import functools
import math
import re
import unicodedata
from dataclasses import dataclass
from importlib import resources
from typing import TYPE_CHECKING, Final, Literal

from flowlog.errors import FlowlogError

if TYPE_CHECKING:
    import pint

Kind = Literal[
    "length",
    "area",
    "volume",
    "time",
    "voltage",
    "pressure",
    "flow",
    "speed",
    "rate",
    "pulses_per_volume",
    "pulses_per_length",
    "relative_density",
    "share",
]
Units = Literal["us", "metric"]

WATER_KG_M3: Final = 8.34 * 0.45359237 / 0.003785411784
"""The water that relative densities refer to: 8.34 lb/gal, the trade's figure (999.3 kg/m3)."""


class UnitError(FlowlogError):
    """A text that is not a quantity of the wanted kind, with what would be right."""


@dataclass(frozen=True, slots=True)
class _Kind:
    words: str
    """The kind with its article, for messages."""
    top: str
    bottom: str | None
    """Dimensions (keys of `_DIMENSIONS`) above and below the stroke; below None: no stroke."""
    si: str
    example: str
    us: str
    metric: str
    """Units for display."""
    us_decimals: int
    metric_decimals: int
    bare: bool = False
    """Whether a number without a unit is allowed."""


_DIMENSIONS: Final = {
    "length": "[length]",
    "area": "[length] ** 2",
    "volume": "[length] ** 3",
    "time": "[time]",
    "mass": "[mass]",
    "pressure": "[mass] / [length] / [time] ** 2",
    "voltage": "[voltage]",
    "pulses": "[pulse]",
    "share": "dimensionless",
}

_KINDS: Final[dict[Kind, _Kind]] = {
    "length": _Kind("a length", "length", None, "m", "20 in", "ft", "m", 2, 2),
    "area": _Kind("an area", "area", None, "m2", "1000 ft2", "ft2", "m2", 0, 0),
    "volume": _Kind("a volume", "volume", None, "m3", "60 gal", "gal", "L", 1, 1),
    "time": _Kind("a time", "time", None, "s", "30 s", "s", "s", 1, 1),
    "voltage": _Kind("a voltage", "voltage", None, "V", "4.5 V", "V", "V", 2, 2),
    "pressure": _Kind("a pressure", "pressure", None, "Pa", "40 psi", "psi", "bar", 1, 2),
    "flow": _Kind("a flow", "volume", "time", "m3/s", "0.8 gal/min", "gal/min", "L/min", 2, 2),
    "speed": _Kind("a speed", "length", "time", "m/s", "3.2 mph", "mph", "km/h", 2, 2),
    "rate": _Kind(
        "a rate", "volume", "area", "m3/m2", "1.5 gal/1000 ft2", "gal/1000 ft2", "L/ha", 2, 0
    ),
    "pulses_per_volume": _Kind(
        "a number of pulses per volume",
        "pulses",
        "volume",
        "pulse/m3",
        "450 pulse/L",
        "pulse/L",
        "pulse/L",
        1,
        1,
    ),
    "pulses_per_length": _Kind(
        "a number of pulses per length",
        "pulses",
        "length",
        "pulse/m",
        "12.5 pulse/ft",
        "pulse/ft",
        "pulse/m",
        2,
        2,
    ),
    "relative_density": _Kind(
        "a relative density", "mass", "volume", "kg/m3", "10.65 lb/gal", "", "", 2, 2, bare=True
    ),
    "share": _Kind("a share", "share", None, "", "5 %", "%", "%", 1, 1, bare=True),
}

_PLAIN_NAMES: Final = {
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
    "kilogram": "kg",
    "gram": "g",
    "pound": "lb",
    "pascal": "Pa",
    "kilopascal": "kPa",
    "megapascal": "MPa",
    "volt": "V",
    "millivolt": "mV",
    "percent": "%",
}
"""How a unit of `units.txt` is written in suggestions, where not by its own name."""

_WORDS: Final = {
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

_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_NAME: Final = re.compile(r"[a-z_][a-z0-9_]*")


def parse(text: str, kind: Kind) -> float:
    """Read a quantity as a person writes it.

    Args:
        text: a number and a unit, e.g. "20 in", "0.5 gal/min", "65 gal/ac". A share may also be
            a bare number from 0 to 1, and a relative density a bare number.
        kind: what it must be.

    Returns:
        The value in SI: m, m2, m3, s, V, Pa, m3/s, m/s, m3/m2, pulses/m3, pulses/m; shares as
        fractions, densities relative to water.

    Raises:
        UnitError: the text is not such a quantity; the message says what would be right.
    """
    spec = _KINDS[kind]
    clean = _clean(text)
    text = _one_line(clean)
    number = _NUMBER.match(clean)
    if number is None:
        raise UnitError(_no_number(text, clean, spec))
    value, unit = float(number[0]), clean[number.end() :].strip()
    if not math.isfinite(value):
        raise UnitError(f"'{text}' is too large a number (write for instance '{spec.example}')")
    if unit.startswith(","):
        raise UnitError(
            f"'{text}' has a comma in its number (write a decimal point and no thousands mark, "
            f"for instance '{spec.example}')"
        )
    if not unit:
        return _bare(value, text, kind, spec)
    if not re.match(r"[^\W\d]|[%\"']|1,?000\b|1000", unit):
        raise UnitError(
            f"'{text}' is not one number and one unit (write for instance '{spec.example}')"
        )
    return value * _factor(kind, unit, text, number[0])


def number_in(value_si: float, kind: Kind, unit: str) -> float:
    """An SI value as a number of `unit`, e.g. `number_in(0.508, "length", "in")` is 20.0."""
    if not unit and _KINDS[kind].bare:
        return value_si
    return value_si / _factor(kind, unit, f"1 {unit}", "1")


def display_unit(kind: Kind, units: Units = "us") -> str:
    """The unit in which `show` writes this kind; empty for a relative density."""
    spec = _KINDS[kind]
    return spec.us if units == "us" else spec.metric


def show(
    value_si: float,
    kind: Kind,
    units: Units = "us",
    *,
    unit: str | None = None,
    decimals: int | None = None,
) -> str:
    """Write an SI value for a person: `show(0.508, "length", unit="in")` is "20 in".

    Args:
        value_si: the value in SI, see `parse`.
        kind: what it is.
        units: which system's usual unit to take.
        unit: another unit instead, e.g. "fl oz".
        decimals: this many, always. By default the kind's usual number without zeros at the
            end, and more for small values, so that at least three figures count.
    """
    label = display_unit(kind, units) if unit is None else unit
    number = number_in(value_si, kind, label)
    if decimals is None:
        usual = _KINDS[kind].us_decimals if units == "us" else _KINDS[kind].metric_decimals
        written = _three_figures(number, usual)
    else:
        written = f"{number + 0.0:.{decimals}f}"
    return f"{written} {label}".rstrip()


def _three_figures(number: float, usual: int) -> str:
    if not math.isfinite(number):
        return str(number)
    if number == 0:
        return "0"
    size = math.floor(math.log10(abs(number)))
    if size < -6 or size > 12:
        return f"{number:.3g}"
    written = f"{number:.{max(usual, 2 - size, 0)}f}"
    return written.rstrip("0").rstrip(".") if "." in written else written


@functools.cache
def _registry() -> pint.UnitRegistry[float]:
    # pint takes a tenth of a second to import: only a command that reads units pays for it.
    # No cache folder: pint's cache is pickle files, and one torn by a power cut ends the start.
    import pint

    lines = (resources.files("flowlog") / "units.txt").read_text("utf-8").splitlines()
    registry: pint.UnitRegistry[float] = pint.UnitRegistry(lines, cache_folder=None)
    return registry


def _clean(text: str) -> str:
    """Fold what looks alike: widths and superscripts, typographic marks, runs of spaces."""
    folded = unicodedata.normalize("NFKC", text.replace("″", '"').replace("′", "'"))
    for mark in "”“":
        folded = folded.replace(mark, '"')
    return " ".join(folded.replace("’", "'").split())


def _one_line(clean: str) -> str:
    """The text as messages quote it: short, and nothing in it that moves a terminal's cursor."""
    shown = "".join(c if c.isprintable() else "?" for c in clean)
    return shown if len(shown) <= 60 else shown[:57] + "..."


def _no_number(text: str, clean: str, spec: _Kind) -> str:
    if not clean:
        return f"the text is empty (write {spec.words}, for instance '{spec.example}')"
    if re.search(r"[0-9]", clean):
        return (
            f"'{text}' does not begin with its number "
            f"(write the number first, for instance '{spec.example}')"
        )
    return f"'{text}' is not {spec.words} (write for instance '{spec.example}')"


def _bare(value: float, text: str, kind: Kind, spec: _Kind) -> float:
    if not spec.bare:
        raise UnitError(f"'{text}' has no unit (write {spec.words}, for instance '{spec.example}')")
    if kind == "share" and abs(value) > 1:
        raise UnitError(f"'{text}' is not a share (write '{text.strip()} %', or from 0 to 1)")
    return value


def _factor(kind: Kind, unit: str, text: str, number: str) -> float:
    factor = _known_factor(kind, unit)
    if factor is None:
        raise UnitError(_wrong_unit(kind, unit, text, number))
    return factor


@functools.lru_cache(maxsize=512)
def _known_factor(kind: Kind, unit: str) -> float | None:
    """SI value of one `unit`, or None if it is no unit of this kind."""
    spec = _KINDS[kind]
    parts = [_resolve(part) for part in _split(unit)]
    wanted = [spec.top] if spec.bottom is None else [spec.top, spec.bottom]
    if len(parts) != len(wanted):
        return None
    factor = 1.0
    for place, (part, dimension) in enumerate(zip(parts, wanted, strict=True)):
        if part is None or part[1] != dimension:
            return None
        size = _registry().Quantity(1.0, part[0]).to_base_units().magnitude
        factor = factor * size if place == 0 else factor / size
    return factor / WATER_KG_M3 if kind == "relative_density" else factor


def _split(unit: str) -> list[str]:
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
    name = re.sub(r"^(?:1,?000|thousand|kilo) ?(?=\D)", "k ", name)
    name = re.sub(r"\b(?:sq|square) ?(feet|foot|ft|yards?|yd|meters?|metres?|m)\b", r"\1 2", name)
    name = re.sub(r"\b(?:cu|cubic) ?(meters?|metres?|m)\b", r"\1 3", name)
    name = re.sub(r"\b(feet|foot) ?2$", "ft2", name)
    name = re.sub(r"\byards? ?2$", "yd2", name)
    name = re.sub(r"\b(?:meters?|metres?) ?([23])$", r"m\1", name)
    name = re.sub(r"\b(ft|yd|m) ([23])$", r"\1\2", name)
    name = re.sub(r"^k ft2$|^k ?sq ?ft$|^k sqft$", "kft2", name)
    return _WORDS.get(name, name.replace(". ", " ").replace(" ", "_"))


@functools.lru_cache(maxsize=512)
def _resolve(name: str) -> tuple[str, str] | None:
    """The unit's own name and its dimension, or None if there is no such unit."""
    if _NAME.fullmatch(name) is None or name not in set(_registry()):
        return None
    own = str(_registry().parse_units(name))
    shape = str(_registry().get_dimensionality(name))
    return own, next(key for key, wanted in _DIMENSIONS.items() if wanted == shape)


def _wrong_unit(kind: Kind, unit: str, text: str, number: str) -> str:
    spec = _KINDS[kind]
    for other, other_spec in _KINDS.items():
        if other != kind and _known_factor(other, unit) is not None:
            return (
                f"'{text}' is {other_spec.words}, not {spec.words} "
                f"(write for instance '{spec.example}')"
            )
    better = _nearest(spec, unit)
    if better is not None:
        return f"'{text}' is not {spec.words} (did you mean '{number} {better}'?)"
    return f"'{text}' is not {spec.words} (write for instance '{spec.example}')"


def _nearest(spec: _Kind, unit: str) -> str | None:
    """The unit of this kind that was probably meant."""
    wanted = [spec.top] if spec.bottom is None else [spec.top, spec.bottom]
    parts = _split(unit)
    if len(parts) != len(wanted):
        return _nearest_word(spec, unit)
    found = [_nearest_part(part, dim) for part, dim in zip(parts, wanted, strict=True)]
    if None in found:
        return None
    return "/".join(part for part in found if part is not None)


def _nearest_word(spec: _Kind, unit: str) -> str | None:
    words = [word for word in _WORDS if _NAME.fullmatch(word)]
    for word in difflib.get_close_matches(unit.casefold(), words, n=3, cutoff=0.6):
        parts = [_resolve(part) for part in _WORDS[word].split("/")]
        if [part[1] for part in parts if part is not None] == [spec.top, spec.bottom]:
            return word
    return None


def _nearest_part(part: str, dimension: str) -> str | None:
    if dimension == "volume" and part in {"oz", "ounce", "ounces"}:
        return "fl oz"
    names = {}
    for name in _registry():
        resolved = _resolve(name)
        if resolved is not None and resolved[1] == dimension:
            names[name] = resolved[0]
    close = difflib.get_close_matches(part.casefold(), names, n=1, cutoff=0.6)
    if not close:
        return None
    own = names[close[0]]
    return _PLAIN_NAMES.get(own, own)

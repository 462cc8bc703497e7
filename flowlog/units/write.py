"""SI to a number or a text in a person's units."""

from __future__ import annotations

import math

from flowlog.units.advice import factor_of
from flowlog.units.kinds import KINDS, Kind, Units


def number_in(value_si: float, kind: Kind, unit: str) -> float:
    """An SI value as a number of `unit`, e.g. `number_in(0.508, "length", "in")` is 20.0."""
    if not unit and KINDS[kind].bare:
        return value_si
    return value_si / factor_of(kind, unit, f"1 {unit}", "1")


def display_unit(kind: Kind, units: Units = "us") -> str:
    """The unit in which `show` writes this kind; empty for a relative density."""
    spec = KINDS[kind]
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
        usual = KINDS[kind].us_decimals if units == "us" else KINDS[kind].metric_decimals
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

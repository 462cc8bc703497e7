"""The kinds of quantity that flowlog knows, and the units in which it shows them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from flowlog.errors import FlowlogError

Kind = Literal[
    "length",
    "area",
    "volume",
    "mass",
    "time",
    "voltage",
    "pressure",
    "flow",
    "speed",
    "rate",
    "mass_per_area",
    "mass_per_volume",
    "volume_per_volume",
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
class KindSpec:
    words: str
    """The kind with its article, for messages."""
    top: str
    bottom: str | None
    """Dimensions (keys of `DIMENSIONS`) above and below the stroke; below None: no stroke."""
    si: str
    example: str
    us: str
    metric: str
    """Units for display."""
    us_decimals: int
    metric_decimals: int
    bare: bool = False
    """Whether a number without a unit is allowed."""


DIMENSIONS: Final = {
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

KINDS: Final[dict[Kind, KindSpec]] = {
    "length": KindSpec("a length", "length", None, "m", "20 in", "ft", "m", 2, 2),
    "area": KindSpec("an area", "area", None, "m2", "1000 ft2", "ft2", "m2", 0, 0),
    "volume": KindSpec("a volume", "volume", None, "m3", "60 gal", "gal", "L", 1, 1),
    "mass": KindSpec("a mass", "mass", None, "kg", "2 lb", "lb", "kg", 2, 2),
    "time": KindSpec("a time", "time", None, "s", "30 s", "s", "s", 1, 1),
    "voltage": KindSpec("a voltage", "voltage", None, "V", "4.5 V", "V", "V", 2, 2),
    "pressure": KindSpec("a pressure", "pressure", None, "Pa", "40 psi", "psi", "bar", 1, 2),
    "flow": KindSpec("a flow", "volume", "time", "m3/s", "0.8 gal/min", "gal/min", "L/min", 2, 2),
    "speed": KindSpec("a speed", "length", "time", "m/s", "3.2 mph", "mph", "km/h", 2, 2),
    "rate": KindSpec(
        "a rate", "volume", "area", "m3/m2", "1.5 gal/1000 ft2", "gal/1000 ft2", "L/ha", 2, 0
    ),
    "mass_per_area": KindSpec(
        "a mass per area", "mass", "area", "kg/m2", "2 lb/ac", "lb/1000 ft2", "kg/ha", 2, 2
    ),
    "pulses_per_volume": KindSpec(
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
    "pulses_per_length": KindSpec(
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
    "relative_density": KindSpec(
        "a relative density", "mass", "volume", "kg/m3", "10.65 lb/gal", "", "", 2, 2, bare=True
    ),
    # After the density, which is what a mass per volume usually is meant to be.
    "mass_per_volume": KindSpec(
        "a mass per volume", "mass", "volume", "kg/m3", "4 lb/gal", "lb/gal", "g/L", 2, 0
    ),
    "volume_per_volume": KindSpec(
        "a volume per volume",
        "volume",
        "volume",
        "",
        "32 fl oz/100 gal",
        "fl oz/100 gal",
        "mL/100 L",
        1,
        0,
    ),
    "share": KindSpec("a share", "share", None, "", "5 %", "%", "%", 1, 1, bare=True),
}

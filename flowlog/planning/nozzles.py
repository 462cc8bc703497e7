"""The nominal sizes of tips, as anybody can order them.

Source: ISO 10625, nominal flows of water at 3 bar, from memory; the arithmetic is consistent
(size 04 is 4 times size 01), the text of the standard was not read. A size in US practice is
the tip's gal/min at 40 psi, so "04" is 0.4 gal/min there: 1.3 % less than the ISO flow at the
same pressure, for every size but 0067, whose flow is rounded up. A size names a flow and
nothing else: drop size, fan and pressure band belong to the tip's kind and stand in its chart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from flowlog.physics.tips import tip_coefficient

SIZE_PRESSURE_PA: Final = 3e5
"""The pressure at which the nominal flows hold."""


@dataclass(frozen=True, slots=True)
class TipSize:
    """A nominal size: its name and its flow of water at 3 bar."""

    name: str
    flow_m3_s: float

    @property
    def coefficient(self) -> float:
        """Flow of water per square root of pressure, m3/s/Pa^0.5."""
        return tip_coefficient(self.flow_m3_s, SIZE_PRESSURE_PA)


TIP_SIZES: Final = tuple(
    TipSize(name, litres_min / 60_000.0)
    for name, litres_min in (
        ("0050", 0.20),
        ("0067", 0.27),
        ("0075", 0.30),
        ("01", 0.40),
        ("015", 0.60),
        ("02", 0.80),
        ("025", 1.00),
        ("03", 1.20),
        ("035", 1.40),
        ("04", 1.60),
        ("05", 2.00),
        ("06", 2.40),
        ("08", 3.20),
        ("10", 4.00),
        ("15", 6.00),
        ("20", 8.00),
    )
)


def nearest_size(coefficient: float) -> tuple[TipSize, float]:
    """The size nearest to a tip's coefficient for water, and how far the tip is from it.

    Returns:
        The size, and the tip's flow over the size's at one pressure, minus 1.
    """
    size = min(TIP_SIZES, key=lambda one: abs(one.coefficient / coefficient - 1.0))
    return size, coefficient / size.coefficient - 1.0

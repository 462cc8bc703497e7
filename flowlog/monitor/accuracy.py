"""How sure the totals and rates of a stop are, as a budget of what contributes.

The relative standard uncertainties of a product of powers add as squares, and twice the result
covers about 95 % (JCGM 100:2008, 5.1.6 and 6.2). A bound of +-a without more knowledge counts as
a/sqrt(3), one whole pulse more or less at both ends as 1/sqrt(6) of a pulse (JCGM 100:2008,
4.3.7 and 4.3.9). The bounds themselves are those of this class of sensors in good order: common
practice, no source. They are stated with each contribution, so that anybody can judge them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from flowlog.rig.model import Rig

Quantity = Literal["volume", "area", "rate"]

COVERAGE: Final = 2.0
"""Coverage factor for about 95 %."""


@dataclass(frozen=True, slots=True)
class Contribution:
    """One cause of doubt: its relative standard uncertainty, and where that comes from."""

    cause: str
    relative: float
    because: str


@dataclass(frozen=True, slots=True)
class Budget:
    """What is not known about a quantity, largest contribution first."""

    quantity: Quantity
    contributions: tuple[Contribution, ...]

    @property
    def relative(self) -> float:
        """Combined relative standard uncertainty."""
        return math.sqrt(sum(part.relative**2 for part in self.contributions))

    @property
    def expanded(self) -> float:
        """Relative half-width of the interval that covers about 95 %."""
        return COVERAGE * self.relative

    @property
    def largest(self) -> Contribution:
        return self.contributions[0]

    def sentence(self) -> str:
        """One line: how sure, and why not surer."""
        share = self.largest.relative**2 / self.relative**2
        mostly = "most of it" if share > 0.5 else "the largest part of it"
        return (
            f"{self.quantity} is sure to about +-{self.expanded:.0%}".replace("%", " %")
            + f" (95 %); {mostly} is {self.largest.cause}: {self.largest.because}"
        )


def budget(rig: Rig, pulses: int, quantity: Quantity = "rate") -> Budget:
    """The uncertainty of a total or mean over a stretch in which the meter gave `pulses`.

    Raises:
        ValueError: `quantity` needs the meter and it gave no pulse, so nothing is known.
    """
    parts: list[Contribution] = []
    if quantity != "area":
        if pulses <= 0:
            raise ValueError(f"no pulses, no {quantity}")
        parts += _meter(rig, pulses)
    if quantity != "volume":
        parts += _ground(rig)
    parts.sort(key=lambda part: -part.relative)
    return Budget(quantity, tuple(parts))


def _meter(rig: Rig, pulses: int) -> list[Contribution]:
    linearity = (
        Contribution("the meter between its curve's points", 0.005, "0.5 % between points")
        if rig.meter.curve
        else Contribution(
            "the meter's linearity",
            0.02 / math.sqrt(3),
            "+-2 % over its range with one number of pulses",
        )
    )
    return [
        Contribution("the meter's calibration", 0.015, "1.5 % after a careful catch"),
        linearity,
        Contribution("the meter's repeatability", 0.005, "0.5 % from run to run"),
        Contribution("counting", 1 / math.sqrt(6) / pulses, f"whole pulses, {pulses} of them"),
    ]


def _ground(rig: Rig) -> list[Contribution]:
    speed = (
        Contribution(
            "the ground speed",
            0.05 / math.sqrt(3),
            "it is not measured, and taken as the calibrated one within +-5 %",
        )
        if rig.wheel is None
        else Contribution(
            "the ground speed", 0.02 / math.sqrt(3), "the wheel is taken as right within +-2 %"
        )
    )
    return [
        speed,
        Contribution("the effective width", 0.01 / math.sqrt(3), "+-1 % of spacing times tips"),
    ]

"""How sure the totals and rates of a stop are, as a budget of what contributes.

The relative standard uncertainties of a product of powers add as squares, and twice the result
covers about 95 % (JCGM 100:2008, 5.1.6 and 6.2). A bound of +-a without more knowledge counts as
a/sqrt(3), one whole pulse more or less at both ends as 1/sqrt(6) of a pulse (JCGM 100:2008,
4.3.7 and 4.3.9). Where meter or speed were calibrated, that calibration's own uncertainty counts.
All other bounds are those of this class of sensors in good order: common practice, no source.
Each contribution says which of the two it is, so that anybody can judge it.
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
class Own:
    """How sure one's own calibration is."""

    relative: float
    """Standard uncertainty as a share; half of the interval that covers about 95 %."""
    when: str
    """For a sentence: `2026-05-04 07:12`."""


@dataclass(frozen=True, slots=True)
class Basis:
    """What was calibrated. None: nothing is known, and what is usual for the class counts."""

    meter: Own | None = None
    meter_flows_m3_s: tuple[float, float] = (0.0, math.inf)
    """The lowest and highest flow at which the meter was calibrated."""
    speed: Own | None = None
    """Of the course. A rig with a wheel does not go by it."""


ASSUMED: Final = Basis()
_NEAR: Final = (0.8, 1.25)
"""So far beyond the calibrated flows the meter's calibration still holds, as it does itself."""


@dataclass(frozen=True, slots=True)
class Contribution:
    """One cause of doubt: its relative standard uncertainty, and where that comes from."""

    cause: str
    relative: float
    because: str
    own: bool = False
    """Whether it rests on one's own calibration or count, and on no assumption for the class."""


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


def budget(
    rig: Rig,
    pulses: int,
    quantity: Quantity = "rate",
    basis: Basis = ASSUMED,
    flow_m3_s: float | None = None,
) -> Budget:
    """The uncertainty of a total or mean over a stretch in which the meter gave `pulses`.

    Args:
        basis: what of the rig was calibrated, and how well.
        flow_m3_s: mean flow of the stretch, to be held against the calibrated ones; the expected
            one if it was not measured.

    Raises:
        ValueError: `quantity` needs the meter and it gave no pulse, so nothing is known.
    """
    parts: list[Contribution] = []
    if quantity != "area":
        if pulses <= 0:
            raise ValueError(f"no pulses, no {quantity}")
        flow = rig.expected_flow_m3_s if flow_m3_s is None else flow_m3_s
        parts += _meter(rig, pulses, basis, flow)
    if quantity != "volume":
        parts += _ground(rig, basis)
    parts.sort(key=lambda part: -part.relative)
    return Budget(quantity, tuple(parts))


def _meter(rig: Rig, pulses: int, basis: Basis, flow_m3_s: float) -> list[Contribution]:
    return [
        *_factor(rig, basis, flow_m3_s),
        Contribution("the meter's repeatability", 0.005, "0.5 % from run to run"),
        Contribution(
            "counting", 1 / math.sqrt(6) / pulses, f"whole pulses, {pulses} of them", own=True
        ),
    ]


def _factor(rig: Rig, basis: Basis, flow_m3_s: float) -> list[Contribution]:
    """How well pulses per volume are known at this flow."""
    if basis.meter is None:
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
        ]
    own = Contribution(
        "the meter's calibration",
        basis.meter.relative,
        f"your own calibration of {basis.meter.when}",
        own=True,
    )
    low, high = basis.meter_flows_m3_s
    if _NEAR[0] * low <= flow_m3_s <= _NEAR[1] * high:
        return [own]
    return [
        own,
        Contribution(
            "the meter's linearity",
            0.02 / math.sqrt(3),
            "+-2 %, since the flow lies outside of the calibrated ones",
        ),
    ]


def _ground(rig: Rig, basis: Basis) -> list[Contribution]:
    width = Contribution("the effective width", 0.01 / math.sqrt(3), "+-1 % of spacing times tips")
    if rig.wheel is not None:
        wheel = "the wheel is taken as right within +-2 %"
        return [Contribution("the ground speed", 0.02 / math.sqrt(3), wheel), width]
    if basis.speed is None:
        file = "it is not measured, and taken as the calibrated one within +-5 %"
        return [Contribution("the ground speed", 0.05 / math.sqrt(3), file), width]
    return [
        Contribution(
            "the ground speed",
            0.05 / math.sqrt(3),
            "it is not measured, and taken as that of your course within +-5 %",
        ),
        Contribution(
            "the course's speed",
            basis.speed.relative,
            f"your own calibration of {basis.speed.when}",
            own=True,
        ),
        width,
    ]

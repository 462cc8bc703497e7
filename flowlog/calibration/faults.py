"""What is wrong with an input of a calibration: refused outright, or remarked upon."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from flowlog.errors import FlowlogError
from flowlog.units import Kind, show


class CalibrationError(FlowlogError):
    """An input that no calibration can be made of, with the likely reason."""


@dataclass(frozen=True, slots=True)
class Remark:
    """Something to tell the person; the result stands all the same."""

    code: str
    """Words that stay the same, for programs: "third-run", "few-pulses" ..."""
    text: str


@dataclass(frozen=True, slots=True)
class Slip:
    """A ratio of what was stated to what was expected that has a known cause."""

    ratio: float
    tolerance: float
    because: str

    def fits(self, ratio: float) -> bool:
        return abs(ratio / self.ratio - 1.0) <= self.tolerance


DECIMAL_SLIPS: Final = (
    Slip(10.0, 0.25, "ten times as much as it should be: a figure or a decimal point slipped"),
    Slip(0.1, 0.25, "a tenth of what it should be: a figure or a decimal point slipped"),
    Slip(100.0, 0.25, "a hundred times as much as it should be: a decimal point slipped"),
    Slip(0.01, 0.25, "a hundredth of what it should be: a decimal point slipped"),
)


def likely_slip(ratio: float, slips: Iterable[Slip]) -> Slip | None:
    """The slip whose ratio is nearest among those that fit, or None."""
    if not ratio > 0.0:
        return None
    fitting = [slip for slip in slips if slip.fits(ratio)]
    return min(fitting, key=lambda slip: abs(math.log(ratio / slip.ratio)), default=None)


def need_positive(value: float, place: str, kind: Kind, right: str) -> float:
    """The value, or a CalibrationError that names the place and what would be right."""
    if not (math.isfinite(value) and value > 0.0):
        written = show(value, kind, "metric")
        raise CalibrationError(f"{place}: {written} is not more than zero ({right})")
    return value


def percent(share: float, decimals: int = 1) -> str:
    """A share for a sentence: 0.031 is "3.1 %"."""
    return f"{100.0 * share:.{decimals}f} %"

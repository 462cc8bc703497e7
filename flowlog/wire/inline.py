"""Whether one sample can follow another, and by how much the counters moved in between.

The same expressions serve two Python integers and two numpy columns, so that the quick path
over a block and the careful path over one sample cannot disagree.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

MASK: Final = 0xFFFF_FFFF
_HALF: Final = 0x8000_0000

Ints = TypeVar("Ints", int, NDArray[np.int64])


@dataclass(frozen=True, slots=True)
class Limits:
    """What a board that works can do. All integers, so that nothing depends on rounding.

    Raises:
        ValueError: a limit for which the arithmetic would not fit 64 bits.
    """

    period_us: int
    highest_pulse_hz: int
    highest_wheel_hz: int

    def __post_init__(self) -> None:
        if not 1 <= self.period_us <= 10_000_000:
            raise ValueError(f"period_us {self.period_us} is not within 1..10000000")
        for name in ("highest_pulse_hz", "highest_wheel_hz"):
            if not 1 <= getattr(self, name) <= 100_000:
                raise ValueError(f"{name} {getattr(self, name)} is not within 1..100000")

    @classmethod
    def of(cls, period_us: int, highest_pulse_hz: float, highest_wheel_hz: float) -> Limits:
        return cls(int(period_us), ceil(highest_pulse_hz), ceil(highest_wheel_hz))

    @property
    def edge_slack_us(self) -> int:
        """How far an edge may lie outside the time between its sample and the one before.

        A board that captures edges in hardware counts them a little later.
        """
        return self.period_us // 10


def expected_us(periods: Ints, limits: Limits) -> Ints:
    """Board time that so many sample numbers stand for."""
    return periods * limits.period_us


def clock_error_us(clock_step: Ints, expected: Ints) -> Ints:
    """Difference of the clock's step modulo 2**32 to the expected one, -2**31..2**31-1.

    Taking the difference first is what resolves the clock's wraps in a gap of any length: the
    sample number says how many wraps there were, the clock says the rest.
    """
    return ((clock_step - expected + _HALF) & MASK) - _HALF


def clock_slack_us(expected: Ints, limits: Limits) -> Ints:
    """Largest believable `clock_error_us`: one period, and 1/64 for a sample timer that drifts.

    Above half a turn of the clock (a gap of 38 h) it believes anything, as nothing can be told.
    """
    return expected // 64 + limits.period_us


def highest_count(elapsed: Ints, highest_hz: int) -> Ints:
    """Most edges in `elapsed` microseconds; two more for the edges just outside of it."""
    return (elapsed // 1000 + 1) * highest_hz // 1000 + 2


def age_us(clock: Ints, edge: Ints, limits: Limits) -> Ints:
    """How long before the sample its last edge was; slightly negative if the edge came later.

    An edge older than one turn of the clock (71.6 min) looks younger than it is: nothing on the
    wire can tell, and it matters only for the first sample of a segment, as an edge is read only
    when its count has moved.
    """
    return ((clock - edge + limits.edge_slack_us) & MASK) - limits.edge_slack_us

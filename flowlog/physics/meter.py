"""What a meter's pulses are worth, and how finely they can be counted.

A meter gives pulses in proportion to the volume; `pulses_per_m3` may differ from flow to flow,
as a curve of (flow m3/s, pulses per m3) in ascending order, whose end values hold beyond it.
Anything else is a float or an array; a quotient with a zero divisor is nan.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np

from flowlog.physics.elementwise import Quantity, ratio

Curve: TypeAlias = Sequence[tuple[float, float]]
"""(flow m3/s, pulses per m3), ascending, at least one."""


def pulses_per_m3_at_flow(curve: Curve, flow_m3_s: float) -> float:
    """What a curve says at a flow, pulses per m3."""
    flows, factors = zip(*curve, strict=True)
    return float(np.interp(flow_m3_s, flows, factors))


class FactorByFrequency:
    """A curve as it is needed where only the frequency is known, pulses per m3 at so many Hz.

    The points are turned into frequencies once and the factor is interpolated between these;
    at the points it is the curve's own. In plain floats: the monitor asks at each tick.
    """

    def __init__(self, curve: Curve) -> None:
        self._hz = [flow * pulses for flow, pulses in curve]
        self._per_m3 = [pulses for _, pulses in curve]

    def at(self, hz: float) -> float:
        i = bisect_right(self._hz, hz)
        if i == 0:
            return self._per_m3[0]
        if i == len(self._hz):
            return self._per_m3[-1]
        share = (hz - self._hz[i - 1]) / (self._hz[i] - self._hz[i - 1])
        return self._per_m3[i - 1] + share * (self._per_m3[i] - self._per_m3[i - 1])


def pulse_frequency_hz(flow_m3_s: Quantity, pulses_per_m3: Quantity | float) -> Quantity:
    """Pulses a second at a flow, Hz."""
    return flow_m3_s * pulses_per_m3


def flow_from_pulses_m3_s(
    pulses: Quantity, seconds: Quantity | float, pulses_per_m3: Quantity | float
) -> Quantity:
    """Mean flow of whole pulses over the time between their edges, m3/s."""
    return ratio(pulses, seconds * pulses_per_m3)


def frequency_from_ticks_hz(
    periods: Quantity, ticks: Quantity | float, clock_hz: float
) -> Quantity:
    """Frequency of whole periods that lasted so many ticks of a clock, Hz."""
    return ratio(periods * clock_hz, ticks)


def gated_count_limit(frequency_hz: Quantity, gate_s: Quantity | float) -> Quantity:
    """Share of one count in the counts of a gate: how coarse counting without edge times is."""
    return ratio(1.0, frequency_hz * gate_s)


def edge_timing_limit(seconds: Quantity, clock_hz: float) -> Quantity:
    """Share of one tick in a time between edges: how coarse timing whole periods is."""
    return ratio(1.0, seconds * clock_hz)

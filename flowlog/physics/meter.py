"""What a meter's pulses are worth, and how finely they can be counted.

A meter gives pulses in proportion to the volume; `pulses_per_m3` may differ from flow to flow,
and the caller takes the value that belongs to the flow. Anything is a float or an array; a
quotient with a zero divisor is nan.
"""

from __future__ import annotations

from flowlog.physics.elementwise import Quantity, ratio


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

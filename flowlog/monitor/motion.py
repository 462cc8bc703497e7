"""From tick to tick: elapsed time, pulses, flow and ground covered.

Flow is edge-timed: pulses divided by the time between the first and the last pulse edge, both
on the board's clock. A gate of half a second would be wrong by one pulse in seven at the flow
of one small tip; edge times are good to microseconds. Host time is never used.
"""

from __future__ import annotations

from dataclasses import dataclass

from flowlog.monitor.sensors import FlowMeter
from flowlog.monitor.ticks import Tick
from flowlog.rig.model import Rig

GAP_S = 2.0
"""Without samples for longer than this, what lies between is reported as a gap."""

_SILENT_S = 1.0
"""With no pulse for this long the boom is taken to pass nothing: the slowest flow of interest
(a tenth of one small tip) still gives a pulse a second from the coarsest meters of the class."""


@dataclass(slots=True)
class Step:
    """What happened between the last sample of one tick and that of the next."""

    seconds: float
    pulses: int
    volume_m3: float
    flow_m3_s: float
    """Edge-timed where edges allow, else pulses over elapsed time."""
    mean_flow_m3_s: float
    """Volume over elapsed time: what a gate would count. For long gaps and transients."""
    distance_m: float
    lost: int


class Motion:
    """Differences between ticks; carries the last one."""

    def __init__(self, rig: Rig) -> None:
        self._meter = FlowMeter(rig.meter)
        self._wheel = rig.wheel
        self._speed = rig.work.speed_m_s
        self._last: Tick | None = None
        self._flow = 0.0

    def restart(self, *, counters_from_zero: bool) -> None:
        """The board began a new segment.

        Its counters and its clock start at zero at boot, so that what flowed between the boot
        and the first sample that arrived is not lost; after a jump that nothing explains they
        mean nothing.
        """
        self._last = (
            Tick(0, 0, 0, -1, 0, 0, -1, 0, 0, 0, 0, 0, 0, 0) if counters_from_zero else None
        )
        self._flow = 0.0

    def step(self, tick: Tick) -> Step | None:
        """What happened since the tick before; None for the first one."""
        last, self._last = self._last, tick
        if last is None:
            return None
        seconds = (tick.t_us - last.t_us) * 1e-6
        if seconds <= 0.0:
            return None
        pulses = tick.pulses - last.pulses
        gate_hz = pulses / seconds
        hz = self._edge_hz(last, tick, pulses, gate_hz)
        per_m3 = self._meter.pulses_per_m3(hz)
        volume = pulses / per_m3
        self._flow = flow = hz / per_m3
        distance = self._speed * seconds
        if self._wheel is not None and tick.wheel >= 0 and last.wheel >= 0:
            distance = (tick.wheel - last.wheel) / self._wheel.pulses_per_m
        lost = tick.seq - last.seq - tick.samples
        return Step(seconds, pulses, volume, flow, volume / seconds, distance, lost)

    def _edge_hz(self, last: Tick, tick: Tick, pulses: int, gate_hz: float) -> float:
        if pulses == 0:
            quiet = (tick.t_us - tick.edge_us) * 1e-6 if tick.edge_us >= 0 else _SILENT_S
            if quiet >= _SILENT_S or self._flow == 0.0:
                return 0.0
            # No pulse yet: the flow is at most one pulse in this time, which is not nothing.
            before = self._flow * self._meter.pulses_per_m3(gate_hz)
            return min(before, 1.0 / quiet) if quiet > 0.0 else before
        between = (tick.edge_us - last.edge_us) * 1e-6
        waited = (last.t_us - last.edge_us) * 1e-6
        if last.edge_us < 0 or between <= 0.0 or waited > 1.5 * between / pulses:
            # The last edge lies before a standstill: timing from it would dilute the flow.
            return gate_hz
        return pulses / between

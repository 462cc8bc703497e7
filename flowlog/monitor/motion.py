"""From tick to tick: elapsed time, pulses, flow and ground covered.

Flow is edge-timed: pulses divided by the time between the first and the last pulse edge, both
on the board's clock. A gate of half a second would be wrong by one pulse in seven at the flow
of one small tip; edge times are good to microseconds. Host time is never used.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.sensors import FlowMeter
from flowlog.monitor.ticks import Tick, TickTable, rows_of
from flowlog.rig.model import Rig

GAP_S = 2.0
"""Without samples for longer than this, what lies between is reported as a gap."""

_SILENT_S = 1.0
"""With no pulse for this long the boom is taken to pass nothing: the slowest flow of interest
(a tenth of one small tip) still gives a pulse a second from the coarsest meters of the class."""


class Step(NamedTuple):
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


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """The steps of many ticks as columns, each of shape (n,); fields as in `Step`."""

    seconds: NDArray[np.float64]
    pulses: NDArray[np.int64]
    volume_m3: NDArray[np.float64]
    flow_m3_s: NDArray[np.float64]
    mean_flow_m3_s: NDArray[np.float64]
    distance_m: NDArray[np.float64]
    lost: NDArray[np.int64]

    def __getitem__(self, part: slice) -> Steps:
        return Steps(*(getattr(self, name)[part] for name in Step._fields))

    def rows(self) -> Iterator[Step]:
        return rows_of(Step, (getattr(self, name).tolist() for name in Step._fields))


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
            return self._faded_hz(self._flow, quiet)
        between = (tick.edge_us - last.edge_us) * 1e-6
        waited = (last.t_us - last.edge_us) * 1e-6
        if last.edge_us < 0 or between <= 0.0 or waited > 1.5 * between / pulses:
            # The last edge lies before a standstill: timing from it would dilute the flow.
            return gate_hz
        return pulses / between

    def steps(self, table: TickTable) -> Steps:
        """`step` for each tick of a table, all of the segment of the last tick, which there is.

        The same operations on the same numbers one by one, so the same to the last bit.
        """
        last = self._last
        assert last is not None
        now = table[_COUNTED]
        before = np.empty_like(now)
        before[:, 0] = last[_COUNTED]
        before[:, 1:] = now[:, :-1]
        seqs, us, pulses, edges, wheel = now - before
        seconds = us * 1e-6
        hz = self._edge_hz_of(now, before, pulses, seconds, edges * 1e-6)
        per_m3 = self._meter.pulses_per_m3_of(hz)
        volume = pulses / per_m3
        flow = hz / per_m3
        self._fade(now, pulses, flow)
        self._last = Tick._make(table[:, -1].tolist())
        self._flow = float(flow[-1])
        distance = self._speed * seconds
        if self._wheel is not None:
            rolled = wheel / self._wheel.pulses_per_m
            distance = np.where((now[4] >= 0) & (before[4] >= 0), rolled, distance)
        lost = seqs - table[_SAMPLES]
        return Steps(seconds, pulses, volume, flow, volume / seconds, distance, lost)

    @staticmethod
    def _edge_hz_of(
        now: NDArray[np.int64],
        before: NDArray[np.int64],
        pulses: NDArray[np.int64],
        seconds: NDArray[np.float64],
        between: NDArray[np.float64],
    ) -> NDArray[np.float64]:
        waited = (before[1] - before[3]) * 1e-6
        some = np.maximum(pulses, 1)
        timed = (before[3] >= 0) & (between > 0.0) & (waited <= 1.5 * between / some)
        return pulses / np.where(timed & (pulses != 0), between, seconds)

    def _fade(
        self, now: NDArray[np.int64], pulses: NDArray[np.int64], flow: NDArray[np.float64]
    ) -> None:
        """Flow in ticks without a pulse hangs on the flow before; they are few, one by one."""
        quiet = (now[1] - now[3]) * 1e-6
        for i in np.flatnonzero((pulses == 0) & (now[3] >= 0) & (quiet < _SILENT_S)).tolist():
            before = float(flow[i - 1]) if i else self._flow
            hz = self._faded_hz(before, float(quiet[i]))
            flow[i] = hz / self._meter.pulses_per_m3(hz)

    def _faded_hz(self, before_m3_s: float, quiet_s: float) -> float:
        if quiet_s >= _SILENT_S or before_m3_s == 0.0:
            return 0.0
        # No pulse yet: the flow is at most one pulse in this time, which is not nothing.
        before = before_m3_s * self._meter.pulses_per_m3(0.0)
        return min(before, 1.0 / quiet_s) if quiet_s > 0.0 else before


_COUNTED = slice(Tick._fields.index("seq"), Tick._fields.index("wheel") + 1)
"""seq, t_us, pulses, edge_us, wheel"""
_SAMPLES = Tick._fields.index("samples")

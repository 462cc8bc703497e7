"""Pumps as what they leave for the line to the boom at a given outlet pressure.

Three families behave differently when a tip clogs, so they are three classes with one method:
`net_flow_m3_s(pressure, delivery)`, the pump's flow less what its own relief and bypass send back
to the tank. It falls (never rises) with pressure, which is all that `flowlog.physics.network`
needs to find the operating point.

`delivery` is the share of its healthy flow that the pump delivers at the same pressure: 0.7 is a
pump that has lost 30 %, for instance to wear, low voltage or a starved inlet.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


class Pump(Protocol):
    """What the network needs to know of a pump."""

    @property
    def highest_pa(self) -> float:
        """A pressure that the pump can't exceed: the net flow is not positive there."""
        ...

    def net_flow_m3_s(self, pressure_pa: ArrayLike, delivery: ArrayLike = 1.0) -> Floats:
        """Flow into the line at outlet pressure `pressure_pa` (>= 0), any broadcastable shape."""
        ...


@dataclass(frozen=True, slots=True)
class Bypass:
    """What a pump sends back to the tank: a relief valve, a fixed throttle, or both.

    The relief opens at `relief_pa` and passes `relief_m3_s_pa` for each pascal above it. The
    throttle is an orifice: `throttle` times the root of the pressure.
    """

    relief_pa: float | None = None
    relief_m3_s_pa: float = 0.0
    throttle: float = 0.0
    """m3/s/Pa^0.5"""

    def flow_m3_s(self, pressure_pa: Floats) -> Floats:
        flow = self.throttle * np.sqrt(pressure_pa)
        if self.relief_pa is not None:
            flow = flow + self.relief_m3_s_pa * np.maximum(pressure_pa - self.relief_pa, 0.0)
        return np.asarray(flow, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class DisplacementPump:
    """Roller, piston or diaphragm: flow set by speed, a little lost by slip as pressure rises."""

    free_m3_s: float
    """Flow against no pressure."""
    slip_m3_s_pa: float
    """Flow lost for each pascal."""
    bypass: Bypass = Bypass()

    @property
    def highest_pa(self) -> float:
        return self.free_m3_s / self.slip_m3_s_pa

    def net_flow_m3_s(self, pressure_pa: ArrayLike, delivery: ArrayLike = 1.0) -> Floats:
        pressure = np.asarray(pressure_pa, dtype=np.float64)
        pumped = np.maximum(self.free_m3_s - self.slip_m3_s_pa * pressure, 0.0)
        return np.asarray(pumped * delivery - self.bypass.flow_m3_s(pressure), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class DemandPump:
    """Electric diaphragm pump with a pressure switch.

    The running pump's flow falls linearly to `cut_out_pa` and from there to nothing at `stop_pa`.
    That the switch opens at `cut_out_pa` and closes again at `cut_in_pa` is a state in time and
    belongs to whoever steps through time; this class is the running pump.
    """

    free_m3_s: float
    slip_m3_s_pa: float
    cut_in_pa: float
    cut_out_pa: float
    stop_pa: float
    bypass: Bypass = Bypass()

    @property
    def highest_pa(self) -> float:
        return self.stop_pa

    def net_flow_m3_s(self, pressure_pa: ArrayLike, delivery: ArrayLike = 1.0) -> Floats:
        pressure = np.asarray(pressure_pa, dtype=np.float64)
        running = self.free_m3_s - self.slip_m3_s_pa * np.minimum(pressure, self.cut_out_pa)
        fade = (self.stop_pa - pressure) / (self.stop_pa - self.cut_out_pa)
        pumped = np.maximum(running, 0.0) * np.clip(fade, 0.0, 1.0)
        return np.asarray(pumped * delivery - self.bypass.flow_m3_s(pressure), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class CentrifugalPump:
    """Pressure falls with the square of flow from `shut_off_pa`; it needs no relief."""

    shut_off_pa: float
    drop_pa_per_m3_s_2: float
    """Pressure lost per square of flow, Pa/(m3/s)^2."""
    bypass: Bypass = Bypass()

    @property
    def highest_pa(self) -> float:
        return self.shut_off_pa

    def net_flow_m3_s(self, pressure_pa: ArrayLike, delivery: ArrayLike = 1.0) -> Floats:
        pressure = np.asarray(pressure_pa, dtype=np.float64)
        left = np.maximum(self.shut_off_pa - pressure, 0.0)
        pumped = np.sqrt(left / self.drop_pa_per_m3_s_2)
        return np.asarray(pumped * delivery - self.bypass.flow_m3_s(pressure), dtype=np.float64)

"""Is the boom off, opening, spraying or draining?"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.motion import GAP_S, Steps
from flowlog.monitor.outputs import Phase
from flowlog.monitor.ticks import Tick, TickTable
from flowlog.rig.model import Rig

_DRAIN_S = 5.0
_FLOW_ON_SHARE = 0.35
_PRESSURE_ON_SHARE = 0.5
CHECK_VALVE_PA = 83e3
"""12 psi: check valves at the tips hold 8 to 10 psi in a closed boom (common practice, no
source), so a pressure below this says nothing about whether the boom is open."""


@dataclass(slots=True)
class _State:
    phase: Phase = "off"
    since_s: float = 0.0
    """Time in this phase."""


@dataclass(slots=True, eq=False)
class Phases:
    """The phases of many ticks."""

    names: list[Phase]
    """At the end of each tick."""
    spraying: NDArray[np.bool_]
    off: NDArray[np.bool_]
    open_share: NDArray[np.float64]
    after: _State
    reference_flow: float


class PhaseFinder:
    """Follows the boom through off, settling, spraying and draining.

    With a boom-valve input the valve decides. Without one, flow or (where the gauge sits at the
    boom) pressure does; either is enough, so that one dead sensor does not hide the spraying.
    """

    def __init__(self, rig: Rig, settle_s: float) -> None:
        self.settle_s = settle_s
        """To wait from the end of the tick in which the boom opens; it may only be changed while
        none is waited for."""
        expected = rig.expected_flow_m3_s
        self._flow_on = _FLOW_ON_SHARE * expected
        self._pressure_on = max(
            _PRESSURE_ON_SHARE * min(rig.expected_pressure_pa, rig.boom.pressure_low_pa),
            CHECK_VALVE_PA,
        )
        self._at_boom = rig.gauge.place == "boom"
        self._reference_flow = expected
        self._state = _State()
        self.open_share = 0.0
        """Part of the last tick in which the boom was open, 0 to 1."""

    @property
    def phase(self) -> Phase:
        return self._state.phase

    @property
    def is_open(self) -> bool:
        return self._state.phase in ("settling", "spraying")

    def step(
        self, tick: Tick, seconds: float, mean_flow_m3_s: float, pressure_pa: float | None
    ) -> Phase:
        """Take one tick in; return the phase at its end."""
        state = self._state
        was_open = self.is_open
        flowing = mean_flow_m3_s > self._flow_on
        if tick.valve_known:
            now_open = tick.valve_open * 2 > tick.valve_known
        else:
            pressed = self._at_boom and pressure_pa is not None and pressure_pa > self._pressure_on
            now_open = flowing or pressed
        self.open_share = self._share(tick, was_open, now_open, mean_flow_m3_s, seconds)

        state.since_s += seconds
        if now_open:
            if not was_open or seconds > GAP_S:
                # After a gap in the data the boom may have been shut and opened in between.
                self._state = _State("settling")
            elif state.phase == "settling" and state.since_s >= self.settle_s:
                self._state = _State("spraying")
            elif state.phase == "spraying" and flowing:
                self._reference_flow = mean_flow_m3_s
        elif was_open:
            self._state = _State("draining")
        elif state.phase == "draining" and state.since_s >= _DRAIN_S:
            self._state = _State("off")
        return self._state.phase

    def _share(
        self, tick: Tick, was_open: bool, now_open: bool, mean_flow_m3_s: float, seconds: float
    ) -> float:
        if seconds <= GAP_S:
            if tick.valve_known:
                return tick.valve_open / tick.valve_known
            if was_open and now_open:
                return 1.0
        # The boom opened or closed within this tick, or samples are missing: the volume tells
        # for how much of the time it was open.
        return min(1.0, mean_flow_m3_s / self._reference_flow)

    # --- many ticks at once ---------------------------------------------------------------------

    def look(
        self, ticks: TickTable, steps: Steps, pressure_pa: NDArray[np.float64] | None
    ) -> Phases | None:
        """The phases of ticks that follow, as `step` would give them; None if they need `step`.

        Nothing changes before `go_on`.
        """
        if (steps.seconds > GAP_S).any():
            return None
        flowing = steps.mean_flow_m3_s > self._flow_on
        known, valve = ticks[_VALVE_KNOWN], ticks[_VALVE_OPEN]
        by_valve = known > 0
        if by_valve.any():
            if not by_valve.all():
                return None
            now_open = valve * 2 > known
        elif self._at_boom and pressure_pa is not None:
            now_open = flowing | (pressure_pa > self._pressure_on)
        else:
            now_open = flowing
        walk = _Walk(self._state, self.settle_s, self._reference_flow, steps, flowing)
        edges = [0, *(np.flatnonzero(now_open[1:] != now_open[:-1]) + 1).tolist(), len(now_open)]
        for begin, end in pairwise(edges):
            walk.go(begin, end, now_open=bool(now_open[begin]))
        share = valve / known if by_valve[0] else walk.share
        return Phases(walk.names, walk.spraying, walk.off, share, walk.state, walk.reference_flow)

    def go_on(self, phases: Phases) -> None:
        """Go on from the end of what `look` has seen."""
        self._state = phases.after
        self._reference_flow = phases.reference_flow
        self.open_share = float(phases.open_share[-1])


_VALVE_KNOWN = Tick._fields.index("valve_known")
_VALVE_OPEN = Tick._fields.index("valve_open")


class _Walk:
    """Walks over runs of ticks in which the boom is open, or shut."""

    def __init__(
        self,
        state: _State,
        settle_s: float,
        reference_flow: float,
        steps: Steps,
        flowing: NDArray[np.bool_],
    ) -> None:
        self.state = state
        self.reference_flow = reference_flow
        self.names: list[Phase] = []
        self.spraying = np.zeros(len(flowing), dtype=bool)
        self.off = np.zeros(len(flowing), dtype=bool)
        self.share = np.ones(len(flowing))
        self._settle_s = settle_s
        self._steps = steps
        self._flowing = flowing

    def go(self, begin: int, end: int, *, now_open: bool) -> None:
        at = begin
        was_open = self.state.phase in ("settling", "spraying")
        if was_open != now_open:
            self._enter("settling" if now_open else "draining")
            at += 1
        before = self.state.phase
        if now_open:
            at = self._wait(at, end, "settling", self._settle_s, "spraying")
            self._measure(begin, begin if was_open else begin + 1)
            if self.state.phase == "spraying":
                self.spraying[at if before == "spraying" else at - 1 : end] = True
                self._refer(at, end)
        else:
            at = self._wait(at, end, "draining", _DRAIN_S, "off")
            if self.state.phase == "off":
                self.off[at if before == "off" else at - 1 : end] = True
            self._measure(begin, end)
        self.names += [self.state.phase] * (end - at)

    def _measure(self, begin: int, end: int) -> None:
        """The volume tells for how much of the time the boom was open."""
        mean = self._steps.mean_flow_m3_s[begin:end]
        np.minimum(1.0, mean / self.reference_flow, out=self.share[begin:end])

    def _refer(self, begin: int, end: int) -> None:
        flowing = np.flatnonzero(self._flowing[begin:end])
        if len(flowing):
            self.reference_flow = float(self._steps.mean_flow_m3_s[begin + flowing[-1]])

    def _enter(self, phase: Phase) -> None:
        self.state = _State(phase)
        self.names.append(phase)

    def _wait(self, at: int, end: int, phase: Phase, wait_s: float, then: Phase) -> int:
        """Stay in a phase that lasts its time; return where it has passed."""
        if self.state.phase != phase:
            return at
        since_s = self.state.since_s
        for i, seconds in enumerate(self._steps.seconds[at:end].tolist(), at):
            since_s += seconds
            if since_s >= wait_s:
                self._enter(then)
                return i + 1
            self.names.append(phase)
        self.state = _State(phase, since_s)
        return end

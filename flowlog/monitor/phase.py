"""Is the boom off, opening, spraying or draining?"""

from __future__ import annotations

from dataclasses import dataclass

from flowlog.monitor.outputs import Phase
from flowlog.monitor.ticks import Tick
from flowlog.rig.model import Rig

SETTLE_S = 2.0
"""After the boom opens, pressure takes 1 to 2 s to rise and the meter's rotor to follow."""

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


class PhaseFinder:
    """Follows the boom through off, settling, spraying and draining.

    With a boom-valve input the valve decides. Without one, flow or (where the gauge sits at the
    boom) pressure does; either is enough, so that one dead sensor does not hide the spraying.
    """

    def __init__(self, rig: Rig) -> None:
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
            if not was_open or seconds > SETTLE_S:
                # After a gap in the data the boom may have been shut and opened in between.
                self._state = _State("settling")
            elif state.phase == "settling" and state.since_s >= SETTLE_S:
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
        if seconds <= SETTLE_S:
            if tick.valve_known:
                return tick.valve_open / tick.valve_known
            if was_open and now_open:
                return 1.0
        # The boom opened or closed within this tick, or samples are missing: the volume tells
        # for how much of the time it was open.
        return min(1.0, mean_flow_m3_s / self._reference_flow)

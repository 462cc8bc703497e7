"""A boom valve that does not do what its own input says."""

from __future__ import annotations

from flowlog.monitor.alerts import AlertBook
from flowlog.monitor.outputs import Position
from flowlog.monitor.phase import CHECK_VALVE_PA
from flowlog.monitor.rules.latch import Latch
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.stretch import Stretch
from flowlog.rig.model import Rig
from flowlog.units import show

_FLOWS = 0.2
"""Of the expected flow: more than one leaking tip of six."""
_SHUT_S = 4.0
"""A valve takes up to a second to close, and the boom some more to bleed."""
_OPEN_S = 5.0
"""A pump that has just been switched on fills the hoses first."""
_BACK_S = 2.0


class ValveWatch:
    """Needs the boom-valve input; says nothing without one."""

    def __init__(self, rig: Rig, book: AlertBook) -> None:
        self._rig = rig
        self._book = book
        self._flowing = _FLOWS * rig.expected_flow_m3_s
        self._leaks = Latch(_SHUT_S, _BACK_S)
        self._dry = Latch(_OPEN_S, _BACK_S)
        self.busy = False
        """An alert is open or on its way."""

    def step(self, now: Moment) -> None:
        """Take one tick in."""
        if now.valve_open is not None:
            step = now.step
            self._take(now.at, step.seconds, step.mean_flow_m3_s, now.pressure_pa, now.valve_open)

    def step_of(self, ahead: Stretch, i: int) -> None:
        """`step` for one of many ticks."""
        if ahead.valve_open is None:
            return
        pressure_pa, steps = ahead.pressure_pa, ahead.steps
        self._take(
            ahead.at[i],
            float(steps.seconds[i]),
            float(steps.mean_flow_m3_s[i]),
            None if pressure_pa is None else float(pressure_pa[i]),
            bool(ahead.valve_open[i]),
        )

    def _take(
        self, at: Position, seconds: float, flow: float, pressure: float | None, is_open: bool
    ) -> None:
        leaks = not is_open and flow > self._flowing
        if leaks or self._leaks.busy:
            turn = self._leaks.step(at, seconds, bad=leaks, good=not leaks)
            if turn == "opened":
                shown = show(flow, "flow", self._rig.units)
                text = f"The boom valve is shut by its input, and {shown} still pass the meter."
                self._book.open("valve_passes", at, self._leaks.since or at, text)
            elif turn == "cleared":
                self._book.clear("valve_passes", at, "Nothing passes the shut valve any more.")
        # A pump that was found to draw air needs no second alert for what follows from it.
        dry = (
            is_open
            and flow < self._flowing
            and pressure is not None
            and pressure < CHECK_VALVE_PA
            and not self._book.is_open("air_drawn")
        )
        if dry or self._dry.busy:
            turn = self._dry.step(at, seconds, bad=dry, good=not dry)
            if turn == "opened":
                text = "The boom valve is open by its input, and neither flow nor pressure come."
                self._book.open("valve_dry", at, self._dry.since or at, text)
            elif turn == "cleared":
                self._book.clear("valve_dry", at, "The boom sprays, or its valve is shut.")

        self.busy = self._leaks.busy or self._dry.busy

    def odd(self, ahead: Stretch) -> list[bool]:
        """Where among many ticks `step` has anything to look at, while it is not `busy`."""
        is_open, pressure_pa = ahead.valve_open, ahead.pressure_pa
        if is_open is None:
            return [False] * len(ahead)
        flow = ahead.steps.mean_flow_m3_s
        odd = ~is_open & (flow > self._flowing)
        if pressure_pa is not None:
            odd |= is_open & (flow < self._flowing) & (pressure_pa < CHECK_VALVE_PA)
        marks: list[bool] = odd.tolist()
        return marks

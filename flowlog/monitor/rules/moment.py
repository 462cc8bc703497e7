"""What every rule gets to see of one tick."""

from __future__ import annotations

from typing import NamedTuple

from flowlog.monitor.motion import Step
from flowlog.monitor.outputs import Phase, Position
from flowlog.monitor.sensors import Pressure
from flowlog.monitor.ticks import Tick


class Moment(NamedTuple):
    """One tick, measured."""

    at: Position
    tick: Tick
    step: Step
    phase: Phase
    pressure: Pressure | None
    """None while the board has not said what its ADC is, or has no gauge."""
    pressure_pa: float | None
    """Mean pressure, if the gauge's signal lies between its rails."""
    area_m2: float
    valve_open: bool | None
    """None where no boom-valve input is fitted."""

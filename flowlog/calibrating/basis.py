"""How sure a rig's calibrations are, for the uncertainty of what was sprayed with them."""

from __future__ import annotations

from flowlog.calibrating.inuse import InUse, result_of
from flowlog.calibrating.words import day
from flowlog.calibration.course import CourseResult
from flowlog.calibration.meter import MeterResult
from flowlog.calibration.uncertainty import Budget
from flowlog.monitor.accuracy import Basis, Own


def basis_of(in_use: InUse) -> Basis:
    """What the meter's and the course's calibration in use say about themselves."""
    meter = speed = None
    flows = (0.0, float("inf"))
    for one in in_use.used:
        result = result_of(one.row)
        when = day(one.row.made_wall_us)
        if isinstance(result, MeterResult):
            meter = _own(result.factor, when)
            flows = (result.points[0].flow_m3_s, result.points[-1].flow_m3_s)
        elif isinstance(result, CourseResult):
            speed = _own(result.speed, when)
    return Basis(meter, flows, speed)


def _own(budget: Budget, when: str) -> Own:
    # Few runs widen the interval beyond two standard deviations, and it is the interval that
    # must stay right when it becomes a part of another one.
    return Own(max(budget.relative, budget.expanded_relative / 2.0), when)

"""The rig of a tank plan as it is calibrated, and what its calibrations say about the plan."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from flowlog.calibrating.inuse import InUse, load, result_of
from flowlog.calibrating.words import line_of
from flowlog.calibration.catch import CatchResult
from flowlog.planning.planfile import PlanInput
from flowlog.rig.folders import resolve_data_folder
from flowlog.rig.model import Rig
from flowlog.rig.reader import read_rig
from flowlog.units import show

_ADJUST_SHARE: Final = 0.05
"""Beyond it a rate is to be adjusted: the usual limit of extension services."""


class CalibratedRigs:
    """Reads rig files and applies what is stored for the rig."""

    def __init__(self) -> None:
        self._in_use: InUse | None = None

    def read(self, path: Path) -> Rig:
        """
        Raises:
            RigFileError: the rig file cannot be read.
        """
        as_filed = read_rig(path)
        self._in_use = load(resolve_data_folder(as_filed), as_filed)
        return self._in_use.rig

    def rests_on(self) -> list[str]:
        """The calibrations that speed and rate of the plan rest on, a line each."""
        if self._in_use is None:
            return []
        found = [one for one in self._in_use.used if one.row.kind == "course"]
        found += [] if self._in_use.caught is None else [self._in_use.caught]
        return [f"By {line_of(one, self._in_use.rig.units)}." for one in found]

    def warning(self, plan: PlanInput) -> str | None:
        """A sentence if the boom was caught at another rate than the plan is made for."""
        in_use, rate = self._in_use, plan.spray_rate
        if in_use is None or in_use.caught is None or rate is None:
            return None
        result = result_of(in_use.caught.row)
        assert isinstance(result, CatchResult)
        caught = result.rate_of(in_use.rig.work.carrier_relative_density)
        if caught is None or abs(caught / rate.value - 1) <= _ADJUST_SHARE:
            return None
        off = show(abs(caught / rate.value - 1), "share", decimals=0)
        more = caught > rate.value
        return (
            f"The boom was caught at {show(caught, 'rate', unit=rate.unit)}, {off} "
            f"{'over' if more else 'under'} this plan's rate: a tank would cover "
            f"{'less' if more else 'more'} ground and put {'more' if more else 'less'} product on "
            "it. Reach the rate first (flowlog plan rate), or plan for what was caught."
        )

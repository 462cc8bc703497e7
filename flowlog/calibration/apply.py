"""Results into a rig: the rig as the daemon should watch it from now on."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any, Final

from flowlog.calibration.baseline import BaselineResult
from flowlog.calibration.capped import CappedResult
from flowlog.calibration.catch import CatchResult
from flowlog.calibration.course import CourseResult
from flowlog.calibration.faults import CalibrationError
from flowlog.calibration.gauge import GaugeResult
from flowlog.calibration.meter import MeterResult
from flowlog.rig.model import Rig, SupplyAnswer

Result = CourseResult | CatchResult | MeterResult | GaugeResult | BaselineResult | CappedResult

_KINDS: Final[dict[str, type[Result]]] = {
    one.kind: one
    for one in (CourseResult, CatchResult, MeterResult, GaugeResult, BaselineResult, CappedResult)
}
KINDS: Final = tuple(_KINDS)


def result_from_json(data: dict[str, Any]) -> Result:
    """Any stored result, by its kind. CalibrationError for an unknown or unreadable one."""
    kind = data.get("kind")
    if kind not in _KINDS:
        raise CalibrationError(f"calibration: kind {kind!r} is unknown (one of {', '.join(KINDS)})")
    return _KINDS[kind].from_json(data)


def apply(rig: Rig, results: Iterable[Result]) -> Rig:
    """A rig with the course's speed, the meter's factor or curve, the gauge's shares, and how the
    pressure answers a capped tip.

    Of several results of one kind the last counts. A catch and a baseline change nothing in a
    rig: they judge tips and give the monitor its level.

    Raises:
        CalibrationError: a gauge that was calibrated with another span than the rig's, or a check
            with another number of tips.
    """
    for result in results:
        if isinstance(result, CourseResult):
            rig = dataclasses.replace(
                rig, work=dataclasses.replace(rig.work, speed_m_s=result.speed_m_s)
            )
        elif isinstance(result, MeterResult):
            rig = dataclasses.replace(
                rig,
                meter=dataclasses.replace(
                    rig.meter, pulses_per_m3=result.pulses_per_m3, curve=result.curve
                ),
            )
        elif isinstance(result, GaugeResult):
            if abs(result.span_pa / rig.gauge.span_pa - 1.0) > 1e-9:
                raise CalibrationError(
                    "gauge: it was calibrated with another span than the rig file has now "
                    "(calibrate the new gauge)"
                )
            rig = dataclasses.replace(
                rig,
                gauge=dataclasses.replace(
                    rig.gauge, zero_share=result.zero_share, span_share=result.span_share
                ),
            )
        elif isinstance(result, CappedResult):
            if result.tips != rig.boom.tips:
                raise CalibrationError(
                    f"capped: it was taken with {result.tips} tips, the boom has {rig.boom.tips}"
                )
            rig = dataclasses.replace(rig, answer=SupplyAnswer(result.share, result.share_u))
    return rig

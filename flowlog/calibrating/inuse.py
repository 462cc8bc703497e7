"""Which stored calibrations a rig is watched with.

The newest valid one of each kind counts. One that belongs to another meter, gauge or boom than
the rig file describes now is passed over, with the reason, and the one before it is looked at.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from flowlog.calibration.apply import Result, apply, result_from_json
from flowlog.calibration.baseline import BaselineResult, for_carrier
from flowlog.calibration.capped import CappedResult
from flowlog.calibration.catch import CatchResult
from flowlog.calibration.faults import CalibrationError
from flowlog.calibration.gauge import GaugeResult
from flowlog.calibration.meter import MeterResult
from flowlog.rig.model import HealthyBoom, Rig
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreError
from flowlog.store.rows import CalibrationRow, StoredCalibration

KINDS: Final = ("course", "meter", "gauge", "baseline", "capped")
"""Those that change how a rig is watched, in the order in which they build on one another."""
_ANOTHER_METER: Final = 1.2
_ANOTHER_GAUGE: Final = 0.05


@dataclass(frozen=True, slots=True)
class InUse:
    """A rig with its calibrations applied, and which these are."""

    rig: Rig
    baseline: HealthyBoom | None = None
    used: tuple[StoredCalibration, ...] = ()
    passed_over: tuple[str, ...] = ()
    """Why newer ones are not used, a sentence each."""
    caught: StoredCalibration | None = None
    """The newest catch of a boom with as many tips: it says what comes out, and sets nothing."""

    @property
    def ids(self) -> tuple[int, ...]:
        return tuple(one.id for one in self.used)


def result_of(row: CalibrationRow) -> Result:
    """The result as it was stored. CalibrationError if this program cannot read it."""
    return result_from_json(
        {
            "kind": row.kind,
            "values": row.values,
            "evidence": row.evidence,
            "uncertainty": row.uncertainty,
        }
    )


def choose(rig: Rig, stored: Iterable[StoredCalibration]) -> InUse:
    """The newest valid one of each kind.

    Args:
        rig: as its file says, nothing applied.
        stored: oldest first; all there are, or just those that a route began with.
    """
    newest_first = list(stored)[::-1]
    used: list[StoredCalibration] = []
    results: list[Result] = []
    passed: list[str] = []
    for kind in KINDS:
        for one in newest_first:
            if one.row.kind != kind:
                continue
            try:
                result = result_of(one.row)
                _check(rig, one, result, used)
            except CalibrationError as fault:
                passed.append(f"{kind} number {one.id} is not used: {fault}")
                continue
            used.append(one)
            results.append(result)
            break
    calibrated = apply(rig, results)
    level = next((one for one in results if isinstance(one, BaselineResult)), None)
    baseline = None if level is None else healthy_boom(level, calibrated)
    return InUse(calibrated, baseline, tuple(used), tuple(passed), _caught(rig, newest_first))


def load(folder: Path, rig: Rig) -> InUse:
    """What is in use for a rig by its data folder; the rig file alone where nothing is stored."""
    try:
        with Archive.open(folder) as archive:
            return choose(rig, archive.calibrations(slug=rig.slug))
    except StoreError:
        return InUse(rig)


def load_route(folder: Path, rig: Rig, route_id: int) -> InUse:
    """What the route began with, whatever was calibrated since.

    Raises:
        StoreError: the store cannot be read.
    """
    with Archive.open(folder) as archive:
        return choose(rig, archive.route_calibrations(route_id))


def healthy_boom(result: BaselineResult, rig: Rig) -> HealthyBoom:
    """What the monitor holds the boom against: its law, and its level where the rig works."""
    water = for_carrier(result, 1.0)
    low, high = rig.boom.pressure_low_pa, rig.boom.pressure_high_pa
    at_pa = min(max(rig.expected_pressure_pa, low), high)
    u = math.hypot(result.flow.relative, _away_u(result, at_pa), _carrier_u(result, rig))
    level = math.log(water.flow_at(at_pa) / math.sqrt(at_pa))
    return HealthyBoom(level, u, result.exponent, at_pa, result.settle_s)


def _away_u(result: BaselineResult, at_pa: float) -> float:
    """What a fitted exponent adds away from the pressure where the level is known best."""
    if result.exponent_was == "fixed":
        return 0.0
    return result.exponent_u * abs(math.log(at_pa / result.centre_pa))


def _carrier_u(result: BaselineResult, rig: Rig) -> float:
    """Of the shift by another density than the baseline's, as a standard uncertainty.

    Flow goes with density^-0.5 if the gauge's zero or check valves make the exponent n differ
    from 0.5, and with density^(n - 1) if a loss does that goes with the Reynolds number (its
    dimensions leave nothing else). Anything between is taken as equally likely.
    """
    denser = math.log(rig.work.carrier_relative_density / result.relative_density)
    return abs((result.exponent - 0.5) * denser) / math.sqrt(3.0)


def _caught(rig: Rig, newest_first: Iterable[StoredCalibration]) -> StoredCalibration | None:
    for one in newest_first:
        if one.row.kind != CatchResult.kind:
            continue
        try:
            result = result_of(one.row)
        except CalibrationError:
            continue
        if isinstance(result, CatchResult) and result.tips_fitted == rig.boom.tips:
            return one
    return None


def _check(
    rig: Rig, one: StoredCalibration, result: Result, used: Iterable[StoredCalibration]
) -> None:
    """CalibrationError for one that belongs to something else than the rig file describes now."""
    if isinstance(result, MeterResult) and result.rig_pulses_per_m3 is not None:
        ratio = result.rig_pulses_per_m3 / rig.meter.pulses_per_m3
        if not 1 / _ANOTHER_METER < ratio < _ANOTHER_METER:
            raise CalibrationError("the rig file describes another meter now (calibrate it)")
    if isinstance(result, GaugeResult):
        off = max(
            abs(result.rig_zero_share - rig.gauge.zero_share),
            abs(result.rig_span_share - rig.gauge.span_share),
        )
        if off > _ANOTHER_GAUGE:
            raise CalibrationError("the rig file describes another gauge now (calibrate it)")
        apply(rig, [result])
    if isinstance(result, BaselineResult | CappedResult):
        noted = one.row.evidence.get("noted", {})
        tips = result.tips if isinstance(result, CappedResult) else noted.get("boom_tips")
        if tips is not None and tips != rig.boom.tips:
            raise CalibrationError(f"it was taken with {tips} tips, the boom has {rig.boom.tips}")
        rests_on = set(noted.get("rests_on", []))
        sensors = {other.row.uid for other in used if other.row.kind in {"meter", "gauge"}}
        if rests_on != sensors:
            anew = "take a new baseline" if result.kind == "baseline" else "cap a tip again"
            raise CalibrationError(f"meter or gauge were calibrated again after it ({anew})")

"""What stored calibrations say about themselves, as the uncertainty of a route takes it."""

from __future__ import annotations

import dataclasses

import pytest
from support.scripted_calibration import calibrate

from flowlog.calibrating.basis import basis_of
from flowlog.calibrating.inuse import choose
from flowlog.calibrating.rows import Noted, row_of
from flowlog.calibration.apply import Result
from flowlog.calibration.meter import meter
from flowlog.monitor.accuracy import ASSUMED, budget
from flowlog.store.rows import StoredCalibration

C = calibrate(1)
MADE_US = 1_780_000_000_000_000


def in_use(*results: Result):
    rows = [
        StoredCalibration(number, row_of(result, C.rig, Noted("Ann"), (), MADE_US))
        for number, result in enumerate(results, 1)
    ]
    return choose(C.rig, rows)


def test_without_a_calibration_everything_is_assumed() -> None:
    assert basis_of(in_use()) == ASSUMED


def test_meter_and_course_count_as_sure_as_they_said() -> None:
    basis = basis_of(in_use(C.meter, C.course, C.gauge))
    assert basis.meter is not None
    assert basis.speed is not None
    assert 2 * basis.meter.relative >= C.meter.factor.expanded_relative
    assert basis.meter.relative == pytest.approx(C.meter.factor.relative, rel=0.35)
    assert basis.speed.relative == pytest.approx(C.course.speed.relative, rel=0.35)
    assert basis.meter_flows_m3_s == (C.meter.points[0].flow_m3_s, C.meter.points[-1].flow_m3_s)
    assert basis.meter.when.startswith("2026-05-2")


def test_a_meter_calibrated_once_and_roughly_makes_a_volume_less_sure_than_many_careful_runs() -> (
    None
):
    once = meter(C.meter.runs[:1], rig_meter=C.rig.meter)
    rough, careful = in_use(once), in_use(C.meter)
    sure = [budget(one.rig, 10**6, "volume", basis_of(one)).expanded for one in (rough, careful)]
    assert sure[0] > sure[1]


def test_a_calibration_that_is_passed_over_makes_nothing_sure() -> None:
    other = dataclasses.replace(C.rig, meter=dataclasses.replace(C.rig.meter, pulses_per_m3=9e5))
    row = row_of(C.meter, C.rig, Noted("Ann"), (), MADE_US)
    assert basis_of(choose(other, [StoredCalibration(1, row)])) == ASSUMED

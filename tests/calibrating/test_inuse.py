"""The newest valid calibration of each kind, and why others are passed over."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest
from support.capped_check import check_of, checked
from support.scripted_calibration import calibrate

from flowlog.calibrating.inuse import choose, load, result_of
from flowlog.calibrating.rows import Noted, row_of
from flowlog.calibration.apply import Result, apply
from flowlog.calibration.faults import CalibrationError
from flowlog.rig.model import Rig, SupplyAnswer
from flowlog.store.recorder import Recorder
from flowlog.store.rows import StoredCalibration

C = calibrate(1)
RIG = C.rig
CAPPED = checked(check_of(RIG, "roller", 1))
NOTED = Noted("Ann", 18.0, "new scales", "typed")


def stored(*results: Result, first: int = 1) -> list[StoredCalibration]:
    """In order; a baseline rests on the meter and gauge before it."""
    found: list[StoredCalibration] = []
    for number, result in enumerate(results, first):
        sensors = {one.row.kind: one.row.uid for one in found if one.row.kind in ("meter", "gauge")}
        found.append(StoredCalibration(number, row_of(result, RIG, NOTED, sensors.values())))
    return found


def kinds(rows: Iterable[StoredCalibration]) -> list[str]:
    return [f"{one.row.kind} {one.id}" for one in rows]


def test_every_result_comes_back_as_it_was() -> None:
    for result in (C.course, C.catch, C.meter, C.gauge, C.baseline, CAPPED):
        row = row_of(result, RIG, NOTED)
        assert result_of(row) == result
        assert row.made_by == "Ann"
        assert row.evidence["noted"]["water_c"] == 18.0


def test_without_any_the_rig_file_stands() -> None:
    in_use = choose(RIG, [])
    assert in_use.rig == RIG
    assert in_use.baseline is None
    assert in_use.used == ()


def test_the_newest_of_each_kind_is_applied() -> None:
    older = dataclasses.replace(C.course, speed_m_s=1.0)
    in_use = choose(RIG, stored(older, C.catch, C.meter, C.gauge, C.course, C.baseline))
    assert kinds(in_use.used) == ["course 5", "meter 3", "gauge 4", "baseline 6"]
    assert in_use.rig == apply(RIG, [C.course, C.meter, C.gauge])
    assert in_use.baseline is not None
    assert in_use.passed_over == ()


def test_a_route_keeps_its_own_whatever_came_later() -> None:
    rows = stored(C.course, C.meter, dataclasses.replace(C.course, speed_m_s=2.0))
    assert choose(RIG, rows[:2]).rig.work.speed_m_s == C.course.speed_m_s
    assert choose(RIG, rows).rig.work.speed_m_s == 2.0


def test_a_baseline_taken_before_the_sensors_were_calibrated_again_is_void() -> None:
    in_use = choose(RIG, stored(C.meter, C.gauge, C.baseline, C.meter))
    assert in_use.baseline is None
    assert "calibrated again" in in_use.passed_over[0]


def test_a_capped_tip_gives_the_rig_its_answer_and_stands_on_the_same_sensors() -> None:
    answer = SupplyAnswer(CAPPED.share, CAPPED.share_u)
    in_use = choose(RIG, stored(C.meter, C.gauge, C.baseline, CAPPED))
    assert kinds(in_use.used) == ["meter 1", "gauge 2", "baseline 3", "capped 4"]
    assert in_use.rig.answer == answer
    older = dataclasses.replace(CAPPED, share=0.9)
    assert choose(RIG, stored(older, CAPPED)).rig.answer == answer
    for again in (C.meter, C.gauge):
        void = choose(RIG, stored(C.meter, C.gauge, CAPPED, again))
        assert void.rig.answer is None
        assert "calibrated again after it (cap a tip again)" in void.passed_over[0]
    assert choose(RIG, stored(CAPPED, C.course)).rig.answer == answer


def test_a_capped_tip_of_another_boom_is_void() -> None:
    six = dataclasses.replace(RIG, boom=dataclasses.replace(RIG.boom, tips=6))
    found = choose(six, stored(CAPPED))
    assert found.rig.answer is None
    assert "8 tips, the boom has 6" in found.passed_over[0]


def test_another_meter_gauge_or_boom_in_the_rig_file_voids_what_was_calibrated() -> None:
    rows = stored(C.course, C.meter, C.gauge, C.baseline)
    other_meter = dataclasses.replace(RIG, meter=dataclasses.replace(RIG.meter, pulses_per_m3=9e5))
    assert kinds(choose(other_meter, rows).used) == ["course 1", "gauge 3"]
    other_span = dataclasses.replace(RIG, gauge=dataclasses.replace(RIG.gauge, span_pa=1e6))
    assert kinds(choose(other_span, rows).used) == ["course 1", "meter 2"]
    other_zero = dataclasses.replace(RIG, gauge=dataclasses.replace(RIG.gauge, zero_share=0.2))
    assert kinds(choose(other_zero, rows).used) == ["course 1", "meter 2"]
    other_boom = dataclasses.replace(RIG, boom=dataclasses.replace(RIG.boom, tips=6))
    found = choose(other_boom, rows)
    assert kinds(found.used) == ["course 1", "meter 2", "gauge 3"]
    assert "8 tips" in found.passed_over[0]


def test_one_that_cannot_be_read_gives_way_to_the_one_before() -> None:
    rows = stored(C.course, C.course)
    rows[1].row.values.pop("speed_m_s")
    in_use = choose(RIG, rows)
    assert kinds(in_use.used) == ["course 1"]
    assert "number 2" in in_use.passed_over[0]
    with pytest.raises(CalibrationError):
        result_of(rows[1].row)


def test_the_monitor_gets_the_level_at_the_working_pressure() -> None:
    healthy = choose(RIG, stored(C.meter, C.gauge, C.baseline)).baseline
    assert healthy is not None
    tips = sum(C.true_tips_m3_s)
    # The plant's line loss lies between gauge and tips: a few per cent less than tips alone.
    alone = tips / np.sqrt(C.catch.pressure_pa)
    assert math.exp(healthy.log_conductance) == pytest.approx(alone, rel=0.08)
    assert healthy.u < 0.003


def test_from_the_store(tmp_path: Path) -> None:
    assert load(tmp_path / "nothing", RIG).rig == RIG
    recorder = Recorder.open(tmp_path, RIG, "[rig]\n")
    recorder.add_calibration(row_of(C.meter, RIG, NOTED))
    recorder.close()
    assert load(tmp_path, RIG).rig.meter.pulses_per_m3 == C.meter.pulses_per_m3
    assert load(tmp_path, RIG).rig.answer is None
    other: Rig = dataclasses.replace(RIG, name="Another rig in the same folder")
    assert load(tmp_path, other).used == ()

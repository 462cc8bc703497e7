"""Results stored, read back, and put into a rig."""

from __future__ import annotations

import dataclasses
import json
import math

import numpy as np
import pytest
from support.capped_check import check_of, checked, rig_of

from flowlog.calibration.apply import KINDS, apply, result_from_json
from flowlog.calibration.baseline import baseline
from flowlog.calibration.catch import Caught, catch
from flowlog.calibration.course import CourseResult, course
from flowlog.calibration.faults import CalibrationError
from flowlog.calibration.gauge import GaugePoint, gauge
from flowlog.calibration.meter import meter
from flowlog.calibration.meter_runs import MeterRun
from flowlog.rig.model import Board, Boom, Gauge, Meter, Rig, SupplyAnswer, Tip, Work

PSI = 6894.757
RIG = Rig(
    name="cart",
    boom=Boom(4, 0.508, Tip(3.1545e-5, 40 * PSI), 25 * PSI, 50 * PSI),
    work=Work(8.15e-5, 1.4),
    meter=Meter(450e3, 3e-5, 5e-4, ((1e-4, 449e3), (2e-4, 451e3))),
    gauge=Gauge(100 * PSI),
    board=Board("/dev/ttyACM0"),
)


def results():
    timed = course(2.032, 45.72, [21.2, 21.5])
    caught = catch(
        RIG.boom, [Caught(1, 6.6e-4, 21.0), Caught(2, 6.7e-4, 21.0)], course=timed,
        pressure_pa=40 * PSI,
    )  # fmt: skip
    runs = [MeterRun(9100, 120.0, 0.0195), MeterRun(9080, 118.0, mass_kg=19.5, water_c=16.0)]
    points = [GaugePoint(0.0, 0.11, "up"), GaugePoint(40 * PSI, 0.436, "up")]
    step = np.repeat(np.arange(3), 60)
    pressure = np.repeat([25.0 * PSI, 32.0 * PSI, 40.0 * PSI], 60)
    healthy = baseline(1e-7 * pressure**0.5, pressure, step, tick_s=1.0, settle_s=1.5)
    return [
        timed, caught, meter(runs, rig_meter=RIG.meter), gauge(points, RIG.gauge), healthy,
        checked(check_of(rig_of(4), "roller", 1)),
    ]  # fmt: skip


@pytest.mark.parametrize("index", range(6), ids=KINDS)
def test_a_result_survives_json_exactly(index: int):
    one = results()[index]
    data = json.loads(json.dumps(one.to_json(), allow_nan=False))
    assert set(data) == {"kind", "values", "evidence", "uncertainty"}
    assert data["kind"] == one.kind == KINDS[index]
    assert all(data[part] for part in ("values", "evidence", "uncertainty"))
    assert result_from_json(data) == one
    assert type(one).from_json(data) == one


def test_reading_computes_nothing_anew():
    data = results()[0].to_json()
    data["values"]["speed_m_s"] = 9.99
    assert CourseResult.from_json(data).speed_m_s == 9.99


def test_infinity_is_written_as_a_word():
    data = results()[0].to_json()
    assert "inf" in json.dumps(data["uncertainty"])
    assert any(math.isinf(part.dof) for part in CourseResult.from_json(data).time.components)


@pytest.mark.parametrize(
    "change",
    [
        {"kind": "weather"},
        {"kind": None},
        {"kind": "meter"},
        {"values": {}},
        {"evidence": {"seconds": "soon"}},
        {"values": {"verdict": "perhaps"}},
        {"uncertainty": {"speed": 3}},
    ],
)
def test_what_is_no_such_calibration_is_refused(change):
    data = results()[0].to_json()
    for key, value in change.items():
        data[key] = {**data[key], **value} if isinstance(value, dict) and value else value
    with pytest.raises(CalibrationError, match="calibration: "):
        result_from_json(data)


def test_a_result_of_another_kind_is_not_read_as_ones_own():
    with pytest.raises(CalibrationError, match="is not a course calibration"):
        CourseResult.from_json(results()[2].to_json())


def test_a_course_sets_the_speed_a_meter_its_factor_and_a_gauge_its_shares():
    timed, caught, counted, read, healthy, _ = results()
    rig = apply(RIG, [timed, caught, counted, read, healthy])
    assert rig.work.speed_m_s == timed.speed_m_s
    assert rig.meter.pulses_per_m3 == counted.pulses_per_m3
    assert rig.meter.curve == counted.curve == ()
    assert (rig.gauge.zero_share, rig.gauge.span_share) == (read.zero_share, read.span_share)
    untouched = dataclasses.replace(rig, work=RIG.work, meter=RIG.meter, gauge=RIG.gauge)
    assert untouched == RIG
    assert rig.meter.lowest_m3_s == RIG.meter.lowest_m3_s


def test_a_meter_with_a_curve_keeps_it():
    runs = [
        MeterRun(factor * flow * 200.0, 200.0, flow * 200.0)
        for flow, factor in ((1e-4, 420e3), (2e-4, 450e3), (4e-4, 440e3))
        for _ in range(3)
    ]
    rig = apply(RIG, [meter(runs)])
    assert len(rig.meter.curve) == 3
    assert rig.meter.curve[0] == pytest.approx((1e-4, 420e3))


def test_nothing_changes_without_results_and_the_last_of_a_kind_counts():
    assert apply(RIG, []) == RIG
    rig = apply(RIG, [course(2.032, 45.72, [21.0]), course(2.032, 45.72, [25.0])])
    assert rig.work.speed_m_s == pytest.approx(45.72 / 25.0)


def test_a_capped_tip_tells_how_the_pressure_answers():
    answered = results()[5]
    rig = apply(RIG, [answered])
    assert rig.answer == SupplyAnswer(answered.share, answered.share_u)
    assert dataclasses.replace(rig, answer=None) == RIG
    other = dataclasses.replace(RIG, boom=dataclasses.replace(RIG.boom, tips=6))
    with pytest.raises(CalibrationError, match="taken with 4 tips, the boom has 6"):
        apply(other, [answered])


def test_a_gauge_of_another_span_is_not_put_into_the_rig():
    other = dataclasses.replace(RIG, gauge=Gauge(150 * PSI))
    with pytest.raises(CalibrationError, match="another span"):
        apply(other, [results()[3]])

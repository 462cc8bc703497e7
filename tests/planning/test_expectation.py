"""What follows from a rig, against hand calculations in the trade's units."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.planning.expectation import Expectation, expect, pulses_per_m3_at
from flowlog.rig.model import Rig
from flowlog.rig.reader import parse_rig
from flowlog.rig.template import template_text
from flowlog.units import number_in, parse

RIG = parse_rig(template_text(), Path("rig.toml"), {})


def with_work(rig: Rig, **changes: float) -> Rig:
    return dataclasses.replace(rig, work=dataclasses.replace(rig.work, **changes))


@pytest.fixture
def expected() -> Expectation:
    return expect(RIG)


def test_width_and_course(expected: Expectation) -> None:
    # 8 x 20 in = 13.333 ft; 1000 / 13.333 = 75 ft; 75 ft at 3.2 x 88 ft/min = 15.98 s
    assert number_in(expected.effective_width_m, "length", "ft") == pytest.approx(40 / 3)
    assert number_in(expected.outer_tip_distance_m, "length", "in") == pytest.approx(140)
    assert number_in(expected.course_length_m, "length", "ft") == pytest.approx(75)
    assert expected.course_s == pytest.approx(75 / (3.2 * 88) * 60)


def test_a_metric_rig_has_a_course_of_100_square_meters() -> None:
    expected = expect(dataclasses.replace(RIG, units="metric"))
    assert expected.course_length_m * expected.effective_width_m == pytest.approx(100)


def test_flows_for_the_asked_rate(expected: Expectation) -> None:
    # 1.5 gal/1000 ft2 x (3.2 x 88 ft/min x 13.333 ft) / 1000 = 5.632 gal/min
    assert number_in(expected.boom_flow_m3_s, "flow", "gal/min") == pytest.approx(5.632)
    assert number_in(expected.tip_flow_m3_s, "flow", "gal/min") == pytest.approx(0.704)


def test_the_catches_of_all_tips_make_the_rate_on_the_course(expected: Expectation) -> None:
    # 8 tips x 24 fl oz = 192 fl oz = 1.5 gal on 1000 ft2
    assert number_in(expected.catch_m3, "volume", "fl oz") == pytest.approx(24)


def test_pressure_by_the_square_root_law(expected: Expectation) -> None:
    # (0.704 / 0.8)^2 x 40 psi
    assert number_in(expected.pressure_pa, "pressure", "psi") == pytest.approx(40 * 0.88**2)
    assert expected.pressure_pa == pytest.approx(RIG.expected_pressure_pa)
    assert expected.outside_band_share == 0


def test_rates_and_speeds_at_the_ends_of_the_band(expected: Expectation) -> None:
    # At 25 psi: 0.8 x (25/40)^0.5 = 0.6325 gal/min a tip, 136.3636 x 0.6325 / (3.2 x 20)
    low = 1500 / 11 * 0.8 * (25 / 40) ** 0.5 / (3.2 * 20)
    high = 1500 / 11 * 0.8 * (50 / 40) ** 0.5 / (3.2 * 20)
    assert number_in(expected.rate_at_low_m3_m2, "rate", "gal/1000 ft2") == pytest.approx(low)
    assert number_in(expected.rate_at_high_m3_m2, "rate", "gal/1000 ft2") == pytest.approx(high)
    assert number_in(expected.speed_at_low_m_s, "speed", "mph") == pytest.approx(3.2 * low / 1.5)
    assert number_in(expected.speed_at_high_m_s, "speed", "mph") == pytest.approx(3.2 * high / 1.5)


def test_how_far_outside_the_band_counts_from_its_nearer_end() -> None:
    # Pressure goes with the square of the speed: 30.976 psi at 3.2 mph
    fast = expect(with_work(RIG, speed_m_s=parse("6.4 mph", "speed")))
    slow = expect(with_work(RIG, speed_m_s=parse("1.6 mph", "speed")))
    assert fast.outside_band_share == pytest.approx(4 * 30.976 / 50 - 1)
    assert slow.outside_band_share == pytest.approx(30.976 / 4 / 25 - 1)


def test_a_dense_carrier_needs_its_density_times_the_pressure() -> None:
    dense = expect(with_work(RIG, carrier_relative_density=1.28))
    plain = expect(RIG)
    assert dense.boom_flow_m3_s == pytest.approx(plain.boom_flow_m3_s)
    assert dense.pressure_pa == pytest.approx(1.28 * plain.pressure_pa)
    assert dense.catch_m3 == pytest.approx(1.28**0.5 * plain.catch_m3)
    assert dense.water_rate_m3_m2 == pytest.approx(1.28**0.5 * RIG.work.rate_m3_m2)
    assert dense.flow_at_low_m3_s == pytest.approx(plain.flow_at_low_m3_s / 1.28**0.5)


def test_pulses_of_the_meter(expected: Expectation) -> None:
    # 5.632 gal/min = 21.319 L/min; x 450 / 60 = 159.9 Hz; the range's top 30 L/min = 225 Hz
    assert expected.pulses_hz == pytest.approx(159.9, abs=0.05)
    assert expected.highest_pulses_hz == pytest.approx(225)
    assert expected.meter_fits


def test_the_highest_pulse_rate_counts_a_boom_that_exceeds_the_meter() -> None:
    meter = dataclasses.replace(RIG.meter, highest_m3_s=parse("22 L/min", "flow"))
    expected = expect(dataclasses.replace(RIG, meter=meter))
    # 6.4 gal/min x (50/40)^0.5 at the band's top
    top = parse("6.4 gal/min", "flow") * 1.25**0.5
    assert expected.highest_pulses_hz == pytest.approx(top * 450e3)


def test_the_meter_s_curve_is_straight_between_points_and_flat_beyond() -> None:
    meter = dataclasses.replace(RIG.meter, curve=((1e-4, 400e3), (3e-4, 500e3)))
    assert [pulses_per_m3_at(meter, q) for q in (0.0, 1e-4, 2e-4, 3e-4, 1.0)] == pytest.approx(
        [400e3, 400e3, 450e3, 500e3, 500e3]
    )


def test_adc_codes(expected: Expectation) -> None:
    # 10 bits: zero 102.4, span 921.6, so 100 psi in 819.2 codes: 0.1221 psi a code
    assert expected.zero_code == pytest.approx(102.4)
    assert expected.span_code == pytest.approx(921.6)
    assert expected.pressure_code == pytest.approx(102.4 + 8.192 * 30.976)
    assert number_in(expected.pa_per_code, "pressure", "psi") == pytest.approx(100 / 819.2)


def test_tank(expected: Expectation) -> None:
    # 60 gal / 5.632 gal/min; 60 / 1.5 x 1000 ft2; low after 52 gal
    assert expected.tank_s == pytest.approx(60 / 5.632 * 60)
    assert expected.tank_low_s == pytest.approx(52 / 5.632 * 60)
    assert expected.tank_area_m2 == pytest.approx(parse("40000 ft2", "area"))


def test_without_tank_and_wheel_nothing_is_said_of_them() -> None:
    expected = expect(dataclasses.replace(RIG, tank=None))
    assert (expected.tank_s, expected.tank_area_m2, expected.tank_low_s) == (None, None, None)
    assert expected.wheel_hz is None


def test_a_blocked_tip_takes_its_share_of_the_conductance(expected: Expectation) -> None:
    assert expected.blocked_tip_share == -0.125


@given(
    rate=st.floats(1e-6, 1e-3),
    speed=st.floats(0.2, 8.0),
    density=st.floats(0.6, 2.0),
)
def test_the_expected_pressure_gives_the_asked_rate(
    rate: float, speed: float, density: float
) -> None:
    rig = with_work(RIG, rate_m3_m2=rate, speed_m_s=speed, carrier_relative_density=density)
    expected = expect(rig)
    flow = rig.nominal_conductance * expected.pressure_pa**0.5
    assert flow / (speed * expected.effective_width_m) == pytest.approx(rate)
    assert expected.catch_m3 * rig.boom.tips / expected.course_area_m2 == pytest.approx(
        expected.water_rate_m3_m2
    )

"""Rates, courses and tanks: what must hold whatever the numbers are."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.physics import rates

flows = st.floats(1e-6, 1e-2)
speeds = st.floats(0.05, 10.0)
widths = st.floats(0.1, 20.0)
times = st.floats(1.0, 3600.0)


@given(flows, speeds, widths)
def test_flow_and_speed_are_inverses_of_the_rate(flow, speed, width):
    rate = rates.application_rate_m3_m2(flow, speed, width)
    assert rates.flow_for_rate_m3_s(rate, speed, width) == pytest.approx(flow)
    assert rates.speed_for_rate_m_s(rate, flow, width) == pytest.approx(speed)


@given(flows, speeds, widths, st.floats(1.01, 10.0))
def test_the_rate_grows_with_flow_and_falls_with_speed_and_width(flow, speed, width, factor):
    rate = rates.application_rate_m3_m2(flow, speed, width)
    assert rates.application_rate_m3_m2(flow * factor, speed, width) == pytest.approx(rate * factor)
    assert rates.application_rate_m3_m2(flow, speed * factor, width) == pytest.approx(rate / factor)
    assert rates.application_rate_m3_m2(flow, speed, width * factor) == pytest.approx(rate / factor)


@given(flows, st.floats(0.2, 1.0), st.integers(2, 24), speeds)
def test_one_tip_over_its_spacing_gives_the_rate_of_the_whole_boom(flow, spacing, tips, speed):
    boom = rates.application_rate_m3_m2(
        flow * tips, speed, rates.effective_width_m(spacing, float(tips))
    )
    assert boom == pytest.approx(rates.application_rate_m3_m2(flow, speed, spacing))


@given(flows, times, times, st.floats(5.0, 500.0), widths)
def test_a_catch_and_a_course_give_the_rate_of_their_flow_and_speed(
    flow, catch_s, course_s, length, width
):
    caught = rates.rate_from_catch_m3_m2(flow * catch_s, catch_s, course_s, length, width)
    speed = rates.speed_from_course_m_s(length, course_s)
    assert rates.course_seconds(length, speed) == pytest.approx(course_s)
    assert caught == pytest.approx(rates.application_rate_m3_m2(flow, speed, width))


def test_a_longer_course_time_than_catch_time_raises_the_rate_in_proportion():
    same = rates.rate_from_catch_m3_m2(0.004, 17.0, 17.0, 22.86, 4.064)
    slower = rates.rate_from_catch_m3_m2(0.004, 17.0, 18.0, 22.86, 4.064)
    assert slower / same == pytest.approx(18.0 / 17.0)


@given(st.floats(0.01, 2.0), flows, speeds, widths)
def test_a_tank_lasts_as_long_as_its_area_takes_to_cover(tank, flow, speed, width):
    rate = rates.application_rate_m3_m2(flow, speed, width)
    area = rates.area_per_tank_m2(tank, rate)
    assert area == pytest.approx(rates.time_per_tank_s(tank, flow) * speed * width)
    assert rates.volume_for_area_m3(rate, area) == pytest.approx(tank)
    assert rates.rate_from_volume_m3_m2(tank, area) == pytest.approx(rate)


@given(st.floats(0.2, 1.0), st.integers(2, 24))
def test_the_boom_between_its_outer_tips_is_one_spacing_short_of_the_width(spacing, tips):
    outer = rates.outer_tip_distance_m(spacing, float(tips))
    assert rates.effective_width_m(spacing, float(tips)) - outer == pytest.approx(spacing)
    assert rates.is_outer_tip_distance(outer, spacing, tips)
    assert not rates.is_outer_tip_distance(outer + spacing, spacing, tips)


def test_a_single_tip_has_no_boom_length_to_confuse_with_its_width():
    assert not rates.is_outer_tip_distance(0.0, 0.5, 1)


def test_the_course_covers_its_area():
    assert rates.course_length_m(92.90304, 4.064) * 4.064 == pytest.approx(92.90304)


def test_at_standstill_the_rate_has_no_value_and_nothing_is_raised():
    assert math.isnan(rates.application_rate_m3_m2(1e-4, 0.0, 4.0))
    series = rates.application_rate_m3_m2(np.array([1e-4, 1e-4]), np.array([0.0, 1.0]), 4.0)
    assert np.isnan(series[0])
    assert series[1] == pytest.approx(2.5e-5)


@given(st.lists(st.tuples(flows, speeds, widths), min_size=1, max_size=20))
def test_a_series_gives_what_each_of_its_values_gives_alone(rows):
    flow, speed, width = np.array(rows).T
    series = rates.application_rate_m3_m2(flow, speed, width)
    alone = [rates.application_rate_m3_m2(*row) for row in rows]
    assert series == pytest.approx(np.array(alone), rel=1e-12)

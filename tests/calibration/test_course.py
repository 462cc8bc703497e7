"""The course: lengths, mean of times, the third run, slips, and how sure the speed is."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.calibration.course import (
    CourseResult,
    course,
    ounce_course_length_m,
    plan_course,
    time_doubt,
    width_doubt,
)
from flowlog.calibration.faults import CalibrationError
from flowlog.calibration.uncertainty import Prior
from flowlog.rig.model import Boom, Tip
from flowlog.units import number_in, parse

FOUR = Boom(4, parse("20 in", "length"), Tip(9e-5, 2.76e5), 2.07e5, 2.76e5)
TIMES = st.lists(st.floats(15.0, 30.0), min_size=1, max_size=6)


def on_150_ft(*seconds: float, **options) -> CourseResult:
    return course(FOUR.effective_width_m, parse("150 ft", "length"), seconds, **options)


def codes(result: CourseResult) -> list[str]:
    return [one.code for one in result.remarks]


def test_a_boom_of_four_tips_at_20_in_runs_150_ft_for_1000_ft2():
    plan = plan_course(FOUR)
    assert number_in(plan.width_m, "length", "in") == pytest.approx(80.0)
    assert number_in(plan.length_m, "length", "ft") == pytest.approx(150.0)
    assert number_in(plan.outer_tip_distance_m, "length", "in") == pytest.approx(60.0)


def test_a_course_may_be_of_any_area_or_length():
    assert plan_course(FOUR, area_m2=100.0).length_m == pytest.approx(100.0 / 2.032)
    plan = plan_course(FOUR, length_m=30.0)
    assert plan.area_m2 == pytest.approx(30.0 * 2.032)


def test_on_the_ounce_course_fluid_ounces_of_one_tip_are_gallons_an_acre():
    length = ounce_course_length_m(parse("20 in", "length"))
    rate = parse("1 fl oz", "volume") / (length * parse("20 in", "length"))
    assert number_in(rate, "rate", "gal/ac") == pytest.approx(1.0)


def test_the_speed_is_taken_from_the_mean_time_and_not_from_the_mean_speed():
    result = on_150_ft(20.0, 30.0)
    length = parse("150 ft", "length")
    assert result.mean_s == 25.0
    assert result.speed_m_s == pytest.approx(length / 25.0)
    assert result.speed_m_s < (length / 20.0 + length / 30.0) / 2.0


def test_times_are_not_rounded():
    assert on_150_ft(17.4, 17.4).mean_s == pytest.approx(17.4)
    assert on_150_ft(17.4, 17.4).speed_m_s != on_150_ft(17.0, 17.0).speed_m_s


@pytest.mark.parametrize(
    ("seconds", "verdict"),
    [
        ((21.0,), "second run wanted"),
        ((21.0, 21.6), "fine"),
        ((21.0, 21.7), "third run wanted"),
        ((21.0, 21.7, 21.3), "fine"),
        ((21.0, 22.5, 21.3), "uneven"),
    ],
)
def test_a_third_run_is_wanted_when_two_disagree_by_more_than_3_percent(seconds, verdict):
    result = on_150_ft(*seconds)
    assert result.verdict == verdict
    assert ("third-run" in codes(result)) == (verdict == "third run wanted")


@pytest.mark.parametrize("bad", [0.0, -3.0, math.nan, math.inf])
def test_a_time_that_is_no_time_is_refused_by_its_run(bad: float):
    with pytest.raises(CalibrationError, match="run 2"):
        on_150_ft(21.0, bad)


def test_no_run_a_width_or_a_length_of_nothing_are_refused():
    with pytest.raises(CalibrationError, match="no run was timed"):
        on_150_ft()
    with pytest.raises(CalibrationError, match="effective width"):
        course(0.0, 45.0, [21.0])
    with pytest.raises(CalibrationError, match="course length"):
        course(2.0, -45.0, [21.0])


@pytest.mark.parametrize("seconds", [0.21, 2100.0])
def test_a_speed_that_nobody_sprays_at_is_refused(seconds: float):
    with pytest.raises(CalibrationError, match="no speed to spray at"):
        on_150_ft(seconds)


def test_a_slipped_decimal_point_is_noticed_beside_the_others_or_what_is_expected():
    assert "ten times" in (time_doubt(213.0, [21.4]) or "")
    assert "a tenth" in (time_doubt(2.13, expected_s=21.0) or "")
    assert "2.5 times" in (time_doubt(52.5, [21.0]) or "")
    assert time_doubt(22.0, [21.0]) is None
    assert time_doubt(22.0) is None
    assert "slip" in codes(on_150_ft(21.0, 63.0))


def test_whole_seconds_are_remarked_on():
    assert "rounded" in codes(on_150_ft(21.0, 21.0))
    assert "rounded" not in codes(on_150_ft(21.0, 21.1))


def test_the_boom_between_its_outer_tips_is_not_the_width():
    assert "distance between the outer tips" in (width_doubt(FOUR, parse("60 in", "length")) or "")
    assert "33 %" in (width_doubt(FOUR, parse("60 in", "length")) or "")
    assert width_doubt(FOUR, parse("80 in", "length")) is None
    assert "12 %" in (width_doubt(FOUR, parse("90 in", "length")) or "")


@given(TIMES)
def test_speed_times_mean_time_is_the_course(seconds):
    result = on_150_ft(*seconds)
    assert result.speed_m_s * result.mean_s == pytest.approx(parse("150 ft", "length"))
    assert min(seconds) - 1e-9 <= result.mean_s <= max(seconds) + 1e-9


@given(TIMES, st.randoms())
def test_the_order_of_the_runs_is_all_the_same(seconds, rng):
    mixed = list(seconds)
    rng.shuffle(mixed)
    one, other = on_150_ft(*seconds), on_150_ft(*mixed)
    assert one.mean_s == pytest.approx(other.mean_s)
    assert one.speed.u == pytest.approx(other.speed.u)
    assert one.verdict == other.verdict


@given(TIMES)
def test_a_course_is_read_back_as_it_was_written(seconds):
    result = on_150_ft(*seconds)
    assert CourseResult.from_json(result.to_json()) == result


def test_two_equal_runs_do_not_make_a_sure_speed():
    # Two runs that happen to agree would have no scatter at all: the prior keeps it honest.
    assert on_150_ft(21.2, 21.2).speed.expanded_relative > 0.02
    assert on_150_ft(21.2, 21.2).speed.coverage < 2.5


def test_more_runs_make_a_surer_speed():
    us = [on_150_ft(*([21.2] * n)).speed.u for n in (1, 2, 3, 6)]
    assert us == sorted(us, reverse=True)


def test_the_prior_may_be_ones_own():
    assert on_150_ft(21.2, 21.4, prior=Prior(0.005, 20.0)).speed.u < on_150_ft(21.2, 21.4).speed.u

"""Numbers, durations and times as every screen writes them."""

from __future__ import annotations

import math

import pytest

from flowlog.review import words
from flowlog.review.digits import ROWS, large


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (59.4, "59 s"),
        (59.6, "1 min 00 s"),
        (185, "3 min 05 s"),
        (7620, "2 h 07 min"),
        (400_000, "4 d 15 h"),
        (-3, "0 s"),
    ],
)
def test_durations(seconds, text):
    assert words.duration(seconds) == text


@pytest.mark.parametrize(
    ("seconds", "text"), [(0, "0:00:00"), (59.6, "0:01:00"), (36_061, "10:01:01")]
)
def test_durations_in_columns(seconds, text):
    assert words.clock_style(seconds) == text


def test_ages_show_tenths_only_while_they_matter():
    assert words.age(0.84) == "0.8 s old"
    assert words.age(45.0) == "45 s old"
    assert words.age(None) == "no data yet"


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.03, "+3 %"), (-0.121, "-12 %"), (-0.001, "0 %"), (1e9, ">999 %"), (-1e9, "<-999 %")],
)
def test_percentages_with_a_sign(share, text):
    assert words.percent(share, signed=True) == text


def test_what_was_not_measured_is_a_dash_and_never_a_number():
    assert words.value(None, "flow", "us") == "--"
    assert words.value(math.nan, "flow", "us") == "--"


def test_values_have_their_unit_and_thousands_marks():
    assert words.value(1200.0, "area", "us") == "12,917 ft2"
    assert words.value(0.07, "volume", "metric") == "70.0 L"


def test_times_outside_of_the_calendar_are_a_question_mark():
    assert words.local_time(None) == "?"
    assert words.local_time(2**62) == "?"
    assert words.iso_times(2**62) == (None, None)


def test_utc_is_written_with_z_and_milliseconds():
    assert words.iso_times(1_780_000_000_123_456)[1] == "2026-05-28T20:26:40.123Z"


def test_large_figures_have_equal_lines_and_differ_from_one_another():
    drawn = {figure: tuple(large(figure)) for figure in "0123456789-"}
    assert len(set(drawn.values())) == len(drawn)
    for rows in drawn.values():
        assert len(rows) == ROWS
        assert len({len(row) for row in rows}) == 1


def test_a_sign_that_is_no_figure_is_drawn_as_a_dash():
    assert large("x") == large("-")


def test_a_dot_can_be_two_lines_high():
    assert large("7", dot="#", high=2)[::2] == large("7", dot="#")

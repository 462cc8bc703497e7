"""Decimation hides no excursion and changes no total."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowlog.review.decimate import decimate

values = st.lists(st.none() | st.floats(-1e6, 1e6), min_size=1, max_size=300)


def traced(numbers, columns, begin=0.0, end=None):
    mean = np.array(numbers, dtype=np.float64)
    seconds = np.ones(len(mean))
    at = np.arange(len(mean)) + 0.5
    end = float(len(mean)) if end is None else end
    return decimate(at, seconds, mean - 1, mean, mean + 1, begin, end, columns)


@settings(deadline=None)
@given(values, st.integers(1, 50))
def test_the_smallest_and_the_largest_value_are_kept_whatever_the_width(numbers, columns):
    trace = traced(numbers, columns)
    measured = [number for number in numbers if number is not None]
    assert len(trace) <= columns or len(trace) == len(numbers) <= columns
    if measured:
        assert np.nanmin(trace.low) == min(measured) - 1
        assert np.nanmax(trace.high) == max(measured) + 1
    else:
        assert np.isnan(trace.mean).all()


@settings(deadline=None)
@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=300), st.integers(1, 50))
def test_the_mean_of_the_whole_is_kept(numbers, columns):
    trace = traced(numbers, columns)
    whole = len(numbers)
    if whole <= columns:
        counts = np.ones(whole)
    else:
        places = np.minimum(((np.arange(whole) + 0.5) * columns / whole).astype(int), columns - 1)
        counts = np.unique(places, return_counts=True)[1]
    assert (trace.mean * counts).sum() == pytest.approx(sum(numbers), abs=1e-6)


@settings(deadline=None)
@given(values, st.integers(1, 50), st.floats(0, 250), st.floats(0.5, 250))
def test_every_column_lies_in_the_window_and_between_its_extremes(numbers, columns, begin, length):
    trace = traced(numbers, columns, begin, begin + length)
    assert len(trace) <= max(columns, 0) or len(trace) <= len(numbers)
    assert (np.diff(trace.at_s) > 0).all()
    if len(trace):
        assert begin <= trace.at_s[0]
        assert trace.at_s[-1] <= begin + length
    known = np.isfinite(trace.mean)
    assert (trace.low[known] <= trace.mean[known]).all()
    assert (trace.mean[known] <= trace.high[known]).all()


def test_a_dip_of_one_second_in_ten_hours_is_seen():
    numbers = [10.0] * 36_000
    numbers[12_345] = 2.0
    trace = traced(numbers, 600)
    assert len(trace) == 600
    assert np.nanmin(trace.low) == 1.0
    assert np.nanmin(trace.mean) > 9.8


def test_few_readings_are_drawn_as_they_are():
    trace = traced([1.0, None, 3.0], 600)
    assert list(trace.at_s) == [0.5, 1.5, 2.5]
    assert np.isnan(trace.mean[1])


def test_time_without_readings_gets_no_column():
    at = np.array([0.5, 1.5, 2.5, 100.5, 101.5, 102.5])
    ones = np.ones(6)
    trace = decimate(at, ones, ones, ones, ones, 0.0, 104.0, 5)
    assert len(trace) == 2

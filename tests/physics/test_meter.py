"""Pulses, flow and how finely they can be counted."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.physics import meter

flows = st.floats(1e-6, 1e-2)
constants = st.floats(1e4, 1e7)


def _rising(curve):
    """Whether more flow gives more pulses a second, as in every meter that can be read."""
    return all(b[0] * b[1] > a[0] * a[1] for a, b in pairwise(curve))


@given(flows, constants, st.floats(0.1, 1000.0))
def test_the_pulses_of_a_flow_give_the_flow_back(flow, pulses_per_m3, seconds):
    pulses = meter.pulse_frequency_hz(flow, pulses_per_m3) * seconds
    assert meter.flow_from_pulses_m3_s(pulses, seconds, pulses_per_m3) == pytest.approx(flow)


@given(st.integers(1, 10_000), st.floats(0.1, 5000.0))
def test_whole_periods_timed_by_a_clock_give_the_frequency(periods, frequency):
    ticks = periods / frequency * 1e6
    assert meter.frequency_from_ticks_hz(float(periods), ticks, 1e6) == pytest.approx(frequency)


@given(st.floats(0.1, 2000.0))
def test_timing_edges_is_finer_than_counting_a_gate_of_the_same_length(frequency):
    assert meter.edge_timing_limit(1.0, 1e6) < meter.gated_count_limit(frequency, 1.0)


def test_no_time_between_edges_is_no_flow_known():
    assert math.isnan(meter.flow_from_pulses_m3_s(3.0, 0.0, 450_000.0))


curves = (
    st.lists(st.tuples(flows, constants), min_size=1, max_size=8, unique_by=lambda point: point[0])
    .map(lambda points: tuple(sorted(points)))
    .filter(_rising)
)


@given(curves, st.floats(0.0, 2e-2))
def test_along_the_flow_a_curve_is_interpolated_in_straight_lines_and_held_outside(curve, flow):
    at, factors = zip(*curve, strict=True)
    assert meter.pulses_per_m3_at_flow(curve, flow) == np.interp(flow, at, factors)


@given(curves, st.floats(0.0, 2e4))
def test_along_the_frequency_a_curve_gives_what_recorded_routes_were_computed_with(curve, hz):
    """To the last bit: a restart replays a route and must find the readings that are stored."""
    at = [flow * factor for flow, factor in curve]
    factors = [factor for _, factor in curve]
    right = sum(place <= hz for place in at)
    if right == 0:
        expected = factors[0]
    elif right == len(at):
        expected = factors[-1]
    else:
        part = (hz - at[right - 1]) / (at[right] - at[right - 1])
        expected = factors[right - 1] + part * (factors[right] - factors[right - 1])
    assert meter.FactorByFrequency(curve).at(hz) == expected


@given(curves)
def test_at_its_own_points_a_curve_says_the_same_by_flow_and_by_frequency(curve):
    by_frequency = meter.FactorByFrequency(curve)
    for flow, factor in curve:
        assert by_frequency.at(flow * factor) == pytest.approx(factor)
        assert meter.pulses_per_m3_at_flow(curve, flow) == pytest.approx(factor)

"""Pulses, flow and how finely they can be counted."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.physics import meter

flows = st.floats(1e-6, 1e-2)
constants = st.floats(1e4, 1e7)


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

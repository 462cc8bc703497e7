"""Pressure lost in lines and strainers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.physics import lines

WATER = (998.2, 1.002e-3)
flows = st.floats(1e-7, 2e-3)
diameters = st.floats(0.004, 0.04)


@given(st.floats(4000.0, 1e8), st.floats(0.0, 0.05))
def test_the_turbulent_factor_solves_colebrooks_equation(number, roughness):
    f = lines.friction_factor(number, roughness)
    right = -2.0 * math.log10(roughness / 3.7 + 2.51 / (number * math.sqrt(f)))
    assert 1.0 / math.sqrt(f) == pytest.approx(right, rel=1e-12)


@given(st.floats(1.0, 2300.0))
def test_the_laminar_factor_is_64_over_reynolds_whatever_the_roughness(number):
    assert lines.friction_factor(number, 0.01) == pytest.approx(64.0 / number)


def test_the_factor_has_no_step_where_one_law_hands_over_to_the_other():
    for edge in (lines.LAMINAR_BELOW, lines.TURBULENT_ABOVE):
        below, above = lines.friction_factor(edge - 1e-6), lines.friction_factor(edge + 1e-6)
        assert above == pytest.approx(below, rel=1e-6)


@given(flows, diameters, st.floats(1.001, 4.0))
def test_more_flow_loses_more_and_a_wider_line_less(flow, diameter, factor):
    loss = lines.line_loss_pa(flow, diameter, 3.0, *WATER)
    assert lines.line_loss_pa(flow * factor, diameter, 3.0, *WATER) > loss
    assert lines.line_loss_pa(flow, diameter * factor, 3.0, *WATER) < loss


@given(flows, diameters, st.floats(0.1, 30.0))
def test_the_loss_is_proportional_to_the_length_and_turns_with_the_flow(flow, diameter, length):
    loss = lines.line_loss_pa(flow, diameter, length, *WATER)
    per_metre = lines.loss_per_length_pa_m(flow, diameter, *WATER)
    assert loss == pytest.approx(length * per_metre)
    assert lines.line_loss_pa(-flow, diameter, length, *WATER) == pytest.approx(-loss)


def test_slow_flow_loses_what_hagen_and_poiseuille_say():
    flow, diameter = 2e-6, 0.01
    exact = 128.0 * WATER[1] * flow / (math.pi * diameter**4)
    assert lines.loss_per_length_pa_m(flow, diameter, *WATER) == pytest.approx(exact)


def test_at_rest_nothing_is_lost():
    assert lines.line_loss_pa(0.0, 0.01, 3.0, *WATER) == 0.0
    assert lines.line_loss_pa(np.array([0.0, 1e-4]), 0.01, 3.0, *WATER)[0] == 0.0
    assert lines.strainer_loss_pa(0.0, 1e10) == 0.0


def test_a_rough_line_loses_more_than_a_smooth_one():
    smooth = lines.line_loss_pa(5e-4, 0.0127, 3.0, *WATER)
    assert lines.line_loss_pa(5e-4, 0.0127, 3.0, *WATER, roughness_m=1e-4) > 1.2 * smooth


@given(flows, st.floats(1e2, 1e6))
def test_a_strainers_resistance_gives_its_loss_back_and_grows_with_the_square(flow, loss):
    resistance = lines.strainer_resistance_pa_s2_m6(flow, loss)
    assert lines.strainer_loss_pa(flow, resistance) == pytest.approx(loss)
    assert lines.strainer_loss_pa(2.0 * flow, resistance) == pytest.approx(4.0 * loss)
    assert lines.strainer_loss_pa(-flow, resistance) == pytest.approx(-loss)


@given(st.lists(flows, min_size=1, max_size=12))
def test_a_series_of_flows_loses_what_each_loses_alone(series):
    together = lines.line_loss_pa(np.array(series), 0.0127, 3.0, *WATER)
    alone = [lines.line_loss_pa(flow, 0.0127, 3.0, *WATER) for flow in series]
    assert together.tolist() == pytest.approx(alone, rel=1e-12)

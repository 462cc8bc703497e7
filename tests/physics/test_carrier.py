"""Carriers denser and lighter than water."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.physics import carrier, tips

densities = st.floats(0.7, 2.0)


@given(densities, st.floats(1e-6, 1e-3))
def test_calibrating_with_the_water_rate_gives_the_wanted_rate_of_the_carrier(density, rate):
    water = carrier.water_rate_for(rate, density)
    assert carrier.carrier_flow_for(water, density) == pytest.approx(rate)
    assert (water > rate) == (density > 1.0) or density == pytest.approx(1.0)


@given(densities, st.floats(2e-4, 3e-3), st.floats(5e4, 5e5))
def test_the_conversion_is_what_an_orifice_does(density, diameter, pressure):
    water = tips.orifice_flow_m3_s(diameter, pressure, density_kg_m3=1000.0)
    dense = tips.orifice_flow_m3_s(diameter, pressure, density_kg_m3=1000.0 * density)
    assert carrier.carrier_flow_for(water, density) == pytest.approx(dense)
    shift = tips.conductance_log_shift(dense, water)
    assert carrier.carrier_log_shift(density) == pytest.approx(shift, abs=1e-12)


def test_water_converts_to_itself():
    assert carrier.conversion_factor(1.0) == 1.0
    assert carrier.carrier_log_shift(1.0) == 0.0
    assert carrier.relative_density(carrier.WATER_KG_M3) == 1.0


def test_a_series_of_densities_is_converted_as_each_alone():
    series = np.array([0.8, 1.0, 1.28])
    assert carrier.conversion_factor(series).tolist() == pytest.approx(
        [carrier.conversion_factor(float(one)) for one in series]
    )
    assert carrier.carrier_log_shift(series).tolist() == pytest.approx(
        [carrier.carrier_log_shift(float(one)) for one in series]
    )

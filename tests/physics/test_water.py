"""Water over temperature; its values are held against IAPWS in tests/against."""

from __future__ import annotations

import numpy as np
import pytest

from flowlog.physics import water

CELSIUS = np.linspace(0.0, 60.0, 601)


def test_water_is_densest_at_four_degrees():
    assert float(CELSIUS[np.argmax(water.density_kg_m3(CELSIUS))]) == pytest.approx(4.0, abs=0.1)


def test_water_thins_as_it_warms_and_halves_its_viscosity_from_5_to_35_degrees():
    viscosity = water.viscosity_pa_s(CELSIUS)
    assert np.all(np.diff(viscosity) < 0.0)
    assert water.viscosity_pa_s(35.0) / water.viscosity_pa_s(5.0) == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize("temperature", [-0.1, 60.1, float("nan")])
def test_ice_and_steam_are_refused(temperature):
    with pytest.raises(ValueError, match="0 to 60 C"):
        water.density_kg_m3(temperature)
    with pytest.raises(ValueError, match="0 to 60 C"):
        water.viscosity_pa_s(np.array([20.0, temperature]))


def test_a_series_of_temperatures_is_each_alone():
    assert water.density_kg_m3(CELSIUS).tolist() == pytest.approx(
        [water.density_kg_m3(float(t)) for t in CELSIUS], rel=1e-14
    )
    assert water.viscosity_pa_s(CELSIUS).tolist() == pytest.approx(
        [water.viscosity_pa_s(float(t)) for t in CELSIUS], rel=1e-14
    )

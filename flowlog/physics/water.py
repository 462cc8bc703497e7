"""Water over temperature: density and viscosity at atmospheric pressure.

Density: the formula of the Journal of Chemical and Engineering Data 20 (1975), page 97, for 0
to 150 C. Viscosity: the formula of the Journal of Physical and Chemical Reference Data 7 (1978),
page 941, for -8 to 150 C. Both sets of coefficients are written down from memory; the
tests hold them against IAPWS-95 and the IAPWS viscosity of 2008: the density agrees to 0.001 %,
the viscosity to 0.1 % up to 40 C and to 0.3 % up to 60 C.
Spraying pressures (to 1 MPa) change the density by less than 0.05 %.
"""

from __future__ import annotations

import numpy as np

from flowlog.physics.elementwise import Quantity, power_of

LOWEST_C = 0.0
HIGHEST_C = 60.0


def _in_range(temperature_c: Quantity) -> Quantity:
    if not np.all(
        (np.asarray(temperature_c) >= LOWEST_C) & (np.asarray(temperature_c) <= HIGHEST_C)
    ):
        raise ValueError(
            f"water temperature {temperature_c} C is outside {LOWEST_C:g} to {HIGHEST_C:g} C"
        )
    return temperature_c


def density_kg_m3(temperature_c: Quantity) -> Quantity:
    """Density of water at atmospheric pressure, kg/m3, 0 to 60 C; ValueError outside."""
    t = _in_range(temperature_c)
    above = 999.83952 + t * (
        16.945176
        + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return above / (1.0 + 16.879850e-3 * t)


def viscosity_pa_s(temperature_c: Quantity) -> Quantity:
    """Dynamic viscosity of water at atmospheric pressure, Pa s, 0 to 60 C; ValueError outside.

    Relative to 1.002 mPa s at 20 C, the value that viscometers are calibrated with.
    """
    t = _in_range(temperature_c)
    below_20 = 20.0 - t
    power = below_20 / (t + 96.0) * (1.2364 - 1.37e-3 * below_20 + 5.7e-6 * below_20**2)
    return 1.002e-3 * power_of(10.0, power)

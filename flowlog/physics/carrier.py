"""Carriers that are not water: how the density changes what a tip lets out.

At one pressure an orifice lets out volume in proportion to 1 / density^0.5. So a dense carrier
at the wanted rate takes the tips and pressure that would give water the rate * density^0.5.
Source: state extension tables of conversion factors, which tabulate exactly this root; they
take water as 8.34 lb/gal. Viscosity is not in it: thick carriers need a catch of their own.
"""

from __future__ import annotations

import math

import numpy as np

from flowlog.physics.elementwise import Quantity, positive_power, ratio
from flowlog.units import WATER_KG_M3


def relative_density(density_kg_m3: Quantity) -> Quantity:
    """Density over that of the trade's water (8.34 lb/gal); a pure number."""
    return density_kg_m3 / WATER_KG_M3


def conversion_factor(relative_density_value: Quantity) -> Quantity:
    """Water flow over carrier flow at one pressure, the root of the relative density."""
    return positive_power(relative_density_value, 0.5)


def water_rate_for(rate: Quantity, relative_density_value: Quantity | float) -> Quantity:
    """Rate of water to calibrate to when `rate` of the carrier is wanted; same unit, any unit."""
    return rate * conversion_factor(relative_density_value)


def carrier_flow_for(water_flow: Quantity, relative_density_value: Quantity | float) -> Quantity:
    """Flow of the carrier at the pressure where water gives `water_flow`; same unit, any unit."""
    return ratio(water_flow, conversion_factor(relative_density_value))


def carrier_log_shift(relative_density_value: Quantity) -> Quantity:
    """ln(G of the carrier / G of water), -ln(relative density) / 2.

    To be taken off before a conductance is judged: a carrier of 1.28 lowers it by as much as
    one blocked tip of eight.
    """
    if isinstance(relative_density_value, np.ndarray):
        return np.asarray(-0.5 * np.log(relative_density_value), dtype=np.float64)
    return -0.5 * math.log(relative_density_value)

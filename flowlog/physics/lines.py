"""Lines and strainers: what pressure is lost between pump and tips.

Darcy and Weisbach: dP = f * (L/D) * density * v^2 / 2, with f = 64/Re in laminar flow and
Colebrook's equation (1939) in turbulent flow. Between Re 2300 and 4000 neither holds; f is
interpolated there, so that the loss stays continuous and grows with the flow. Hoses count as
smooth (roughness 0). Losses have the sign of the flow. Anything is a float or an array.
"""

from __future__ import annotations

import math

import numpy as np

from flowlog.physics.elementwise import FloatArray, Quantity, magnitude, ratio, signed_square

LAMINAR_BELOW = 2300.0
TURBULENT_ABOVE = 4000.0
# Newton's steps on Colebrook from Haaland's start (within 2 %): the error squares each time.
_NEWTON_STEPS = 3


def mean_velocity_m_s(flow_m3_s: Quantity, diameter_m: Quantity | float) -> Quantity:
    """Mean velocity in a round line, m/s."""
    return ratio(flow_m3_s, diameter_m**2 * (math.pi / 4.0))


def reynolds(
    flow_m3_s: Quantity, diameter_m: Quantity | float, density_kg_m3: float, viscosity_pa_s: float
) -> Quantity:
    """Reynolds number in a round line from the dynamic viscosity; a pure number, not negative."""
    velocity = mean_velocity_m_s(flow_m3_s, diameter_m)
    return magnitude(velocity) * diameter_m * (density_kg_m3 / viscosity_pa_s)


def friction_factor(reynolds_number: Quantity, relative_roughness: float = 0.0) -> Quantity:
    """Darcy's friction factor (four times Fanning's); inf at Re 0, where the loss is 0.

    Colebrook holds for Re 4000 to 10^8 and roughness / diameter up to 0.05; below Re 2300 the
    roughness plays no part.
    """
    number = np.asarray(reynolds_number, dtype=np.float64)
    with np.errstate(divide="ignore"):
        laminar = 64.0 / number
    turbulent = _colebrook(np.maximum(number, TURBULENT_ABOVE), relative_roughness)
    share = np.clip((number - LAMINAR_BELOW) / (TURBULENT_ABOVE - LAMINAR_BELOW), 0.0, 1.0)
    last_laminar = 64.0 / LAMINAR_BELOW
    between = last_laminar + share * (turbulent - last_laminar)
    factor = np.where(number <= LAMINAR_BELOW, laminar, between)
    return factor if isinstance(reynolds_number, np.ndarray) else float(factor)


def _colebrook(number: FloatArray, relative_roughness: float) -> FloatArray:
    """Solve x = -2 log10(roughness/3.7 + 2.51 x / Re) for x = 1/f^0.5; give f."""
    rough = relative_roughness / 3.7
    x = -1.8 * np.log10(rough**1.11 + 6.9 / number)
    for _ in range(_NEWTON_STEPS):
        inside = rough + 2.51 * x / number
        error = x + 2.0 * np.log10(inside)
        slope = 1.0 + (2.0 / math.log(10.0)) * (2.51 / number) / inside
        x = x - error / slope
    return np.asarray(x**-2.0, dtype=np.float64)


def loss_per_length_pa_m(
    flow_m3_s: Quantity,
    diameter_m: float,
    density_kg_m3: float,
    viscosity_pa_s: float,
    *,
    roughness_m: float = 0.0,
) -> Quantity:
    """Pressure lost in a metre of straight round line, Pa/m. Fittings come on top."""
    number = reynolds(flow_m3_s, diameter_m, density_kg_m3, viscosity_pa_s)
    # At rest the factor is infinite and the loss 0: the floor keeps inf * 0 out of it.
    factor = friction_factor(_at_least(number, 1e-12), roughness_m / diameter_m)
    velocity = mean_velocity_m_s(flow_m3_s, diameter_m)
    return factor * signed_square(velocity) * (0.5 * density_kg_m3 / diameter_m)


def line_loss_pa(
    flow_m3_s: Quantity,
    diameter_m: float,
    length_m: float,
    density_kg_m3: float,
    viscosity_pa_s: float,
    *,
    roughness_m: float = 0.0,
) -> Quantity:
    """Pressure lost in a straight round line, Pa (Darcy-Weisbach). Fittings come on top."""
    return length_m * loss_per_length_pa_m(
        flow_m3_s, diameter_m, density_kg_m3, viscosity_pa_s, roughness_m=roughness_m
    )


def _at_least(value: Quantity, least: float) -> Quantity:
    if isinstance(value, np.ndarray):
        return np.maximum(value, least)
    return max(value, least)


def strainer_loss_pa(flow_m3_s: Quantity, resistance_pa_s2_m6: Quantity | float) -> Quantity:
    """Pressure lost in a strainer or fitting, Pa: resistance * Q * |Q|.

    A clogging strainer is a growing resistance. Common practice, no source: a clean line
    strainer costs 3 to 14 kPa at its rated flow and wants cleaning above some 35 kPa.
    """
    return resistance_pa_s2_m6 * signed_square(flow_m3_s)


def strainer_resistance_pa_s2_m6(flow_m3_s: Quantity, loss_pa: Quantity | float) -> Quantity:
    """Resistance of a strainer that costs `loss_pa` at a flow, Pa s2/m6; nan at rest."""
    return ratio(loss_pa, signed_square(flow_m3_s))

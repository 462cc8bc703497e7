"""Tips: flow against pressure, the boom's conductance, and what a blocked tip does to it.

The law of a fixed orifice is Q = k * P^0.5 (Torricelli; exact for a constant discharge
coefficient). Real booms are fitted with an exponent near 0.5, so it is an argument where that
matters. Pressures are above atmospheric, Pa; flows m3/s; k and G are in m3/s/Pa^exponent.
Anything is a float or an array. Where the pressure is not positive a flow is 0.
"""

from __future__ import annotations

import math
from typing import overload

import numpy as np

from flowlog.physics.elementwise import FloatArray, FloatOrArray, Quantity, positive_power, ratio

SQUARE_ROOT_LAW = 0.5
WATER_DENSITY_KG_M3 = 998.2
"""At 20 C; `flowlog.physics.water` has it over temperature."""


def tip_coefficient(
    flow_m3_s: Quantity, pressure_pa: Quantity | float, exponent: float = SQUARE_ROOT_LAW
) -> Quantity:
    """k of a tip that lets out `flow_m3_s` at `pressure_pa`; nan without pressure.

    A tip's nominal size is such a point: in the US its gal/min at 40 psi, in ISO 10625 its
    L/min at 3 bar.
    """
    return ratio(flow_m3_s, positive_power(pressure_pa, exponent))


@overload
def tip_flow_m3_s(
    coefficient: float,
    pressure_pa: float,
    exponent: float = SQUARE_ROOT_LAW,
    check_pressure_pa: float = 0.0,
) -> float: ...
@overload
def tip_flow_m3_s(
    coefficient: FloatArray,
    pressure_pa: FloatOrArray,
    exponent: float = SQUARE_ROOT_LAW,
    check_pressure_pa: float = 0.0,
) -> FloatArray: ...
@overload
def tip_flow_m3_s(
    coefficient: FloatOrArray,
    pressure_pa: FloatArray,
    exponent: float = SQUARE_ROOT_LAW,
    check_pressure_pa: float = 0.0,
) -> FloatArray: ...
def tip_flow_m3_s(
    coefficient: FloatOrArray,
    pressure_pa: FloatOrArray,
    exponent: float = SQUARE_ROOT_LAW,
    check_pressure_pa: float = 0.0,
) -> FloatOrArray:
    """Flow of a tip at a pressure, m3/s; 0 below the pressure at which its check valve opens.

    The valve is taken as lossless once open: a diaphragm check adds little then, a ball check
    holds back some 35 kPa, which the caller subtracts.
    """
    flow = coefficient * positive_power(pressure_pa, exponent)
    if isinstance(pressure_pa, np.ndarray):
        return np.where(pressure_pa < check_pressure_pa, 0.0, flow)
    return flow * 0.0 if pressure_pa < check_pressure_pa else flow


def pressure_for_flow_pa(
    coefficient: Quantity | float, flow_m3_s: Quantity, exponent: float = SQUARE_ROOT_LAW
) -> Quantity:
    """Pressure at which the tip lets out the flow, Pa. The inverse of `tip_flow_m3_s`."""
    return positive_power(ratio(flow_m3_s, coefficient), 1.0 / exponent)


def conductance(
    flow_m3_s: Quantity, pressure_pa: Quantity | float, exponent: float = SQUARE_ROOT_LAW
) -> Quantity:
    """G = Q / P^exponent of the whole boom; nan without pressure.

    It depends only on what lies behind the gauge (tips, leaks, carrier), not on pump,
    regulator or strainer before it: the statistic that a blocked tip moves.
    """
    return tip_coefficient(flow_m3_s, pressure_pa, exponent)


def boom_conductance(coefficients: FloatArray, leak: float = 0.0) -> FloatArray:
    """G of tips side by side, the sum over the last axis, with a leak's coefficient beside them.

    Shape (..., tips) in, (...) out. A blocked tip has coefficient 0, a worn one more than its
    nominal, a missing one several times as much.
    """
    return np.asarray(np.sum(coefficients, axis=-1) + leak, dtype=np.float64)


def restricted_conductance(conductance_value: Quantity, resistance: Quantity | float) -> Quantity:
    """G behind a restriction that costs resistance * Q^2 (Pa s2/m6), square-root law only.

    The gauge stands before the restriction: P = (1/G^2 + r) * Q^2.
    """
    return ratio(
        conductance_value, positive_power(1.0 + resistance * conductance_value**2, SQUARE_ROOT_LAW)
    )


def conductance_log_shift(conductance_value: Quantity, baseline: Quantity | float) -> Quantity:
    """ln(G / baseline): 0 when healthy, negative when less comes out than should.

    Logarithms make a shift additive over its causes (carrier, wear, blocked tips).
    """
    share = ratio(conductance_value, baseline)
    if isinstance(share, np.ndarray):
        with np.errstate(divide="ignore"):
            return np.log(share)
    return -math.inf if share == 0.0 else math.log(share)


def blocked_tip_log_shift(tips: Quantity | float, blocked: Quantity) -> Quantity:
    """ln(G / baseline) when `blocked` (may be a fraction) of `tips` equal tips give nothing.

    ln(1 - blocked / tips): -1/tips to first order, -inf when all are blocked, nan beyond.
    Negative `blocked` is conductance gained, by wear or a missing tip.
    """
    share = ratio(blocked, tips)
    if isinstance(share, np.ndarray):
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.log1p(-share)
    if share >= 1.0:
        return -math.inf if share == 1.0 else math.nan
    return math.log1p(-share)


def blocked_tips(tips: Quantity | float, log_shift: Quantity) -> Quantity:
    """How many of `tips` a shift of ln G amounts to; the inverse of `blocked_tip_log_shift`."""
    if isinstance(log_shift, np.ndarray):
        return -tips * np.expm1(log_shift)
    return -tips * math.expm1(log_shift)


def orifice_flow_m3_s(
    diameter_m: Quantity | float,
    pressure_pa: Quantity,
    discharge_coefficient: float = 1.0,
    density_kg_m3: float = WATER_DENSITY_KG_M3,
) -> Quantity:
    """Flow of a round orifice into the open, m3/s: Cd * A * (2 P / density)^0.5.

    Source: Bernoulli and Torricelli; the approach velocity is neglected, which costs less than
    1 % while the orifice is narrower than 0.35 of the bore before it.
    """
    area_m2 = diameter_m**2 * (math.pi / 4.0)
    speed_m_s = positive_power(pressure_pa * (2.0 / density_kg_m3), SQUARE_ROOT_LAW)
    return area_m2 * speed_m_s * discharge_coefficient


def orifice_diameter_m(
    flow_m3_s: Quantity,
    pressure_pa: Quantity | float,
    discharge_coefficient: float = 1.0,
    density_kg_m3: float = WATER_DENSITY_KG_M3,
) -> Quantity:
    """Diameter of the round orifice that lets out the flow, m; inverse of `orifice_flow_m3_s`."""
    speed_m_s = positive_power(pressure_pa * (2.0 / density_kg_m3), SQUARE_ROOT_LAW)
    area_m2 = ratio(flow_m3_s, speed_m_s * discharge_coefficient)
    return positive_power(area_m2 * (4.0 / math.pi), 0.5)


def flow_share_of_gauge_error(pressure_pa: Quantity, error_pa: Quantity | float) -> Quantity:
    """Share of the flow that a small gauge error is worth under the square-root law, dP / 2P."""
    return SQUARE_ROOT_LAW * ratio(error_pa, pressure_pa)

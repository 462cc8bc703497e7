"""Student's t and Fisher's F without scipy, which weighs more than flowlog with all it needs.

Both come from the regularised incomplete beta function, here by its continued fraction (Lentz's
method; Abramowitz and Stegun 26.5.8, from memory). The tests hold the quantiles against the
published table of JCGM 100:2008 G.2 and, where it is installed, against scipy.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Final

_TERMS: Final = 400
_TINY: Final = 1e-300
_CLOSE: Final = 1e-12


def incomplete_beta(a: float, b: float, x: float) -> float:
    """The regularised incomplete beta function I_x(a, b), for a, b > 0 and 0 <= x <= 1."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    if x > (a + 1.0) / (a + b + 2.0):  # the fraction converges fast on the other side only
        return 1.0 - incomplete_beta(b, a, 1.0 - x)
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )
    return front * _fraction(a, b, x) / a


def _fraction(a: float, b: float, x: float) -> float:
    c, d = 1.0, 1.0 / _away_from_zero(1.0 - (a + b) * x / (a + 1.0))
    value = d
    for m in range(1, _TERMS):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 / _away_from_zero(1.0 + term * d)
            c = _away_from_zero(1.0 + term / c)
            value *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return value


def _away_from_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY


def t_tails(t: float, dof: float) -> float:
    """Probability that |T| exceeds `t` (t >= 0) with `dof` degrees of freedom, inf allowed."""
    if math.isinf(dof):
        return math.erfc(t / math.sqrt(2.0))
    return incomplete_beta(0.5 * dof, 0.5, dof / (dof + t * t))


def t_coverage(level: float, dof: float) -> float:
    """The factor k for which |T| <= k with probability `level`; `dof` > 0, inf allowed."""
    if not 0.0 < level < 1.0 or not dof > 0.0:
        raise ValueError(f"no coverage factor for level {level} and {dof} degrees of freedom")
    if math.isinf(dof):
        return NormalDist().inv_cdf(0.5 + 0.5 * level)
    low, high = 0.0, 2.0
    while t_tails(high, dof) > 1.0 - level:
        high *= 2.0
    while high - low > _CLOSE * high:
        middle = 0.5 * (low + high)
        if t_tails(middle, dof) > 1.0 - level:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def f_tail(f: float, above: float, below: float) -> float:
    """Probability that F exceeds `f`, degrees of freedom of numerator and denominator."""
    if f <= 0.0:
        return 1.0
    return incomplete_beta(0.5 * below, 0.5 * above, below / (below + above * f))

"""How fast a detector can be at a given rate of false alarms.

Two bounds. The asymptotic one (Lorden 1971, Moustakides 1986; from memory) is the mean delay that
no detector beats in the worst case, for white noise and long delays. The other is exact for
Gaussian noise that is known in full and a shift that comes at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_NORMAL = NormalDist()


def information(shift: float, density_s: float) -> float:
    """Nats a second that a shift of the mean brings against noise of this density (s, two-sided).

    I = shift^2 / (2 S(0)).
    """
    return shift * shift / (2.0 * density_s)


def asymptotic_s(shift: float, density_s: float, gamma_s: float) -> float:
    """ln(gamma I) / I, with `gamma_s` the mean time between false alarms."""
    nats_s = information(shift, density_s)
    return log(gamma_s * nats_s) / nats_s


@dataclass(frozen=True, slots=True)
class Autoregression:
    """A model of the residual's noise at the sample rate."""

    weights: Floats
    """Of the samples before, the newest first."""
    innovation: float
    """Standard deviation of what they do not foretell."""

    def density_s(self, step_s: float) -> float:
        """Noise density at frequency zero."""
        return float(self.innovation**2 * step_s / (1.0 - self.weights.sum()) ** 2)


def autocovariance(pieces: list[Floats], order: int) -> Floats:
    """Autocovariance at lags 0 to `order` over unbroken pieces of a signal with mean zero."""
    sums, counts = np.zeros(order + 1), np.zeros(order + 1)
    for piece in pieces:
        for lag in range(min(order, len(piece) - 1) + 1):
            sums[lag] += piece[: len(piece) - lag] @ piece[lag:]
            counts[lag] += len(piece) - lag
    return sums / np.maximum(counts, 1.0)


def yule_walker(covariance: Floats) -> Autoregression:
    """The autoregression that has this autocovariance."""
    order = len(covariance) - 1
    lags = np.abs(np.arange(order)[:, np.newaxis] - np.arange(order))
    weights = np.linalg.solve(covariance[lags], covariance[1:])
    return Autoregression(weights, float((covariance[0] - weights @ covariance[1:]) ** 0.5))


def lagged_step(count: int, lag_s: float, step_s: float) -> Floats:
    """A unit step behind the meter's first-order lag, as means over the samples after it."""
    keep = np.exp(-step_s / lag_s)
    begin = 1.0 - keep ** np.arange(count)
    return np.asarray(1.0 + (begin - 1.0) * (1.0 - keep) * lag_s / step_s)


def exact_s(
    shift: float,
    noise: Autoregression,
    gamma_s: float,
    share: float,
    *,
    step_s: float = 0.1,
    lag_s: float = 0.2,
    longest_s: float = 400.0,
) -> float:
    """Time in which not more than `share` of the shifts can be found; infinite if not in time.

    If the mean time between false alarms is gamma, then for some onset the chance of an alarm
    within m samples without a shift is at most m / gamma (Lai 1998; from memory). By Neyman and
    Pearson the chance with a shift is then at most Phi(sqrt(D) - z(1 - m / gamma)), with D the sum
    of squares of the whitened shift over its innovation.
    """
    count = round(longest_s / step_s)
    seen = shift * lagged_step(count, lag_s, step_s)
    whitened = seen - np.convolve(seen, np.concatenate(([0.0], noise.weights)))[:count]
    found = np.cumsum((whitened / noise.innovation) ** 2)
    gamma = gamma_s / step_s
    for m in range(1, count + 1):
        chance = _NORMAL.cdf(found[m - 1] ** 0.5 - _NORMAL.inv_cdf(1.0 - m / gamma))
        if chance >= share:
            return m * step_s
    return float("inf")

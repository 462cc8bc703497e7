"""Noise that remembers: an autoregression fitted to a stretch of samples, and its whitening."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ORDER: Final = 6
"""Samples that foretell the next: at ten a second more than half a second, in which a pump's stroke
that was aliased by the sampling repeats itself, and enough for swirl of any slowness."""
_LEAST_ROWS: Final = 60
"""Ten for each coefficient; fewer give a noise that is too small."""


@dataclass(frozen=True, slots=True, eq=False)
class Autoregression:
    """x[t] = sum of weights[i] x[t-1-i] + news, about a mean."""

    mean: float
    mean_variance: float
    """How well the mean is known."""
    weights: Floats
    """Shape (ORDER,)."""
    variance: float
    """Of the news."""

    @property
    def rest(self) -> float:
        """What a lasting shift by one leaves in the news."""
        return max(1.0 - float(self.weights.sum()), 0.01)

    def whiten(self, values: Floats) -> Floats:
        """News of series in rows, shape (..., n) to (..., n - ORDER), the mean left in."""
        n = values.shape[-1]
        news = values[..., ORDER:].copy()
        for i, weight in enumerate(self.weights.tolist(), 1):
            news -= weight * values[..., ORDER - i : n - i]
        return news


def runs_of(usable: NDArray[np.bool_]) -> NDArray[np.int64]:
    """How many usable elements in a row end at each, itself included, shape (n,)."""
    place = np.arange(len(usable))
    broken = np.maximum.accumulate(np.where(usable, -1, place))
    return place - broken


def fit(
    values: Floats, usable: NDArray[np.bool_], *, about: float | None = None
) -> Autoregression | None:
    """Least squares over all places whose `ORDER` predecessors are usable, too.

    Args:
        values: Shape (n,).
        usable: Shape (n,); what is not is left out and breaks the series.
        about: The mean, where it is known from elsewhere; else it is fitted.

    Returns:
        None where there is too little to fit.
    """
    at = np.flatnonzero(runs_of(usable) > ORDER)
    if len(at) < _LEAST_ROWS:
        return None
    mean = float(values[usable].mean()) if about is None else about
    x = values - mean
    past = np.stack([x[at - i] for i in range(1, ORDER + 1)])
    now = x[at]
    # Sums, not a matrix library: the same to the last bit whatever it was built with.
    products = (past[:, None, :] * past[None, :, :]).sum(axis=2)
    target = (past * now).sum(axis=1)
    ridge = 1e-6 * float(products[0, 0]) + 1e-30
    weights = _solve(products + ridge * np.eye(ORDER), target)
    left = now - (past * weights[:, None]).sum(axis=0)
    variance = float((left * left).sum()) / (len(at) - ORDER)
    model = Autoregression(mean, 0.0, weights, max(variance, 1e-12))
    if about is not None:
        return model
    doubt = model.variance / model.rest**2 / len(at)
    return Autoregression(mean, doubt, weights, model.variance)


def _solve(matrix: Floats, right: Floats) -> Floats:
    """A small positive definite system, by elimination."""
    a, b = matrix.copy(), right.copy()
    n = len(b)
    for i in range(n):
        factor = a[i + 1 :, i] / a[i, i]
        a[i + 1 :] -= factor[:, None] * a[i]
        b[i + 1 :] -= factor * b[i]
    for i in range(n - 1, -1, -1):
        b[i] = (b[i] - (a[i, i + 1 :] * b[i + 1 :]).sum()) / a[i, i]
    return b

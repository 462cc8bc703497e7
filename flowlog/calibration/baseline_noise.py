"""The noise of flow over pressure in a run, as the detector needs it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Steps: TypeAlias = NDArray[np.int64]

_BLOCK_S: Final = 5.0
PRIOR_DENSITY_S: Final = 4e-4
"""Twice 1 % squared times 2 s: noise of this class of rig, common practice, no source."""
_PRIOR_DOF: Final = 5.0
_LEAST: Final = 0.1
_LOST: Final = 3
"""Blocks that the unknown level of a step costs the estimate, see `noise_of`."""


@dataclass(frozen=True, slots=True)
class Noise:
    """Of ln(Q / P^n), as a first-order process."""

    density_s: float
    """At frequency zero: the variance of a mean over T seconds is density / T."""
    sigma: float
    """Standard deviation of one second's mean."""
    correlation_s: float
    """density / (2 sigma^2): the time over which the noise forgets; 0 without noise."""
    dof: float
    """Degrees of freedom of the density."""


def noise_of(
    residual: Floats, step: Steps, tick_s: float, prior_density_s: float = PRIOR_DENSITY_S
) -> Noise:
    """Noise of a residual that may have another level at each step.

    The density is block length * (variance of the blocks' means + twice their covariance with
    the next block), which is unbiased to 3 % for correlation times of up to 2 s. Taking off each
    step's own mean of n blocks lowers the sum by 3 densities in n. A prior worth a few blocks
    keeps a short run from looking quiet by chance.

    Args:
        residual: ln(Q / P^n), shape (n,), in the order of time within each step.
        step: which step each belongs to.
        tick_s: length of a tick.
        prior_density_s: what is known of such noise before; of ln(Q / P^n) unless told otherwise.
    """
    block = max(round(_BLOCK_S / tick_s), 1)
    whole_s = block * tick_s
    squares = crossed = variance = 0.0
    blocks = free = 0
    for number in np.unique(step).tolist():
        own = residual[step == number]
        variance += float(np.sum((own - own.mean()) ** 2))
        free += len(own) - 1
        count = len(own) // block
        if count <= _LOST:
            continue
        means = own[: count * block].reshape(count, block).mean(axis=1)
        off = means - means.mean()
        squares += float(np.sum(off**2))
        crossed += 2.0 * float(np.sum(off[1:] * off[:-1])) * count / (count - 1)
        blocks += count - _LOST
    sigma = math.sqrt(variance / free) if free > 0 else 0.0
    seen = whole_s * (squares + crossed) / blocks if blocks else 0.0
    # Variance and one covariance have three times the scatter of the variance alone.
    dof = blocks / 3.0
    density = (dof * seen + _PRIOR_DOF * prior_density_s) / (dof + _PRIOR_DOF)
    # A few blocks may swing against one another by chance and make `seen` small or negative.
    density = max(density, _LEAST * prior_density_s)
    correlation = density / (2.0 * sigma**2) if sigma > 0.0 else 0.0
    return Noise(density, sigma, correlation, dof + _PRIOR_DOF)

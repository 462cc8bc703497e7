"""Levels of a quantity over sprayings with and without a capped tip, and their difference.

Means of sprayings differ by the tip, by the noise of each mean, and by what the quantity wanders
in the minutes between them. The wander is taken as a random walk: the difference that generalised
least squares then gives is, for three sprayings, the middle one less the mean of its neighbours.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from flowlog.calibration.baseline_noise import Floats


@dataclass(frozen=True, slots=True)
class Difference:
    """Capped less all tips."""

    value: float
    noise_u: float
    """Standard uncertainty by the noise of the means."""
    noise_dof: float
    wander_u: float
    """By the wander between the sprayings."""
    wander_dof: float
    worst: float
    """Largest step between neighbours of one kind, over its standard deviation."""


@dataclass(frozen=True, slots=True)
class Believed:
    """What is known of noise and wander before the sprayings are compared."""

    density_s: float
    """The variance of a mean over T seconds is density / T."""
    density_dof: float
    walk_s: float = 0.0
    """Variance that the wander gathers in a second."""
    walk_dof: float = math.inf


def difference(
    levels: Sequence[float],
    capped: Sequence[bool],
    at_s: Sequence[float],
    seconds: Sequence[float],
    believed: Believed,
) -> Difference:
    """The difference by generalised least squares.

    What the sprayings leave beside the fit is evidence of how much there is of the noise (where
    nothing wanders) or of the wander (where it does), pooled with what was believed.

    Args:
        levels: mean of each spraying, shape (n,), n at least 3, both kinds among them.
        capped: which have the tip capped.
        at_s: middle of each, rising.
        seconds: length of each.
    """
    y = np.asarray(levels, np.float64)
    noise, walk = believed.density_s, believed.walk_s
    row, rest, inverse = _fit(y, capped, at_s, seconds, noise, walk)
    left = len(y) - 2
    squares = float(rest @ inverse @ rest)
    noise_dof, walk_dof = believed.density_dof, believed.walk_dof
    if walk > 0.0:
        walk *= (walk_dof + squares) / (walk_dof + left)
        walk_dof += left
        row, rest, _ = _fit(y, capped, at_s, seconds, noise, walk)
    else:
        noise *= (noise_dof + squares) / (noise_dof + left)
        noise_dof += left
    means, between = _parts(at_s, seconds)
    return Difference(
        value=float(row @ y),
        noise_u=math.sqrt(noise * float(row @ means @ row)),
        noise_dof=noise_dof,
        wander_u=math.sqrt(max(walk * float(row @ between @ row), 0.0)),
        wander_dof=walk_dof,
        worst=_worst(y, capped, at_s, seconds, believed),
    )


def expected_u(
    capped: Sequence[bool], at_s: Sequence[float], seconds: Sequence[float],
    density_s: float, walk_s: float,
) -> float:  # fmt: skip
    """Standard uncertainty that sprayings like these would give."""
    row, _, _ = _fit(np.zeros(len(capped)), capped, at_s, seconds, density_s, walk_s)
    means, between = _parts(at_s, seconds)
    return math.sqrt(float(row @ (density_s * means + walk_s * between) @ row))


def _parts(at_s: Sequence[float], seconds: Sequence[float]) -> tuple[Floats, Floats]:
    """Covariances for a density of one, and for a walk of one that begins at the first."""
    since = np.asarray(at_s, np.float64) - at_s[0]
    return np.diag(1.0 / np.asarray(seconds, np.float64)), np.minimum.outer(since, since)


def _fit(
    y: Floats, capped: Sequence[bool], at_s: Sequence[float], seconds: Sequence[float],
    density_s: float, walk_s: float,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Weights that give the difference, what the fit leaves, and the inverse covariance."""
    means, between = _parts(at_s, seconds)
    inverse: Floats = np.asarray(np.linalg.inv(density_s * means + walk_s * between), np.float64)
    design = np.column_stack([np.ones(len(y)), np.asarray(capped, np.float64)])
    weights = np.linalg.solve(design.T @ inverse @ design, design.T @ inverse)
    return weights[1], y - design @ (weights @ y), inverse


def _worst(
    y: Floats, capped: Sequence[bool], at_s: Sequence[float], seconds: Sequence[float],
    believed: Believed,
) -> float:  # fmt: skip
    worst = 0.0
    for kind in (False, True):
        own = [i for i, one in enumerate(capped) if one is kind]
        for a, b in pairwise(own):
            variance = believed.density_s * (1.0 / seconds[a] + 1.0 / seconds[b])
            variance += believed.walk_s * (at_s[b] - at_s[a])
            worst = max(worst, abs(float(y[b] - y[a])) / math.sqrt(variance))
    return worst

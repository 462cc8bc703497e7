"""A shift that creeps in: when it began, when it ended or whether it has not, and where it ends.

It is taken for a straight line between two moments. Each pair of them is weighed by the residual,
whitened from sample to sample, with the size that fits it best and that size's own doubt; what is
not known about the end becomes doubt of the size. A line that goes on beyond the last sample may
end anywhere: then the size is open to one side.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CREPT_S: Final = 0.5
"""What took less than a tick came at once."""
LONGEST_S: Final = 15.0
"""A foreign body or a strainer's meal closes a tip within this (common practice, no source). Of a
shift that takes longer only what there is so far is said truly."""
SHARE: Final = 0.4
"""How likely creeping is beforehand; spread evenly over the logarithm of the time that it takes."""
_KNOT_S: Final = 0.1
_KNOTS: Final = 120
"""Moments are tried every tenth of a second, a sample, or so many in all where that is fewer."""
_MARGIN_S: Final = 1.0
"""What the first, coarse look left over is searched again, and so much on either side."""
_NODES: Final = tuple(NormalDist().inv_cdf((i + 0.5) / 40.0) for i in range(40))
"""A normal variable as forty equally likely values; the outermost lie beyond the 95 %."""
_WORTH: Final = 1e-5
"""Hypotheses of less weight than this, against the heaviest, are left out."""


@dataclass(frozen=True, slots=True)
class Creep:
    """A shift of the log conductance that took some time to come; times before the last sample."""

    ago_s: float
    earliest_s: float
    latest_s: float
    """Its beginning: mean and 95 %, `earliest_s` being the larger."""
    over_s: float
    """How long it takes; the mean of what is likely."""
    so_far: float
    so_far_sd: float
    """What there is by the last sample."""
    near: float
    middle: float
    far: float
    """The whole of it: median and 95 % of what is likely; `far` lies farther from nought."""
    coming: float
    """Probability that it has not ended."""


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Hypotheses of a shift that came at once, each array of shape (k,)."""

    at_s: Floats
    log_weight: Floats
    """Beforehand, as a density in 1/s times the interval that it stands for."""
    along: Floats
    power: Floats
    """Products of the whitened unit step with what was seen, and with itself."""


def trace(
    seen: Floats,
    variance: float,
    hinge: Callable[[Floats], Floats],
    steps: Steps,
    span_s: tuple[float, float],
    sign: float,
) -> Creep | None:
    """Weigh all beginnings and ends.

    Args:
        seen: Whitened residuals, shape (n,), the last at 0 s.
        variance: Of their noise.
        hinge: Whitened lines of slope one that begin at moments (k,); shape (k, n).
        steps: What came at once.
        span_s: Earliest and latest beginning that is worth a try.
        sign: Of the shift.

    Returns:
        None if nothing of this sign fits.
    """
    first, last = span_s[0] - _MARGIN_S, min(span_s[1] + _MARGIN_S, -_KNOT_S)
    until = min(0.0, last + LONGEST_S)
    knot_s = max(_KNOT_S, (until - first) / _KNOTS)
    knots = np.arange(first, until + 0.5 * knot_s, knot_s)
    begins = int(np.searchsorted(knots, last, side="right"))
    lines = hinge(knots)
    along = (lines * seen).sum(axis=1)
    # Row by row, since all products at once would be large.
    products = np.stack([(lines[i] * lines).sum(axis=1) for i in range(begins)])
    square = (lines * lines).sum(axis=1)

    over = knots[None, :] - knots[:begins, None]
    ended = (over >= CREPT_S - 1e-9) & (over <= LONGEST_S)
    i, j = np.nonzero(ended)
    took = over[i, j]
    at = [steps.at_s, knots[i]]
    overs = [np.zeros(len(steps.at_s)), took]
    alongs = [steps.along, (along[i] - along[j]) / took]
    powers = [steps.power, (square[i] - 2.0 * products[i, j] + square[j]) / took**2]
    beforehand = np.log(SHARE * knot_s**2 / np.log(LONGEST_S / CREPT_S))
    weights = [steps.log_weight, beforehand - np.log(took)]
    # What has not ended looks the same wherever it will: only its slope is seen.
    later = np.arange(knots[-1] + knot_s, LONGEST_S, knot_s)
    over = later[None, :] - knots[:begins, None]
    i, j = np.nonzero((over >= CREPT_S) & (over <= LONGEST_S))
    took = over[i, j]
    at.append(knots[i])
    overs.append(took)
    alongs.append(along[i] / took)
    powers.append(square[i] / took**2)
    weights.append(beforehand - np.log(took))
    return _sum_up(
        np.concatenate(at),
        np.concatenate(overs),
        np.concatenate(alongs),
        np.concatenate(powers),
        np.concatenate(weights),
        variance,
        sign,
    )


def _sum_up(
    at_s: Floats,
    over_s: Floats,
    along: Floats,
    power: Floats,
    log_weight: Floats,
    variance: float,
    sign: float,
) -> Creep | None:
    """From hypotheses to what is likely."""
    fits = (power > 0.0) & (along * sign > 0.0)
    if not fits.any():
        return None
    at_s, over_s, log_weight = at_s[fits], over_s[fits], log_weight[fits]
    along, power = along[fits], power[fits]
    size, sd = along / power, np.sqrt(variance / power)
    # Any order of magnitude of the size is as likely as another beforehand.
    nats = log_weight + 0.5 * along * along / power / variance + np.log(sd / np.abs(size))
    weight = np.exp(nats - nats.max())
    kept = weight > _WORTH
    at_s, over_s, size, sd, weight = (x[kept] for x in (at_s, over_s, size, sd, weight))
    weight = weight / weight.sum()
    share = np.where(at_s + over_s > 0.0, -at_s / np.maximum(over_s, CREPT_S), 1.0)
    so_far, so_far_sd = share * size, share * sd
    there = float((weight * so_far).sum())
    spread = float((weight * ((so_far - there) ** 2 + so_far_sd**2)).sum())
    sizes = (np.abs(size)[:, None] + sd[:, None] * np.array(_NODES)).ravel()
    near, middle, far = _quantiles(sizes, np.repeat(weight, len(_NODES)), (0.025, 0.5, 0.975))
    early, late = _quantiles(at_s, weight, (0.025, 0.975))
    return Creep(
        ago_s=-float((weight * at_s).sum()),
        earliest_s=-early,
        latest_s=-late,
        over_s=float((weight * over_s).sum()),
        so_far=there,
        so_far_sd=spread**0.5,
        near=sign * near,
        middle=sign * middle,
        far=sign * far,
        coming=float(weight[at_s + over_s > 0.0].sum()),
    )


def _quantiles(values: Floats, weight: Floats, shares: tuple[float, ...]) -> list[float]:
    order = np.argsort(values, kind="stable")
    summed = np.cumsum(weight[order])
    at = np.searchsorted(summed, np.array(shares) * summed[-1])
    return [float(values[order][min(k, len(values) - 1)]) for k in at.tolist()]

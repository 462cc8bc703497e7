"""Noise as the boom's residual has it: correlated over two seconds."""

from __future__ import annotations

import numpy as np


def wander(seconds: float, seed: int, density_s: float) -> np.ndarray:
    """One value each half second, with this density at zero frequency (s)."""
    rng = np.random.default_rng(seed)
    decay = np.exp(-0.5 / 2.0)
    sigma = np.sqrt(density_s / 4.0)
    out = np.empty(round(seconds * 2))
    now = rng.normal(0, sigma)
    for i, kick in enumerate(rng.normal(0, sigma * np.sqrt(1 - decay**2), len(out))):
        now = decay * now + kick
        out[i] = now
    return out

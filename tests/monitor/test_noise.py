"""How much the residual moves while nothing is wrong."""

from __future__ import annotations

from math import log

import numpy as np
import pytest

from flowlog.monitor.noise import NOISE_DENSITY_S, NoiseLevel


def wander(seconds: float, seed: int, density_s: float) -> np.ndarray:
    rng = np.random.default_rng(seed)
    decay = np.exp(-0.5 / 2.0)
    sigma = np.sqrt(density_s / 4.0)
    out = np.empty(round(seconds * 2))
    now = rng.normal(0, sigma)
    for i, kick in enumerate(rng.normal(0, sigma * np.sqrt(1 - decay**2), len(out))):
        now = decay * now + kick
        out[i] = now
    return out


@pytest.mark.parametrize("density", [4e-4, 1.6e-3, 3.6e-3])
def test_noise_is_measured_within_a_factor_of_two(density):
    found = []
    for seed in range(20):
        noise = NoiseLevel()
        for value in wander(400.0, seed, density):
            noise.add(float(value), 0.5)
        found.append(noise.density_s)
    assert 0.6 * density < np.median(found) < 1.5 * density
    assert max(found) < 4.0 * density


def test_the_step_of_a_fault_does_not_raise_the_noise_while_it_is_looked_for():
    noise = NoiseLevel()
    values = wander(300.0, 3, NOISE_DENSITY_S)
    for value in values:
        noise.add(float(value), 0.5)
    before = noise.density_s
    for value in values[:16]:
        noise.add(float(value) + log(0.5), 0.5)
    assert noise.density_s < 1.3 * before


def test_a_rough_start_is_expected_to_go_on_rough():
    """Three times the spread is nine times the density; 20 s tell it roughly."""
    found = []
    for seed in range(30):
        noise = NoiseLevel()
        noise.expect([float(v) for v in wander(20.0, seed, 9 * NOISE_DENSITY_S)])
        found.append(noise.density_s / NOISE_DENSITY_S)
    assert 5 < np.median(found) < 13
    calm = NoiseLevel()
    calm.expect([0.0] * 40)
    assert calm.density_s == NOISE_DENSITY_S

"""The noise model of the close-up, against numpy's least squares and against processes made."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.monitor.autoregression import ORDER, fit, runs_of


def process(n: int, seed: int, keep: float = 0.9, spread: float = 1.0) -> np.ndarray:
    drive = np.random.default_rng(seed).normal(0.0, spread, n)
    out = np.empty(n)
    now = 0.0
    for i, kick in enumerate(drive.tolist()):
        now = keep * now + kick
        out[i] = now
    return out


def test_a_first_order_process_is_found_again():
    x = 5.0 + process(20_000, 1)
    model = fit(x, np.ones(len(x), bool))
    assert model.weights[0] == pytest.approx(0.9, abs=0.02)
    assert np.abs(model.weights[1:]).max() < 0.03
    assert model.variance == pytest.approx(1.0, rel=0.03)
    # The mean of a process that keeps 0.9 has the spread 1 / (1 - 0.9) / sqrt(n).
    assert model.mean_variance == pytest.approx(100.0 / len(x), rel=0.3)


def test_the_weights_are_those_of_least_squares():
    """Reference: numpy's own solver on the same lagged values."""
    x = process(400, 2)
    model = fit(x, np.ones(len(x), bool), about=0.0)
    past = np.stack([x[ORDER - i : len(x) - i] for i in range(1, ORDER + 1)], axis=1)
    expected, *_ = np.linalg.lstsq(past, x[ORDER:], rcond=None)
    assert model.weights == pytest.approx(expected, abs=1e-4)


def test_whitening_leaves_white_noise_of_the_stated_variance():
    x = process(5000, 3)
    model = fit(x, np.ones(len(x), bool))
    news = model.whiten(x - model.mean)
    assert np.var(news) == pytest.approx(model.variance, rel=0.02)
    neighbours = np.corrcoef(news[1:], news[:-1])[0, 1]
    assert abs(neighbours) < 0.03


def test_a_lasting_shift_leaves_the_stated_rest_in_the_news():
    x = process(2000, 4)
    model = fit(x, np.ones(len(x), bool))
    assert model.whiten(np.ones(50)) == pytest.approx(np.full(50 - ORDER, model.rest))


def test_breaks_are_not_joined():
    """Two halves a hundred apart: joined up, the jump would be the noise."""
    x = process(600, 5)
    x[300:] += 100.0
    usable = np.ones(600, bool)
    usable[300] = False
    halves = fit(np.where(np.arange(600) < 300, x, x - 100.0), usable)
    assert halves.variance < 2.0


@given(st.lists(st.booleans(), max_size=60))
def test_runs_count_usable_neighbours(flags):
    found = runs_of(np.array(flags, bool)).tolist()
    run, expected = 0, []
    for flag in flags:
        run = run + 1 if flag else 0
        expected.append(run)
    assert found == expected


@pytest.mark.parametrize("n", [0, 5, 60])
def test_too_little_gives_no_model(n):
    assert fit(np.zeros(n), np.ones(n, bool)) is None


def test_a_constant_series_gives_a_model_and_no_division_by_nothing():
    model = fit(np.full(200, 3.0), np.ones(200, bool))
    assert model.mean == 3.0
    assert np.isfinite(model.weights).all()
    assert model.variance > 0.0

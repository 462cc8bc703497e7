"""The filters and levels of noise."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.errors import FlowlogError
from flowlog.simulator.noise import (
    NOISES,
    autoregressive,
    first_order,
    generator,
    noise_called,
    smooth,
)


@given(
    drive=st.lists(st.floats(-1e3, 1e3), max_size=200),
    keep=st.floats(0, 0.999),
    start=st.floats(-10, 10),
)
def test_smooth_is_the_recursion(drive, keep, start):
    expected, y = [], start
    for x in drive:
        y = keep * y + x
        expected.append(y)
    found = smooth(np.array(drive, dtype=np.float64), keep, start)
    assert found == pytest.approx(np.array(expected), rel=1e-9, abs=1e-7)


def test_lag_follows_the_exponential_and_loses_nothing():
    step = np.ones(100)
    lagged = first_order(step, 2.0, 0.1, 0.0)
    # Mean of 1 - exp(-t/2) from 1.9 s to 2.0 s.
    mean = 1 - (np.exp(-0.95) - np.exp(-1.0)) * 2.0 / 0.1
    assert lagged[19] == pytest.approx(mean)
    pulse = np.concatenate((np.ones(10), np.zeros(500)))
    assert first_order(pulse, 2.0, 0.1, 0.0).sum() == pytest.approx(10.0)
    assert np.array_equal(first_order(step * 3, 0.0, 0.1, 0.0), step * 3)


@pytest.mark.parametrize("tau_s", [2.0, 600.0])
def test_autoregressive_has_the_promised_spread_and_memory(tau_s):
    # Many short runs for the slow process: one long run would hold few independent values.
    runs = np.array(
        [autoregressive(generator(seed, "x"), 2000, 0.01, tau_s, 0.1) for seed in range(400)]
    )
    assert runs[:, 0].std() == pytest.approx(0.01, rel=0.1)
    assert runs[:, -1].std() == pytest.approx(0.01, rel=0.1)
    lag = round(min(tau_s, 100.0) / 0.1)
    together = np.mean(runs[:, 0] * runs[:, lag]) / 0.01**2
    # Standard error of a product of unit normals over 400 runs is 0.05 to 0.07.
    assert together == pytest.approx(np.exp(-lag * 0.1 / tau_s), abs=0.2)


def test_purposes_have_streams_of_their_own():
    one, same, other, seed = (
        generator(s, p).random(4) for s, p in ((1, "a"), (1, "a"), (1, "b"), (2, "a"))
    )
    assert np.array_equal(one, same)
    assert not np.array_equal(one, other) and not np.array_equal(one, seed)


def test_levels_have_names_and_an_unknown_one_says_which():
    assert noise_called("field") == NOISES["field"]
    with pytest.raises(FlowlogError, match=r"'loud' is not a noise level.*quiet.*field"):
        noise_called("loud")

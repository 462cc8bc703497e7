"""Out of the limit and back: quickly when it is far, never at each swing."""

from __future__ import annotations

import numpy as np
import pytest

from flowlog.monitor.outputs import Position
from flowlog.monitor.rules.excursion import Excursion


def turns(beyond, margin=0.05, seconds=0.5):
    excursion, found = Excursion(margin), []
    for i, value in enumerate(beyond):
        at = Position(0, i, round(i * seconds * 1e6))
        turn = excursion.step(at, seconds, float(value))
        if turn:
            found.append((turn, (i + 1) * seconds, excursion.since))
    return found


def swings(mean: float, spread: float, minutes: float, seed: int) -> np.ndarray:
    """A value that wanders with a correlation time of two seconds."""
    rng = np.random.default_rng(seed)
    decay = np.exp(-0.25)
    out, now = np.empty(round(minutes * 120)), 0.0
    for i in range(len(out)):
        now = decay * now + rng.normal(0, spread * np.sqrt(1 - decay**2))
        out[i] = mean + now
    return out


def test_a_fall_of_a_fifth_is_said_within_five_seconds_and_back_within_fifteen():
    out = turns([-0.3] * 120 + [0.2] * 60 + [-0.3] * 60)
    assert [turn for turn, _, _ in out] == ["opened", "cleared"]
    assert 60.0 < out[0][1] <= 65.0
    assert 90.0 < out[1][1] <= 105.0


def test_the_onset_is_where_the_value_left_its_limit():
    (turn, _, since) = turns([-0.3] * 120 + [0.2] * 60)[0]
    assert turn == "opened"
    assert since.t_us == 60_000_000


@pytest.mark.parametrize("mean", [-0.03, -0.02, 0.0, 0.02])
def test_a_value_that_hovers_at_its_limit_does_not_flap(mean):
    """An hour at the limit, swinging by 2.5 %: at most three times out."""
    counts = [len(turns(swings(mean, 0.025, 60, seed))) for seed in range(5)]
    assert np.mean(counts) <= 6


def test_well_inside_nothing_is_said():
    assert turns(swings(-0.12, 0.025, 120, 1)) == []

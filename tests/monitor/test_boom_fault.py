"""A fault of the boom while it lasts."""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.monitor.noise import DECAY, NoiseLevel
from flowlog.monitor.rules.boom_fault import OpenFault, mean_since
from flowlog.monitor.rules.boom_sizes import smallest_shift

SPREAD = 0.01


def one_tip_of(tips: int, parts: float = 1.0) -> float:
    return log(1 - parts / tips)


def wander(n: int, seed: int) -> np.ndarray:
    out, now = np.empty(n), 0.0
    for i, kick in enumerate(np.random.default_rng(seed).normal(0, 1, n)):
        now = DECAY * now + SPREAD * (1 - DECAY**2) ** 0.5 * kick
        out[i] = now
    return out


def followed(fault: OpenFault, residuals) -> list[tuple[int, str]]:
    """What is said about the fault, and at which tick."""
    noise, turns = NoiseLevel(), []
    # The tick before has the fault's level, so that the first one brings no news of a step.
    noise.whiten(fault.level, 0.5, fault.level)
    for i, residual in enumerate(map(float, residuals)):
        tick = noise.whiten(residual, 0.5, fault.level)
        turn = fault.step(tick, residual, noise)
        if turn is None and noise.renew() and fault.has_faded(noise):
            turn = "gone"
        if turn is not None:
            turns.append((i, turn))
            if turn == "gone":
                break
    return turns


def opened(tips: int = 6, parts: float = 1.0, share: float = 0.25) -> OpenFault:
    level = one_tip_of(tips, parts)
    return OpenFault("tip_blocked", level, [level] * 4, tips, smallest_shift(tips, share))


def test_what_stays_is_measured_again_after_three_eight_and_twenty_five_seconds():
    assert followed(opened(), np.full(240, one_tip_of(6))) == [
        (5, "refined"),
        (15, "refined"),
        (49, "refined"),
    ]


def test_what_is_cleaned_is_gone_within_seconds_and_said_once():
    turns = followed(opened(), np.concatenate([np.full(60, one_tip_of(6)), np.zeros(60)]))
    (last, turn) = turns[-1]
    assert turn == "gone"
    assert 60 <= last <= 66
    assert [turn for _, turn in turns].count("gone") == 1


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("tips", [4, 6, 12])
def test_what_creeps_back_to_health_is_gone_in_the_end(tips, seed):
    """A tip that rinses itself clean over a minute."""
    level = one_tip_of(tips)
    back = np.concatenate([np.full(60, level), np.linspace(level, 0.0, 120), np.zeros(400)])
    turns = followed(opened(tips), back + wander(len(back), seed))
    assert turns[-1][1] == "gone"


def test_a_second_tip_is_growth_and_the_fault_has_its_new_level():
    fault = opened()
    residuals = np.concatenate([np.full(60, one_tip_of(6)), np.full(8, one_tip_of(6, 2))])
    turns = [turn for turn in followed(fault, residuals) if turn[0] >= 60]
    assert turns[0][1] == "grew"
    assert turns[0][0] <= 66
    assert fault.level == pytest.approx(one_tip_of(6, 2), abs=0.02)
    assert fault.age <= 4


def test_a_tip_that_comes_half_clean_shrinks_and_stays_the_same_fault():
    fault = opened(6, 2)
    residuals = np.concatenate([np.full(60, one_tip_of(6, 2)), np.full(40, one_tip_of(6))])
    turns = followed(fault, residuals)
    assert "gone" not in [turn for _, turn in turns]
    assert "grew" in [turn for i, turn in turns if i >= 60]
    assert fault.level == pytest.approx(one_tip_of(6), abs=0.02)


@pytest.mark.parametrize("seed", range(10))
def test_noise_alone_neither_grows_nor_clears_a_fault(seed):
    """Ten minutes of one tip of six."""
    residuals = one_tip_of(6) + wander(1200, seed)
    turns = [turn for _, turn in followed(opened(), residuals)]
    assert set(turns) <= {"refined"}


def test_a_fault_is_not_measured_while_a_change_is_under_suspicion():
    """The newest ticks already lie two tips down: the mean of both would be wrong."""
    fault = opened(12)
    level = one_tip_of(12)
    turns = followed(fault, [level] * 4 + [level - 0.04] * 2)
    assert fault.suspicion > 3.0
    assert turns == []


def test_a_fault_makes_no_pass_look_rough():
    """Its lasting shift is no noise: else the test for the way back would be dulled."""
    noise = NoiseLevel()
    for value in wander(600, 1):
        noise.whiten(value, 0.5, 0.0)
    level = one_tip_of(4)
    for value in level + wander(4, 2):
        noise.whiten(value, 0.5, 0.0)
    # Found, opened.
    noise.stepped()
    rough = []
    for value in level + wander(100, 3):
        noise.whiten(value, 0.5, level)
        rough.append(noise.roughness)
    assert max(rough) < 3.0


def test_of_a_leak_as_of_a_tip_a_change_of_half_of_it_is_growth():
    leak = OpenFault("boom_leak", 0.2, [0.2] * 4, 6, smallest_shift(6, 0.25))
    turns = followed(leak, np.concatenate([np.full(20, 0.2), np.full(12, 0.31)]))
    assert "grew" in [turn for i, turn in turns if i >= 20]
    assert leak.level == pytest.approx(0.31, abs=0.02)


def test_a_fault_has_shrunk_when_it_is_beyond_doubt_smaller_than_what_is_looked_for():
    fault = opened(6)
    smallest = smallest_shift(6, 0.25)
    assert fault.has_shrunk(-0.5 * smallest, 0.2 * smallest)
    assert not fault.has_shrunk(-0.5 * smallest, 0.3 * smallest)
    assert not fault.has_shrunk(-1.0 * smallest, 0.01 * smallest)


def test_the_smallest_shift_is_the_wanted_part_of_one_tip():
    assert smallest_shift(6, 0.25) == pytest.approx(-log(1 - 0.25 / 6))
    assert smallest_shift(1, 1.0) == pytest.approx(-log(0.1))


def test_the_mean_since_an_onset_leaves_out_the_ticks_in_which_the_meter_follows():
    level, _ = mean_since([-0.05, -0.15, -0.2, -0.2, -0.2], NoiseLevel())
    assert level == pytest.approx(-0.2)


def test_a_fault_that_crept_in_is_measured_by_its_newer_part():
    creep = np.concatenate([np.linspace(0.0, -0.3, 40), np.full(20, -0.3)])
    level, sd = mean_since(list(creep), NoiseLevel())
    assert level == pytest.approx(-0.3, abs=0.02)
    assert sd > mean_since([-0.3] * 60, NoiseLevel())[1]


def test_the_mean_of_more_ticks_is_surer_and_holds_its_interval():
    noise = NoiseLevel()
    beyond = 0
    sds = [mean_since([-0.2] * n, noise)[1] for n in (4, 10, 40)]
    assert sds == sorted(sds, reverse=True)
    for seed in range(300):
        level, sd = mean_since(list(-0.2 + wander(40, seed)), noise)
        beyond += abs(level + 0.2) > 1.96 * sd
    assert 0.01 * 300 < beyond < 0.10 * 300


@given(
    st.lists(
        st.tuples(st.sampled_from([1.0, 1.0, 1.0, 0.0, 0.5, 2.0]), st.integers(1, 50)),
        min_size=1,
        max_size=6,
    ),
    st.integers(0, 99),
)
def test_a_fault_that_looks_at_many_ticks_stands_where_each_would_bring_it(pieces, seed):
    many, single = opened(), opened()
    many_noise, single_noise = NoiseLevel(), NoiseLevel()
    for noise in (many_noise, single_noise):
        noise.whiten(many.level, 0.5, many.level)
    for parts, count in pieces:
        left = [one_tip_of(6, parts) + value for value in 0.3 * wander(count, seed)]
        while left:
            size = min(many.room, many_noise.room)
            values, left = left[:size], left[size:]
            turns = []
            for value in values:
                tick = single_noise.whiten(value, 0.5, single.level)
                turns.append(single.step(tick, value, single_noise))
                single_noise.renew()
            ticks, _usual = many_noise.look(values, [0.5] * len(values), many.level)
            if many.look(ticks):
                assert turns[:-1] == [None] * (len(turns) - 1)
                many_noise.go_on()
                many.go_on(values)
                assert many.due() == turns[-1]
            else:
                for value in values:
                    tick = many_noise.whiten(value, 0.5, many.level)
                    many.step(tick, value, many_noise)
            many_noise.renew()
            assert (many.level, many.age, many.onsets) == (single.level, single.age, single.onsets)
            assert (many.suspicion, many.residuals) == (single.suspicion, single.residuals)
            assert many.has_faded(many_noise) == single.has_faded(single_noise)

"""How the pressure answers the boom: its step at an onset, and what it confirms."""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.monitor.noise import DECAY
from flowlog.monitor.supply import ANSWERS, UNKNOWN, PressureAnswer, SupplyPoint, answers_of
from flowlog.rig.model import SupplyAnswer

SPREAD = 0.013
"""Of log pressure: turbulence at a small pump's gauge."""
ONE_OF_SIX = log(5 / 6)


def swirl(n: int, seed: int, spread: float = SPREAD) -> np.ndarray:
    """Log pressure about its level: a first-order autoregression over two seconds."""
    out, now = np.empty(n), 0.0
    for i, kick in enumerate(np.random.default_rng(seed).normal(0, 1, n)):
        now = DECAY * now + spread * (1 - DECAY**2) ** 0.5 * kick
        out[i] = now
    return out


def watched(values, breaks=()) -> SupplyPoint:
    point = SupplyPoint()
    for i, value in enumerate(values):
        if i in breaks:
            point.restart()
        point.step(12.5 + float(value))
    return point


def test_the_step_since_an_onset_is_measured():
    values = np.concatenate([np.zeros(60), [0.01], np.full(20, 0.04)])
    answer = watched(values).answer(21)
    assert answer.moved == pytest.approx(0.04, abs=1e-9)


def test_the_step_holds_its_interval_in_correlated_noise():
    """Of 400 steps nearly all lie within two and a half standard uncertainties, most within one."""
    beyond = []
    for seed in range(400):
        values = swirl(170, seed)
        values[150:] += 0.04
        answer = watched(values).answer(20)
        beyond.append(abs(answer.moved - 0.04) / answer.sd)
    assert np.mean(np.array(beyond) < 1.0) > 0.55
    assert np.mean(np.array(beyond) < 2.5) > 0.97


def test_a_longer_time_since_the_onset_makes_the_step_surer():
    sds = [watched(swirl(200, 1)).answer(ago).sd for ago in (3, 10, 40, 100)]
    assert sds == sorted(sds, reverse=True)


def test_a_rough_pressure_makes_the_step_less_sure():
    calm, rough = (watched(swirl(400, 1, spread)).answer(20).sd for spread in (0.01, 0.04))
    assert rough > 2.0 * calm


def test_a_break_in_between_does_not_bend_the_step():
    """The boom was shut between two ticks: the second one does not follow the first."""
    values = np.concatenate([np.zeros(60), np.full(20, 0.04)])
    answer = watched(values, breaks=(70,)).answer(20)
    assert answer.moved == pytest.approx(0.04, abs=1e-9)


@pytest.mark.parametrize("ago", [0, 1])
def test_an_onset_that_is_a_tick_old_has_no_answer_yet(ago):
    assert watched(np.zeros(60)).answer(ago) is None


def test_an_onset_without_enough_before_it_has_no_answer():
    assert watched(np.zeros(12)).answer(5) is None
    assert watched(np.zeros(13)).answer(5) is not None
    assert watched(np.zeros(13)).answer(100) is None


@pytest.mark.parametrize("share", [0.15, 0.4, 1.0])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_a_pressure_that_moved_against_the_boom_confirms_its_shift(share, sign):
    shift = sign * abs(ONE_OF_SIX)
    values = np.concatenate([swirl(1500, 2, 0.003), np.full(4, -share * shift)])
    assert watched(values).confirms(shift, 2.0)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_a_pressure_that_moved_with_the_boom_confirms_nothing(sign):
    """Regulator or pump: flow and pressure go the same way."""
    shift = sign * abs(ONE_OF_SIX)
    values = np.concatenate([swirl(1500, 2, 0.003), np.full(4, 0.4 * shift)])
    assert not watched(values).confirms(shift, 2.0)


def test_a_pressure_that_stayed_hardly_ever_confirms_a_shift():
    """A burst of air moves the meter alone: by chance in less than one of 200."""
    found = [watched(swirl(170, seed)).confirms(ONE_OF_SIX, 1.0) for seed in range(400)]
    assert sum(found) < 2


def test_nothing_is_confirmed_before_anything_is_known():
    assert not SupplyPoint().confirms(ONE_OF_SIX, 1.0)


@given(st.lists(st.floats(-0.5, 0.5), min_size=1, max_size=200), st.integers(0, 220))
def test_an_answer_is_finite_whatever_came(values, ago):
    answer = watched(values).answer(ago)
    assert answer is None or (np.isfinite(answer.moved) and 0.0 < answer.sd < np.inf)


@given(st.floats(-0.4, 0.4), st.floats(-2.0, 2.0))
def test_a_constant_offset_of_the_pressure_changes_no_answer(step, offset):
    values = np.concatenate([swirl(80, 3), swirl(12, 4) + step])
    here, there = watched(values).answer(12), watched(values + offset).answer(12)
    assert there.moved == pytest.approx(here.moved, abs=1e-9)
    assert there.sd == pytest.approx(here.sd, rel=1e-6)


def test_the_answers_looked_for_reach_from_a_stiff_regulator_to_a_pump_without_bypass():
    assert min(ANSWERS) == 0.02
    assert max(ANSWERS) == 1.0


def test_an_onset_older_than_what_is_kept_has_no_answer():
    """Then nothing of before is known, and the ticks since must not stand in for it."""
    supply = SupplyPoint()
    for value in np.linspace(12.0, 12.2, 400):
        supply.step(float(value))
    assert supply.answer(100) is not None
    assert supply.answer(200) is None


# -- what to expect, and hypotheses about the onset --------------------------------------------


@given(st.floats(-0.05, 1.4), st.floats(0.01, 0.3))
def test_what_a_capped_tip_taught_is_expected_and_adds_up_to_one(share, u):
    expected = answers_of(SupplyAnswer(share, u))
    assert sum(weight for _, weight in expected) == pytest.approx(1.0)
    assert all(weight > 0.0 for _, weight in expected)


def test_a_sharp_answer_leaves_few_shares_and_a_vague_one_many():
    sharp, vague = (answers_of(SupplyAnswer(0.6, u)) for u in (0.02, 0.3))
    assert len(sharp) < len(vague)
    likeliest = max(sharp, key=lambda one: one[1])[0]
    assert likeliest == pytest.approx(0.6, rel=0.1)


@pytest.mark.parametrize("learnt", [None, SupplyAnswer(9.0, 0.01)])
def test_without_a_check_or_with_one_that_no_pump_gives_anything_is_expected(learnt):
    assert answers_of(learnt) == UNKNOWN
    assert [share for share, _ in UNKNOWN] == list(ANSWERS)


def test_one_hypothesis_about_the_onset_is_a_plain_answer():
    mixed = PressureAnswer.mixed([(0.3, 0.02, 0.005)])
    assert (mixed.moved, mixed.sd) == pytest.approx((0.02, 0.005))
    assert mixed.nats(0.02) == pytest.approx(PressureAnswer(0.02, 0.005).nats(0.02))


@given(
    st.lists(
        st.tuples(st.floats(0.01, 1.0), st.floats(-0.2, 0.2), st.floats(1e-3, 0.1)),
        min_size=1,
        max_size=12,
    ),
    st.floats(-0.3, 0.3),
)
def test_hypotheses_lie_between_the_best_and_the_worst_of_them(parts, move):
    each = [PressureAnswer(moved, sd).nats(move) for _, moved, sd in parts]
    assert min(each) - 1e-9 <= PressureAnswer.mixed(parts).nats(move) <= max(each) + 1e-9


def test_no_move_is_as_likely_as_itself():
    mixed = PressureAnswer.mixed([(1.0, 0.02, 0.01), (2.0, -0.1, 0.02)])
    assert mixed.nats(0.0) == pytest.approx(0.0)


@given(st.lists(st.lists(st.floats(11.0, 13.5), min_size=1, max_size=50), min_size=1, max_size=5))
def test_many_ticks_are_taken_in_as_one_by_one(passes):
    many, single = SupplyPoint(), SupplyPoint()
    for values in passes:
        many.restart()
        single.restart()
        many.run(values)
        for value in values:
            single.step(value)
        assert many.news_variance == single.news_variance
        for ago in (2, 5, 20):
            assert many.answer(ago) == single.answer(ago)

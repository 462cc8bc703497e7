"""How much the residual moves while nothing is wrong."""

from __future__ import annotations

from math import exp, log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.wandering import wander

from flowlog.monitor.density import NOISE_DENSITY_S, TAU_S
from flowlog.monitor.noise import DECAY, NoiseLevel, are_whole, is_whole


def hear(noise: NoiseLevel, value: float) -> None:
    noise.whiten(float(value), 0.5, 0.0)
    noise.renew()


@pytest.mark.parametrize("density", [4e-4, 1.6e-3, 3.6e-3])
def test_noise_is_measured_within_a_factor_of_two(density):
    found = []
    for seed in range(20):
        noise = NoiseLevel()
        for value in wander(400.0, seed, density):
            hear(noise, value)
        found.append(noise.density_s)
    assert 0.6 * density < np.median(found) < 1.5 * density
    assert max(found) < 4.0 * density


def test_the_step_of_a_fault_does_not_raise_the_noise_while_it_is_looked_for():
    noise = NoiseLevel()
    values = wander(300.0, 3, NOISE_DENSITY_S)
    for value in values:
        hear(noise, value)
    before = noise.density_s
    for value in values[:16]:
        hear(noise, value + log(0.5))
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


def whitened(noise: NoiseLevel, values) -> list:
    return [noise.whiten(float(value), 0.5, 0.0) for value in values]


def test_the_news_of_a_tick_is_what_the_one_before_did_not_foretell():
    noise = NoiseLevel()
    assert noise.whiten(0.01, 0.5, 0.0) is None
    tick = noise.whiten(0.03, 0.5, 0.0)
    assert tick.residual == 0.03
    assert tick.news == pytest.approx(0.03 - DECAY * 0.01)
    assert tick.rest == pytest.approx(1 - DECAY)


def test_after_a_longer_tick_less_is_foretold():
    noise = NoiseLevel()
    noise.whiten(0.01, 0.5, 0.0)
    tick = noise.whiten(0.03, 2.0, 0.0)
    assert tick.news == pytest.approx(0.03 - exp(-2.0 / TAU_S) * 0.01)
    assert tick.rest == pytest.approx(1 - exp(-2.0 / TAU_S))


def test_nothing_foretells_the_first_tick_after_a_break():
    noise = NoiseLevel()
    whitened(noise, [0.0, 0.0])
    noise.restart()
    assert noise.whiten(0.01, 0.5, 0.0) is None


def test_the_news_of_correlated_noise_are_white():
    news = [tick.news for tick in whitened(NoiseLevel(), wander(4000.0, 1, 4e-4)) if tick]
    lagged = [np.corrcoef(news[k:], news[:-k])[0, 1] for k in range(1, 20)]
    assert np.max(np.abs(lagged)) < 0.05


def test_the_variance_of_the_news_is_the_measured_one_or_more():
    noise = NoiseLevel()
    values = wander(1200.0, 2, 1.6e-3)
    for value in values:
        hear(noise, value)
    noise.restart()
    ticks = [tick for tick in whitened(noise, values) if tick]
    true = np.var([tick.news for tick in ticks])
    late = [tick.variance for tick in ticks[-600:]]
    assert 0.9 * true < np.median(late) < 2.5 * true


def test_an_open_faults_level_is_no_noise():
    """Its lasting shift is foretold: the variance of the news stays where it was."""
    plain, shifted = NoiseLevel(), NoiseLevel()
    values = wander(600.0, 5, 4e-4)
    for value in values:
        plain.whiten(float(value), 0.5, 0.0)
        shifted.whiten(float(value) - 0.5, 0.5, -0.5)
    assert shifted.news_variance == pytest.approx(plain.news_variance, rel=1e-6)


@pytest.mark.parametrize("ticks", [1, 2, 5, 20, 120])
def test_the_variance_of_a_mean_is_that_of_means_of_such_noise(ticks):
    noise = NoiseLevel()
    variance = NOISE_DENSITY_S / (2 * TAU_S)
    # The same by summing the covariances of all pairs.
    apart = np.abs(np.subtract.outer(np.arange(ticks), np.arange(ticks)))
    assert noise.mean_variance(ticks) == pytest.approx(variance * (DECAY**apart).mean(), rel=1e-9)


def test_the_mean_of_no_ticks_has_no_variance():
    with pytest.raises(ValueError, match="no ticks"):
        NoiseLevel().mean_variance(0)


def test_a_long_mean_is_as_good_as_its_density_says():
    noise = NoiseLevel()
    assert noise.mean_variance(4000) == pytest.approx(NOISE_DENSITY_S / 2000.0, rel=0.02)


def quiet_minutes(seed: int) -> NoiseLevel:
    noise = NoiseLevel()
    for value in wander(600.0, seed, NOISE_DENSITY_S):
        hear(noise, value)
    return noise


def test_a_rough_pass_is_known_for_rough_after_a_few_seconds():
    """Two and a half times the swirl: six times the variance, told within twenty ticks."""
    found = []
    for seed in range(20):
        noise = quiet_minutes(seed)
        noise.restart()
        whitened(noise, 2.5 * wander(10.0, 100 + seed, NOISE_DENSITY_S))
        found.append(noise.roughness)
    assert 2.5 < np.median(found) < 9.0
    assert min(found) > 1.0


def test_a_usual_pass_is_hardly_ever_rough():
    found = []
    for seed in range(20):
        noise = quiet_minutes(seed)
        noise.restart()
        whitened(noise, wander(30.0, 100 + seed, NOISE_DENSITY_S))
        found.append(noise.roughness)
    assert min(found) == np.median(found) == 1.0
    assert max(found) < 2.0


def test_a_pass_after_a_rough_one_may_be_rough_until_it_has_shown_otherwise():
    noise = quiet_minutes(3)
    noise.restart()
    whitened(noise, 3.0 * wander(30.0, 103, NOISE_DENSITY_S))
    noise.restart()
    ticks = [tick for tick in whitened(noise, wander(60.0, 104, NOISE_DENSITY_S)) if tick]
    assert ticks[0].variance > 2.0 * noise.news_variance
    assert noise.roughness < 0.6 * ticks[0].variance / noise.news_variance


def test_the_step_of_a_fault_is_no_roughness_while_it_is_looked_for():
    """The newest three seconds are held back."""
    noise = quiet_minutes(4)
    noise.restart()
    values = wander(30.0, 105, NOISE_DENSITY_S)
    whitened(noise, values[:50])
    before = noise.roughness
    whitened(noise, values[50:54] + log(5 / 6))
    assert noise.roughness == pytest.approx(before, abs=0.3)


def test_a_rough_pass_makes_a_mean_less_sure():
    noise = quiet_minutes(6)
    quiet = noise.mean_variance(20)
    noise.restart()
    whitened(noise, 3.0 * wander(20.0, 106, NOISE_DENSITY_S))
    assert noise.mean_variance(20) > 3.0 * quiet


@given(
    st.lists(st.lists(st.floats(-0.5, 0.5), min_size=2, max_size=60), min_size=1, max_size=8),
    st.lists(st.integers(1, 30), min_size=1, max_size=6),
    st.sampled_from([0.0, -0.2]),
)
def test_many_ticks_are_heard_as_one_by_one(passes, sizes, level):
    many, single = NoiseLevel(), NoiseLevel()
    for values in passes:
        begin = 1
        many.restart()
        single.restart()
        assert many.whiten(values[0], 0.5, level) is single.whiten(values[0], 0.5, level) is None
        for size in [*sizes, *([1] * len(values))]:
            part = values[begin : begin + min(size, many.room)]
            if not part:
                break
            begin += len(part)
            seen, usual = many.look(part, [0.5] * len(part), level)
            many.go_on()
            for i, value in enumerate(part):
                tick = single.whiten(value, 0.5, level)
                assert tick.news == seen.news[i]
                assert tick.variance == seen.variance[i]
                assert single.usual == usual[i]
                renewed = single.renew()
            assert many.renew() == renewed
            assert many.density_s == single.density_s
            assert many.roughness == single.roughness
            assert many.mean_variance(10) == single.mean_variance(10)


def test_a_tick_is_whole_within_the_jitter_of_the_clock():
    seconds = np.array([0.4, 0.4985, 0.4995, 0.5, 0.5005, 0.5015, 1.0])
    assert are_whole(seconds).tolist() == [False, False, True, True, True, False, False]
    assert [is_whole(value) for value in seconds.tolist()] == are_whole(seconds).tolist()

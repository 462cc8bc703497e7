"""The 95 % intervals against truths that are known: of thousands of calibrations 93 to 97 %.

Each trial draws a truth and every error as the budget assumes it: bounds as rectangular, scatters
normal with a standard deviation that is itself drawn from the prior (scaled inverse chi squared).
At 2,000 trials a coverage of 95 % is counted with a standard deviation of 0.5 %.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from flowlog.calibration.baseline import baseline
from flowlog.calibration.catch import Caught, catch
from flowlog.calibration.catch_budget import CatchErrors
from flowlog.calibration.course import LENGTH_HALF_WIDTH_M, RUN_PRIOR, STOPWATCH_U_S, course
from flowlog.calibration.gauge import GaugeErrors, GaugePoint, gauge
from flowlog.calibration.meter import REPEAT_PRIOR, meter
from flowlog.calibration.meter_runs import MeterErrors, MeterRun
from flowlog.calibration.uncertainty import Prior
from flowlog.rig.model import Boom, Gauge, Tip

Rng = np.random.Generator
PSI = 6894.757
TRIALS = 2000


def covered(trial: Callable[[Rng], bool], trials: int = TRIALS, seed: int = 2026) -> float:
    rng = np.random.default_rng(seed)
    hits = sum(trial(rng) for _ in range(trials))
    print(f"\n{hits} of {trials} truths covered: {100.0 * hits / trials:.1f} %")
    return hits / trials


def drawn(rng: Rng, prior: Prior) -> float:
    return prior.s * math.sqrt(prior.dof / rng.chisquare(prior.dof))


def within(rng: Rng, half_width: float) -> float:
    return float(rng.uniform(-half_width, half_width))


def timed(rng: Rng, speed: float, length: float, runs: int):
    """A course as stated; the true length is a little off, the driving uneven."""
    true_s = (length + within(rng, LENGTH_HALF_WIDTH_M)) / speed
    scatter = drawn(rng, RUN_PRIOR) * true_s
    return [true_s + rng.normal(0.0, scatter) + rng.normal(0.0, STOPWATCH_U_S) for _ in range(runs)]


@pytest.mark.parametrize("runs", [1, 2, 3, 5])
def test_the_speed_of_a_course(runs: int):
    def trial(rng: Rng) -> bool:
        speed = rng.uniform(1.0, 2.0)
        return course(4.0, 22.86, timed(rng, speed, 22.86, runs)).speed.covers(speed)

    assert 0.93 <= covered(trial) <= 0.97


@pytest.mark.parametrize("runs", [2, 3])
def test_two_runs_without_the_prior_would_cover_far_less_at_the_same_factor(runs: int):
    """The trap: s of two runs with k = 2."""

    def trial(rng: Rng) -> bool:
        x = rng.normal(0.0, 1.0, runs)
        return bool(abs(x.mean()) <= 2.0 * x.std(ddof=1) / math.sqrt(runs))

    assert covered(trial) < 0.85


@pytest.mark.parametrize(("tips", "caught"), [(4, 4), (8, 8), (12, 8)])
def test_the_rate_of_a_catch(tips: int, caught: int):
    errors = CatchErrors()
    boom = Boom(tips, 0.508, Tip(3.1545e-5, 40 * PSI), 2e5, 3e5)

    def trial(rng: Rng) -> bool:
        speed = rng.uniform(1.0, 2.0)
        runs = timed(rng, speed, 22.86, 2)
        new = boom.tip.coefficient * (40 * PSI) ** 0.5
        flows = new * rng.normal(1.0, 0.02, tips)
        jug = 1.0 + within(rng, errors.jug_share)
        those = []
        for tip in range(1, caught + 1):
            seconds = 17.0
            volume = flows[tip - 1] * (seconds + within(rng, errors.timing_s))
            those.append(Caught(tip, volume * jug + within(rng, errors.reading_m3), seconds))
        moving = (1.0 + within(rng, errors.pressure_pa) / (40 * PSI)) ** 0.5
        width = boom.effective_width_m * (1.0 + within(rng, errors.width_share))
        truth = float(flows.sum()) * moving / (speed * width)
        result = catch(
            boom, those, course=course(boom.effective_width_m, 22.86, runs), pressure_pa=40 * PSI
        )
        return result.rate is not None and result.rate.covers(truth)

    assert 0.93 <= covered(trial) <= 0.97


@pytest.mark.parametrize(("flows", "runs"), [((10.0,), 1), ((10.0,), 3), ((5.0, 10.0, 20.0), 3)])
@pytest.mark.parametrize(
    "errors", [MeterErrors(), MeterErrors(jug_share=0.003)], ids=["jug", "fine"]
)
def test_the_factor_of_a_meter(flows, runs: int, errors: MeterErrors):
    def trial(rng: Rng) -> bool:
        truth = rng.uniform(400e3, 500e3)
        scatter = drawn(rng, REPEAT_PRIOR)
        jug = 1.0 + within(rng, errors.jug_share)
        those = []
        for flow in flows:
            for _ in range(runs):
                volume = flow / 60e3 * 100.0
                pulses = math.floor(truth * rng.normal(1.0, scatter) * volume + rng.uniform())
                read = volume * jug + within(rng, errors.reading_m3)
                those.append(MeterRun(pulses, 100.0, read))
        return meter(those, errors=errors).factor.covers(truth)

    assert 0.93 <= covered(trial) <= 0.97


@pytest.mark.parametrize("what", ["zero", "gain"])
@pytest.mark.parametrize("psis", [(0, 50), (0, 20, 40, 60), (0, 20, 40, 60, 40, 20)], ids=len)
def test_the_zero_and_the_gain_of_a_gauge(what: str, psis):
    errors = GaugeErrors()
    rig = Gauge(100 * PSI)

    def trial(rng: Rng) -> bool:
        zero, gain = rng.normal(0.0, 1.0) * PSI, rng.normal(1.0, 0.02)
        scale = 1.0 + within(rng, errors.reference_share)
        points = []
        for psi in psis:
            true = psi * PSI
            read = 0.0 if psi == 0 else true * scale + within(rng, errors.reading_pa)
            share = 0.1 + 0.8 * (zero + gain * true) / (100 * PSI)
            points.append(GaugePoint(read, share + within(rng, errors.code_share)))
        result = gauge(points, rig)
        if what == "zero":
            return result.zero.covers(zero)
        return result.gain.covers(gain)

    assert 0.93 <= covered(trial) <= 0.97


@pytest.mark.parametrize("seconds", [30, 60])
def test_the_coefficient_of_a_baseline(seconds: int):
    """Noise of 2 s correlation whose density is drawn from the prior; 1,000 trials."""
    step = np.repeat(np.arange(3), seconds)
    base = np.repeat(np.array([25.0, 32.0, 40.0]) * PSI, seconds)
    decay = math.exp(-1.0 / 2.0)
    lag = np.tril(decay ** np.abs(np.subtract.outer(np.arange(len(step)), np.arange(len(step)))))

    def trial(rng: Rng) -> bool:
        density = drawn(rng, Prior(math.sqrt(4e-4), 5.0)) ** 2
        # First-order noise of this density in the means of seconds.
        white = rng.normal(0.0, math.sqrt(density) * (1.0 - decay), len(step))
        white[0] /= math.sqrt(1.0 - decay**2)
        truth = rng.uniform(1e-7, 3e-7)
        flow = truth * base**0.5 * np.exp(lag @ white)
        result = baseline(flow, base, step, tick_s=1.0)
        return result.flow.covers(truth * result.centre_pa**0.5)

    assert 0.93 <= covered(trial, 1000) <= 0.97

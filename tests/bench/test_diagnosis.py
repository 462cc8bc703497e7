"""The bench of the diagnosis: its bounds against the study of the signal, its trials and tables."""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from bench.diagnosis import classes, report
from bench.diagnosis.bounds import (
    asymptotic_s,
    autocovariance,
    exact_s,
    information,
    lagged_step,
    yule_walker,
)
from bench.diagnosis.measure import Job, run
from bench.diagnosis.residual import trace_of
from bench.diagnosis.scenarios import CASES, healthy_route, rig_of, trial

from flowlog.simulator.noise import autoregressive, first_order
from flowlog.simulator.run import simulate

# Derived in a study of this signal that was made for the project before its code (own simulator,
# board with edge times): I, and ln(gamma I) / I for one false alarm in 200, 500 and 1000 h. The
# study's noise densities at zero frequency, in s, by number of tips.
STUDY_DENSITY_S = {4: 3.99e-4, 6: 4.01e-4, 12: 3.99e-4}
STUDY_ASYMPTOTIC = [
    # tips, blocked, nats/s, s at 200, 500, 1000 h
    (4, 1.0, "104", ("0.17", "0.18", "0.19")),
    (4, 0.5, "22.4", ("0.74", "0.78", "0.81")),
    (4, 0.25, "5.2", ("2.9", "3.1", "3.2")),
    (6, 1.0, "41.4", ("0.42", "0.44", "0.45")),
    (6, 0.5, "9.4", ("1.7", "1.8", "1.8")),
    (6, 0.25, "2.26", ("6.3", "6.7", "7.0")),
    (12, 1.0, "9.5", ("1.7", "1.8", "1.8")),
    (12, 0.5, "2.27", ("6.3", "6.7", "7.0")),
    (12, 0.25, "0.56", ("23", "25", "26")),
]


def _half_of_last_digit(text: str) -> float:
    digits = len(text.partition(".")[2])
    return 0.5 * 10.0**-digits


@pytest.mark.parametrize(("tips", "blocked", "nats", "seconds"), STUDY_ASYMPTOTIC)
def test_asymptotic_bound_is_that_of_the_study_derived(tips, blocked, nats, seconds):
    shift = log(1.0 - blocked / tips)
    found = information(shift, STUDY_DENSITY_S[tips])
    # The density is given to three digits: that alone is worth 0.3 %.
    assert found == pytest.approx(float(nats), abs=_half_of_last_digit(nats) + 0.003 * found)
    for hours, text in zip((200, 500, 1000), seconds, strict=True):
        bound = asymptotic_s(shift, STUDY_DENSITY_S[tips], hours * 3600.0)
        assert bound == pytest.approx(float(text), abs=_half_of_last_digit(text) + 0.004 * bound)


@pytest.fixture(scope="module")
def study_noise():
    """Noise like the study's for twelve tips: innovation 0.31 %, S(0) 4.0e-4 s.

    1 % of swirl with 2 s and 0.5 % of white noise behind the meter's lag, and edges 0.1 % out.
    """
    rng, n = np.random.default_rng(3), 2_000_000
    swirl = autoregressive(rng, n, 0.01, 2.0, 0.1) + 0.005 * rng.standard_normal(n)
    edges = 0.001 * np.diff(rng.standard_normal(n + 1))
    return yule_walker(autocovariance([first_order(swirl, 0.2, 0.1, 0.0) + edges], 40))


def test_noise_is_like_the_study_s(study_noise):
    assert study_noise.innovation == pytest.approx(0.0031, abs=0.0002)
    assert study_noise.density_s(0.1) == pytest.approx(4.0e-4, rel=0.03)


@pytest.mark.parametrize(
    ("blocked", "seconds"), [(1.0, (0.1, 0.2)), (0.5, (0.2, 0.3)), (0.25, (7.0, 17.0))]
)
def test_exact_bound_is_that_of_the_study_derived(study_noise, blocked, seconds):
    """Twelve tips, one false alarm in 500 h: median and 90th percentile.

    The noise is like the study's, not the same: 5 % or one sample is allowed.
    """
    for share, expected in zip((0.5, 0.9), seconds, strict=True):
        found = exact_s(log(1.0 - blocked / 12), study_noise, 500 * 3600.0, share)
        assert found == pytest.approx(expected, rel=0.05, abs=0.1 + 1e-9)


def test_autoregression_is_found_again():
    x = autoregressive(np.random.default_rng(1), 400_000, 0.01, 2.0, 0.1)
    model = yule_walker(autocovariance([x[:150_000], x[150_000:]], 5))
    keep = np.exp(-0.05)
    assert model.weights == pytest.approx([keep, 0, 0, 0, 0], abs=0.006)
    assert model.innovation == pytest.approx(0.01 * (1 - keep**2) ** 0.5, rel=0.01)
    # Exact density of the sampled process: variance * step * (1 + a) / (1 - a).
    assert model.density_s(0.1) == pytest.approx(1e-5 * (1 + keep) / (1 - keep), rel=0.05)


def test_lagged_step_is_what_the_simulated_meter_makes_of_a_step():
    ours = lagged_step(30, 0.2, 0.1)
    step = np.concatenate((np.zeros(10), np.ones(30)))
    assert ours == pytest.approx(first_order(step, 0.2, 0.1, 0.0)[10:], rel=1e-12)


@pytest.mark.parametrize("tips", [4, 12])
def test_the_trace_has_the_noise_that_the_simulator_promises(tips):
    """1 % of swirl, white noise of the count, vanes and ripple beside it; no settling in it."""
    rig = rig_of(tips)
    trace = trace_of(simulate(healthy_route("nominal", tips, 5, hours=1.5)), rig)
    assert 0.009 < trace.y.std() < 0.013
    assert np.abs(trace.y).max() < 0.07


@pytest.mark.parametrize("placement", ["settled", "random"])
@pytest.mark.parametrize("seed", range(5))
def test_the_boom_is_open_at_the_onset_of_a_trial(placement, seed):
    plan = trial(placement, 6, seed)
    truth = simulate(plan.scenario).truth
    assert truth.spraying[np.searchsorted(truth.t_s, plan.at_s)]
    warm = truth.spraying[truth.t_s < plan.at_s].sum() * truth.step_s
    assert warm > 330.0
    after = truth.spraying[truth.t_s >= plan.at_s].sum() * truth.step_s
    assert after > 400.0


def _row(code, change, said, size=None, unit="", alert=None):
    return [code, change, said, 0.0, size, size, size, unit, {}, alert or code]


def test_a_verdict_is_the_cause_that_stands_when_the_time_is_over():
    rows = [
        _row("rate_low", "opened", 2.0),
        _row("tip_blocked", "opened", 3.0, 0.45, "tips"),
        _row("tip_blocked", "grew", 9.0, 1.05, "tips"),
        _row("tip_blocked", "cleared", 40.0),
    ]
    assert classes.verdict(rows, 5.0)[0] == "tip_blocked 0.5"
    assert classes.verdict(rows, 10.0)[0] == "tip_blocked 1"
    assert classes.verdict(rows, 50.0)[0] == "rate_low"
    assert classes.verdict([], 10.0)[0] == "nothing"
    assert classes.onset_of(rows, classes.code_wanted("one tip")) == rows[1]


def test_an_alert_with_a_new_name_is_one_alert():
    rows = [
        _row("boom_leak", "opened", 3.0, 9.0, "%", "boom_leak.0.70"),
        _row("air_drawn", "grew", 6.0, None, "", "boom_leak.0.70"),
    ]
    assert classes.verdict(rows, 1.0)[0] == "boom_leak"
    assert classes.verdict(rows, 10.0)[0] == "air_drawn"
    assert classes.onset_of(rows, classes.code_wanted("tank empty")) == rows[1]


def test_every_case_has_a_right_answer():
    assert set(classes.RIGHT) == set(CASES)


def test_what_is_not_found_counts_as_infinitely_late():
    assert report.quantiles([1.0, 2.0, 3.0, None]) == (3.0, float("inf"))


def test_intervals_are_counted_against_the_truth():
    def told(size, low, high):
        return [["tip_blocked", "opened", 2.0, 0.5, size, low, high, "tips", {}, "a"]]

    trials = [
        {"early": [], "said": {name: told(1.0, low, 1.5) for name in CASES}}
        for low in (0.5, 0.9, 1.1, 1.2)
    ]
    row = next(r for r in report.interval_rows(6, trials, 10.0) if r[1] == "one tip")
    assert row[2] == row[3] == "50.0 %"


def test_a_job_gives_the_same_result_again():
    job = Job("trial", "settled", 6, 7)
    assert run(job) == run(job)

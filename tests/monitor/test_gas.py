"""Gulps of gas told from a quiet shift, against the simulator and against made noise."""

from __future__ import annotations

from functools import cache
from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.monitor.close_up import Series, series_of
from flowlog.monitor.conductance import SQUARE_ROOT
from flowlog.monitor.gas import gulps
from flowlog.monitor.outputs import Position
from flowlog.monitor.sensors import FlowMeter, PressureGauge
from flowlog.rig.model import Meter
from flowlog.simulator.plan import Fault, Leg
from flowlog.simulator.run import plain_rig, scenario_for, simulate, with_faults
from flowlog.wire.unwrap import Unwrapper

RIG = plain_rig(6, tank_gal=None)
LEGS = (Leg(5.0, False), Leg(130.0, True))
ONSET_S = 80.0
DENSITY_S = 4e-4
PUMPS = ("demand relief", "roller", "centrifugal")
SEEDS = range(1, 16)


@cache
def series(kind: str, size: float, seed: int, after_s: float, factor: float = 1.0) -> Series:
    """Samples up to `after_s` behind a fault of the boom; `factor`: what a pulse is worth."""
    healthy = scenario_for(RIG, legs=LEGS, family=PUMPS[seed % 3], seed=seed, noise="field")
    sim = simulate(with_faults(healthy, Fault(kind, ONSET_S, size=size)))
    table = Unwrapper(100_000, 20_000.0).feed(sim.samples).table
    end = sim.sample_at(ONSET_S + after_s)
    settled = [Position(*table[i, :3].tolist()) for i in range(104, end, 5)]
    meter = FlowMeter(Meter(factor * RIG.meter.pulses_per_m3, 0.0, 1.0))
    rows = table[: int(np.flatnonzero(table[:, 2] == settled[-1].t_us)[0]) + 1]
    level = log(RIG.nominal_conductance)
    return series_of(rows, settled, PressureGauge(RIG.gauge, 10), meter, level, SQUARE_ROOT)


def nats(kind: str, size: float, seed: int, after_s: float) -> float | None:
    seen = series(kind, size, seed, after_s)
    began_s = ONSET_S - (ONSET_S + after_s) + _late(seen, after_s)
    shift = 0.055 if kind == "foam" else log(1.0 + size / 6.0)
    return gulps(seen, [(began_s, 0.0)], shift, DENSITY_S)


def _late(seen: Series, after_s: float) -> float:
    """The last settled tick ends up to half a second before the moment that was asked for."""
    return (after_s * 10 % 5) / 10.0


def of_all(kind: str, size: float, after_s: float) -> list[float]:
    found = [nats(kind, size, seed, after_s) for seed in SEEDS]
    assert None not in found
    return found


@pytest.mark.parametrize(("after_s", "right"), [(4.0, 0.8), (10.0, 0.93), (30.0, 1.0)])
def test_foam_wanders_as_gulps_of_gas_make_it(after_s, right):
    told = [value > 0.0 for value in of_all("foam", 0.05, after_s)]
    assert np.mean(told) >= right


@pytest.mark.parametrize("after_s", [4.0, 10.0, 30.0])
@pytest.mark.parametrize("leak", [0.3, 0.6, 1.2])
def test_a_leak_is_as_quiet_as_the_boom_was(leak, after_s):
    told = [value < 0.0 for value in of_all("leak after meter", leak, after_s)]
    assert np.mean(told) >= 0.85


def test_the_longer_it_lasts_the_surer_it_is():
    for kind, size, sign in (("foam", 0.05, 1.0), ("leak after meter", 0.6, -1.0)):
        short, long = (sign * np.median(of_all(kind, size, after_s)) for after_s in (4.0, 30.0))
        assert long > short + 1.0


def test_what_a_pulse_is_worth_does_not_matter():
    piece = [(-12.0, 0.0)]
    one, other = (
        gulps(series("foam", 0.05, 3, 12.0, factor), piece, 0.055, DENSITY_S)
        for factor in (1.0, 1.7)
    )
    assert one == pytest.approx(other, abs=1e-6)


def test_two_pieces_tell_more_than_the_newer_one_and_leave_the_step_between_them_out():
    seen = series("foam", 0.05, 4, 20.0)
    whole = gulps(seen, [(-20.0, -10.0), (-10.0, 0.0)], 0.055, DENSITY_S)
    stepped = seen.residual + np.where(seen.t_s > -10.05, 0.2, 0.0)
    grown = Series(seen.t_s, seen.edge_s, stepped, seen.log_pressure, seen.usable)
    assert gulps(grown, [(-20.0, -10.0), (-10.0, 0.0)], 0.055, DENSITY_S) == pytest.approx(whole)
    assert whole > gulps(seen, [(-10.0, 0.0)], 0.055, DENSITY_S)


# -- made noise --------------------------------------------------------------------------------


def made(values: np.ndarray, usable: np.ndarray | None = None) -> Series:
    n = len(values)
    t_s = np.arange(1 - n, 1) * 0.1
    usable = np.ones(n, dtype=np.bool_) if usable is None else usable
    return Series(t_s, t_s, values, np.zeros(n), usable)


def white(seed: int, n: int = 900, spread: float = 0.006) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, spread, n)


@given(st.integers(0, 10_000), st.floats(-0.2, 0.2), st.floats(0.02, 0.3), st.floats(1.0, 25.0))
def test_evidence_is_finite_whatever_the_level_and_none_only_for_too_little(
    seed, level, shift, since_s
):
    found = gulps(made(white(seed) + level), [(-since_s, 0.0)], shift, DENSITY_S)
    if since_s > 3.5:
        assert found is not None
    if found is not None:
        assert np.isfinite(found)
        assert found == pytest.approx(
            gulps(made(white(seed)), [(-since_s, 0.0)], shift, DENSITY_S), abs=1e-6
        )


def test_the_odds_are_right_for_noise_that_holds_no_gas():
    """A likelihood ratio is one in the mean where the lower hypothesis holds, and seldom large.

    By Markov's inequality it exceeds e^3 in a twentieth of the cases at most.
    """
    found = [gulps(made(white(seed)), [(-8.0, 0.0)], 0.06, DENSITY_S) for seed in range(300)]
    assert np.mean(np.array(found) > 3.0) < 0.05
    assert np.mean(found) < 0.0


@pytest.mark.parametrize(
    "pieces",
    [[(-1.0, 0.0)], [(-88.0, 0.0)], [(-500.0, 0.0)]],
    ids=["too little since", "too little before", "nothing before"],
)
def test_too_little_is_no_evidence(pieces):
    assert gulps(made(white(1)), pieces, 0.06, DENSITY_S) is None


def test_samples_that_cannot_be_used_are_left_out_and_break_the_series():
    values = white(2)
    usable = np.ones(900, dtype=np.bool_)
    usable[860] = False
    wild = values.copy()
    wild[860] = 5.0
    assert gulps(made(wild, usable), [(-10.0, 0.0)], 0.06, DENSITY_S) == gulps(
        made(values, usable), [(-10.0, 0.0)], 0.06, DENSITY_S
    )


@pytest.mark.parametrize("seed", range(8))
def test_ground_that_became_rougher_is_not_sure_to_be_gas(seed):
    """Swirl with its memory of two seconds behind the rotor's lag, three times as strong since.

    Against a boom that must have stayed as quiet as it was, gas would have a hundred nats and more.
    """
    rng = np.random.default_rng(seed)
    swirl = np.zeros(900)
    seen = np.zeros(900)
    for i in range(1, 900):
        swirl[i] = 0.951 * swirl[i - 1] + rng.normal(0.0, 0.0031 if i < 600 else 0.0093)
        seen[i] = seen[i - 1] + 0.393 * (swirl[i] - seen[i - 1])
    rough = gulps(made(seen + white(seed, spread=0.005)), [(-30.0, 0.0)], 0.06, DENSITY_S)
    assert rough < 5.0

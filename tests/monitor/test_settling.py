"""How long an opened boom is waited for: as usual, as calibrated, or as its own openings say."""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.cuts import cut
from support.stream_maker import HELLO, PSI, make_rig, make_samples

from flowlog.monitor.conductance import SQUARE_ROOT
from flowlog.monitor.outputs import Event, Reading
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.settling import USUAL_S, SettleTime
from flowlog.monitor.stream import joined
from flowlog.rig.model import HealthyBoom, Rig
from flowlog.simulator.plan import Fault, Scenario
from flowlog.simulator.run import plain_rig, scenario_for, simulate, with_faults
from flowlog.wire.samples import Samples

TICK_S = 0.5
RIG = plain_rig(8, tank_gal=None)
HEALTHY = HealthyBoom(log(RIG.nominal_conductance), 0.003)
HOSE = 8e-10
"""A quarter of a litre more at 40 psi, a second of this boom's flow."""


def long_hoses(hours: float, seed: int, rise_s=(3.0, 5.0)) -> Scenario:
    return replace(scenario_for(RIG, hours=hours, seed=seed), rise_s=rise_s, hose_m3_pa=HOSE)


class Run:
    """A stream through a monitor, and what it waited for."""

    def __init__(self, rig: Rig, items, healthy: HealthyBoom | None = None) -> None:
        monitor = Monitor(rig, healthy)
        self.readings: list[Reading] = []
        self.events: list[Event] = []
        densities: list[float] = []
        monitor.watch(lambda seen: densities.append(seen.density_s))
        for out in [*map(monitor.feed, items), monitor.finish()]:
            self.readings += out.readings
            self.events += out.events
        self.density_s = float(np.median(densities[len(densities) // 4 :]))

    @property
    def waited_s(self) -> list[int]:
        """Whole seconds of settling in each pass that was long enough to end it."""
        found, count = [], 0
        for reading in self.readings:
            if reading.phase == "settling":
                count += 1
            elif count:
                if reading.phase == "spraying":
                    found.append(count)
                count = 0
        return found


# -- calibrated ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measured", "ticks"),
    [(0.25, 2), (0.75, 2), (1.25, 3), (1.75, 5), (2.75, 7), (3.75, 10), (4.75, 12), (60.0, 12)],
)
def test_a_calibrated_time_counts_with_a_third_of_it_more_in_whole_ticks_from_one_to_six(
    measured, ticks
):
    """Measured to the middle of the first settled tick, waited for from the end of the first."""
    settle = SettleTime(replace(HEALTHY, settle_s=measured), SQUARE_ROOT)
    assert (ticks - 1) * TICK_S < settle.settle_s < ticks * TICK_S


@given(st.floats(0.0, 1e6))
def test_no_calibrated_time_leaves_the_limits(measured):
    settle = SettleTime(replace(HEALTHY, settle_s=measured), SQUARE_ROOT)
    assert 0.9 <= settle.settle_s <= 6.0


def test_a_baseline_without_a_settle_time_leaves_the_usual_one():
    assert SettleTime(HEALTHY, SQUARE_ROOT).settle_s == USUAL_S == 2.0
    assert SettleTime(None, SQUARE_ROOT).settle_s == 2.0


def test_a_rig_that_settles_soon_by_its_calibration_is_judged_sooner():
    items = simulate(replace(scenario_for(RIG, hours=0.3, seed=3), rise_s=(0.4, 0.7))).items
    usual = Run(RIG, items, HEALTHY)
    soon = Run(RIG, items, replace(HEALTHY, settle_s=1.25))
    gained = [sum(r.conductance_share is not None for r in run.readings) for run in (usual, soon)]
    passes = len(usual.waited_s)
    assert passes > 10
    # Half a second in each pass, seen where it falls into a reading that had no judged tick.
    assert passes * 0.2 < gained[1] - gained[0] < passes
    assert usual.events == soon.events == []
    assert soon.density_s == pytest.approx(usual.density_s, rel=0.15)


# -- learnt ----------------------------------------------------------------------------------


@pytest.mark.parametrize("noise", ["field", "harsh"])
@pytest.mark.parametrize("family", ["demand relief", "roller"])
def test_a_rig_that_settles_within_two_seconds_is_never_waited_for_longer(noise, family):
    run = Run(RIG, simulate(scenario_for(RIG, hours=3, noise=noise, family=family, seed=6)).items)
    assert len(run.waited_s) > 100
    assert max(run.waited_s) <= 3


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_long_hoses_are_waited_for_from_the_fourth_opening_on(seed):
    run = Run(RIG, simulate(long_hoses(1.5, seed)).items)
    assert max(run.waited_s[:3]) <= 3
    assert min(run.waited_s[3:]) >= 3
    assert np.median(run.waited_s[4:]) in (4.0, 5.0)
    assert max(run.waited_s) <= 6
    assert run.events == []


def test_the_noise_of_a_rig_with_long_hoses_is_that_of_one_without():
    """Judged too soon, each opening would add to it."""
    plain = Run(RIG, simulate(scenario_for(RIG, hours=2.0, seed=28)).items)
    learnt = Run(RIG, simulate(long_hoses(2.0, 28)).items)
    too_soon = Run(RIG, simulate(long_hoses(2.0, 28)).items, replace(HEALTHY, settle_s=1.75))
    assert learnt.density_s == pytest.approx(plain.density_s, rel=0.05)
    assert too_soon.density_s > 1.1 * plain.density_s


def openings(settle_s: list[float]) -> Samples:
    """Passes of 20 s, a pause of 12 s before each; its surplus of flow falls to 3 % in time."""
    rig = make_rig()
    count = len(settle_s)
    fall_s = np.array(settle_s) / log(1.0 / 0.03)

    def flow(t):
        number = np.minimum((t // 32.0).astype(int), count - 1)
        since = t % 32.0 - 12.0
        surplus = np.exp(-np.maximum(since, 0.0) / fall_s[number])
        return np.where(since >= 0.0, rig.expected_flow_m3_s * (1.0 + surplus), 0.0)

    def pressure(t):
        return np.where(t % 32.0 >= 12.0, 40 * PSI, 9 * PSI)

    return make_samples(rig, 32.0 * count, flow, pressure)


def waited(settle_s: list[float]) -> list[int]:
    return Run(make_rig(), [HELLO, openings(settle_s)]).waited_s


def test_two_openings_of_eight_that_take_longer_do_not_count_and_three_do():
    short, long = 1.0, 4.0
    usual = waited([short] * 12)
    assert set(usual) <= {2, 3}
    assert waited([short] * 4 + [long, short, short, long] + [short] * 4) == usual
    three = waited([short] * 4 + [long, short, long, long, short, short])
    assert three[:8] == usual[:8]
    assert min(three[8:]) >= 5


def test_what_was_learnt_is_forgotten_when_eight_openings_say_otherwise():
    found = waited([4.0] * 5 + [1.0] * 9)
    assert max(found[:3]) <= 3
    assert min(found[3:10]) >= 5
    assert max(found[-2:]) <= 3


def test_the_first_opening_fills_the_hoses_and_says_nothing_alone():
    assert max(waited([6.0, 1.0, 1.0, 1.0, 1.0, 1.0])) <= 3


# -- blocks ----------------------------------------------------------------------------------


@pytest.mark.parametrize("valve", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_a_time_that_is_learnt_is_the_same_however_the_stream_is_cut(seed, valve):
    """Hoses that settle otherwise from opening to opening, so that it changes again and again."""
    scenario = with_faults(
        long_hoses(0.4, seed, rise_s=(1.0, 7.0)),
        Fault("lost lines", at_s=500.0, size=0.1, until_s=800.0),
        Fault("board reset", at_s=900.0),
    )
    run = simulate(replace(scenario, board=replace(scenario.board, valve=valve)))
    whole = Run(RIG, joined(run.received))
    assert len(set(whole.waited_s)) > 2
    ticks = Run(RIG, cut(list(run.received), np.random.default_rng(seed)))
    assert ticks.readings == whole.readings
    assert ticks.events == whole.events

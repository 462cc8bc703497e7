"""A tank that was not filled: what the route before left over."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from support.stream_maker import HELLO, PSI, make_rig, make_samples

from flowlog.monitor.outputs import Output
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.stream import TankFill

RIG = make_rig()  # 200 L, warned at 20 L, 15.14 L/min
LEFT = TankFill(0.03, carried=True)


def sprayed(seconds: float):
    """The asked flow all the time."""
    flow = RIG.expected_flow_m3_s
    return make_samples(RIG, seconds, lambda t: flow + 0 * t, lambda t: 40 * PSI + 0 * t)


def thicker_after_a_short_pause():
    """Shut for 20 s at 240 s, as between two passes; a tenth denser afterwards."""

    def pressure(t):
        return np.where((t < 240) | (t >= 260), 40 * PSI * np.where(t < 240, 1.0, 1.02), 9 * PSI)

    def flow(t):
        on = (t < 240) | (t >= 260)
        return RIG.nominal_conductance * np.sqrt(pressure(t)) * on * np.where(t < 240, 1, 1.1**-0.5)

    return make_samples(RIG, 420.0, flow, pressure, noise=0.01, seed=3)


def outputs(*items) -> Output:
    monitor, total = Monitor(RIG), Output()
    for part in (*(monitor.feed(item) for item in items), monitor.finish()):
        total.readings += part.readings
        total.events += part.events
    return total


def test_the_level_counts_on_from_what_was_left_and_the_alert_comes_in_time():
    out = outputs(LEFT, HELLO, sprayed(60))
    (low,) = [event for event in out.events if event.code == "tank_low"]
    # 10 L at 15.14 L/min
    assert abs(low.at.t_us / 1e6 - 39.6) < 2.0
    assert abs(out.readings[-1].tank_m3 - (0.03 - RIG.expected_flow_m3_s * 60)) < 5e-4
    assert outputs(HELLO, sprayed(60)).events == []


def test_a_tank_that_is_low_from_the_beginning_is_said_to_be_low_at_once():
    out = outputs(TankFill(0.01, carried=True), HELLO, sprayed(5))
    assert [(e.code, e.change) for e in out.events] == [("tank_low", "opened")]
    assert out.events[0].at.t_us < 2_000_000


def test_carrying_over_brings_no_other_mix_where_a_fill_does():
    samples = thicker_after_a_short_pause()
    at = 2500
    plain = outputs(HELLO, samples)
    carried = outputs(HELLO, samples[:at], TankFill(0.12, carried=True), samples[at:])
    filled = outputs(HELLO, samples[:at], TankFill(0.12), samples[at:])
    assert "mix_changed" in [event.code for event in filled.events]
    assert "mix_changed" not in [event.code for event in plain.events]
    assert carried.events == plain.events
    without = [dataclasses.replace(reading, tank_m3=None) for reading in carried.readings]
    assert without == [dataclasses.replace(reading, tank_m3=None) for reading in plain.readings]
    assert carried.readings[-1].tank_m3 < plain.readings[-1].tank_m3


@settings(deadline=None, max_examples=20)
@given(cuts=st.lists(st.integers(0, 600), max_size=6))
def test_any_cut_of_the_stream_behind_it_gives_the_same(cuts):
    samples = sprayed(60)
    edges = [0, *sorted(cuts), 600]
    blocks = [samples[a:b] for a, b in pairwise(edges)]
    assert outputs(LEFT, HELLO, *blocks) == outputs(LEFT, HELLO, samples)


def test_the_monitor_says_what_is_left_after_a_fill_that_no_sample_followed():
    monitor = Monitor(RIG)
    for item in (HELLO, sprayed(60.3), TankFill(0.12)):
        monitor.feed(item)
    monitor.finish()
    assert 0.1195 < monitor.tank_m3 <= 0.12
    assert Monitor(make_rig(tank=None)).tank_m3 is None

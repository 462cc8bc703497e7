"""Ticks are exact; flow is timed by pulse edges; what no edge tells is bounded."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.stream_maker import make_rig

from flowlog.monitor.motion import Motion
from flowlog.monitor.outputs import Position
from flowlog.monitor.rules.latch import Latch
from flowlog.monitor.sensors import FlowMeter, PressureGauge
from flowlog.monitor.ticks import Tick, TickGatherer
from flowlog.rig.model import Gauge, Meter
from flowlog.wire.unwrap import UNWRAPPED_FIELDS


def table(seqs, segment=0) -> np.ndarray:
    rows = np.zeros((len(seqs), len(UNWRAPPED_FIELDS)), dtype=np.int64)
    rows[:, 0] = segment
    rows[:, 1] = seqs
    rows[:, 2] = np.array(seqs) * 100_000
    rows[:, 3] = np.array(seqs) * 7
    rows[:, 5:9] = [51_200, 100, 500, 520]
    rows[:, 9:] = -1
    return rows


def test_five_samples_of_a_tenth_of_a_second_make_a_tick():
    ticks = TickGatherer(100_000).feed(table(range(10)))
    assert [(t.number, t.samples, t.seq) for t in ticks] == [(0, 5, 4), (1, 5, 9)]
    assert ticks[0].adc_sum == 5 * 51_200


def test_an_unfinished_tick_waits_for_its_last_sample_or_a_later_one():
    gatherer = TickGatherer(100_000)
    assert gatherer.feed(table([0, 1, 2])) == []
    assert [t.samples for t in gatherer.feed(table([7]))] == [3]
    assert [t.samples for t in gatherer.take_unfinished()] == [1]


def test_a_new_segment_ends_the_tick():
    gatherer = TickGatherer(100_000)
    ticks = gatherer.feed(np.concatenate([table([0, 1]), table([0, 1], segment=1)]))
    assert [(t.segment, t.samples) for t in ticks] == [(0, 2)]


@given(
    st.lists(st.integers(0, 300), unique=True, min_size=1, max_size=120).map(sorted),
    st.lists(st.integers(1, 30), min_size=1),
)
def test_any_cut_gives_the_same_ticks(seqs, sizes):
    rows = table(seqs)
    whole = TickGatherer(100_000)
    expected = whole.feed(rows) + whole.take_unfinished()
    parts, gatherer, start, i = [], TickGatherer(100_000), 0, 0
    while start < len(rows):
        size = sizes[i % len(sizes)]
        parts += gatherer.feed(rows[start : start + size])
        start, i = start + size, i + 1
    assert parts + gatherer.take_unfinished() == expected


def tick(seq: int, pulses: int, edge_us: int, samples: int = 5) -> Tick:
    return Tick(
        0, seq // 5, samples, seq, (seq + 1) * 100_000, pulses, edge_us, -1, 0, 1, 0, 0, 0, 0
    )


def test_flow_is_timed_between_edges_and_not_by_the_gate():
    """37 Hz: half a second holds 18 or 19 pulses, five per cent apart; edges know better."""
    rig = make_rig()
    motion = Motion(rig)
    hz = 37.0
    flows = []
    for k in range(1, 40):
        t = 0.5 * k
        pulses = int(t * hz)
        step = motion.step(tick(5 * k - 1, pulses, round(pulses / hz * 1e6)))
        if step is not None:
            flows.append(step.flow_m3_s * rig.meter.pulses_per_m3)
    assert flows == pytest.approx([hz] * len(flows), rel=1e-5)


def test_after_a_standstill_the_gate_counts_and_not_the_wait():
    motion = Motion(make_rig())
    motion.step(tick(4, 100, 10_000))
    motion.step(tick(104, 100, 10_000))
    step = motion.step(tick(109, 120, 10_990_000))
    assert step is not None
    assert step.flow_m3_s * 450e3 == pytest.approx(40.0)


def test_no_pulse_for_a_moment_is_little_flow_and_for_a_second_none():
    motion = Motion(make_rig())
    motion.step(tick(4, 100, 490_000))
    motion.step(tick(9, 101, 990_000))
    short = motion.step(tick(14, 101, 990_000))
    long = motion.step(tick(24, 101, 990_000))
    assert short is not None
    assert long is not None
    assert 0 < short.flow_m3_s * 450e3 <= 1 / 0.51
    assert long.flow_m3_s == 0.0


def test_a_curve_is_interpolated_over_flow_and_held_outside():
    meter = FlowMeter(Meter(450e3, 1e-5, 1e-3, ((1e-4, 400e3), (3e-4, 440e3))))
    assert meter.pulses_per_m3(0.0) == 400e3
    assert meter.pulses_per_m3(40.0) == 400e3
    assert meter.pulses_per_m3(132.0) == 440e3
    assert meter.pulses_per_m3(500.0) == 440e3
    assert 400e3 < meter.pulses_per_m3(86.0) < 440e3


@pytest.mark.parametrize(
    ("code", "state"), [(40, "open"), (42, "ok"), (102.4, "ok"), (982, "ok"), (984, "short")]
)
def test_the_gauge_knows_the_codes_that_only_a_broken_wire_gives(code, state):
    """4 % and 96 % of the supply in 10 bits: 41 and 983 (common practice, no source)."""
    gauge = PressureGauge(Gauge(690e3), 10)
    assert gauge.read(round(code * 100), 100, 0, 1023).state == state


def test_a_gauge_whose_zero_lies_at_the_rail_cannot_be_called_open():
    gauge = PressureGauge(Gauge(690e3, 0.0, 1.0), 10)
    assert gauge.read(0, 100, 0, 0).state == "ok"
    assert gauge.read(102_300, 100, 1023, 1023).state == "ok"


def test_a_latch_needs_its_time_in_both_directions():
    latch, at = Latch(2.0, 1.0), Position(0, 0, 0)
    bad = [True, True, False, True, True, True, True, False, False, True]
    turns = [latch.step(at, 0.5, bad=b, good=not b) for b in bad]
    assert turns == [None] * 6 + ["opened", None, "cleared", None]

"""Counters, clock, resets and hellos of the emulated board."""

from dataclasses import replace

import numpy as np
import pytest

from flowlog.rig.model import Wheel
from flowlog.simulator.plan import BoardPlan, Fault, passes
from flowlog.simulator.run import plain_rig, scenario_for, simulate
from flowlog.wire.decode import Decoder
from flowlog.wire.encode import encode_sample
from flowlog.wire.records import Hello
from flowlog.wire.samples import ABSENT, Samples
from flowlog.wire.unwrap import Unwrapper

RIG = plain_rig(8)
LEGS = passes(3, 60.0, 15.0)


def _run(*faults, noise="field", rig=RIG, legs=LEGS, **board):
    scenario = scenario_for(rig, legs=legs, faults=faults, noise=noise)
    return simulate(replace(scenario, board=BoardPlan(**board)))


def test_the_same_seed_gives_the_same_bytes_and_another_does_not():
    one, same = _run(Fault("air", 70.0)), _run(Fault("air", 70.0))
    assert one.samples == same.samples and one.hellos == same.hellos
    other = simulate(replace(one.scenario, seed=2))
    assert other.samples != one.samples


@pytest.mark.parametrize("noise", ["none", "quiet", "field", "harsh"])
def test_every_sample_is_one_that_the_wire_takes(noise):
    run = _run(
        Fault("gauge open", 20.0, until_s=25.0),
        Fault("gauge short", 30.0, until_s=35.0),
        Fault("tank empty", 100.0),
        Fault("board reset", 50.0),
        noise=noise,
    )
    lines = b"".join(encode_sample(row) for row in run.samples.table.tolist())
    decoded = Decoder().feed(lines)
    assert not decoded.faults
    assert Samples.join([i for i in decoded.items if isinstance(i, Samples)]) == run.samples


def test_counts_and_edges_are_consistent():
    table = _run().samples.table
    clock, pulses, edge = table[:, 2], table[:, 3], table[:, 4]
    assert np.all(np.diff(pulses) >= 0)
    assert np.all(np.diff(edge) >= 0)
    assert np.all(edge <= clock)
    assert np.all((np.diff(edge) > 0) == (np.diff(pulses) > 0))
    assert np.all((edge == 0) == (pulses == 0))
    # A fresh edge lies in the period of its sample (which is late by less than 64 us).
    fresh = np.flatnonzero(np.diff(pulses)) + 1
    assert np.all(clock[fresh] - edge[fresh] <= 100_000 + 64)
    assert np.all(table[:, [2, 4]] % 4 == 0)


def test_samples_come_each_period_by_the_board_s_clock():
    run = _run(crystal_ppm=200.0)
    clock = run.samples.column("clock_us")
    steps = np.diff(clock)
    assert np.all(np.abs(steps - 100_020) <= 64)
    assert clock[-1] / (run.t_s[-1] * 1e6) == pytest.approx(1.0002, abs=1e-6)
    assert np.array_equal(run.samples.column("seq"), np.arange(len(clock)))


def test_a_reset_starts_counters_and_clock_again_and_loses_what_comes_meanwhile():
    run = _run(Fault("board reset", 40.03, size=1.5, cause="brownout"), boot=7)
    table = run.samples.table
    assert set(table[:, 0]) == {7, 8}
    first = int(np.flatnonzero(table[:, 0] == 8)[0])
    assert table[first, 1] == 0
    assert 100_000 <= table[first, 2] < 200_100
    assert run.t_s[first - 1] <= 40.03 and run.t_s[first] > 41.53 + 0.1 - 1e-9
    whole = _run()
    lost = whole.samples.column("pulses")[-1] - table[first - 1, 3] - table[-1, 3]
    rate = RIG.expected_flow_m3_s * RIG.meter.pulses_per_m3
    assert lost == pytest.approx(1.6 * rate, rel=0.15)
    hellos = [hello for _, hello in run.hellos]
    assert hellos[0].reset == "power" and hellos[0].boot == 7
    again = next(hello for hello in hellos if hello.boot == 8)
    assert again.reset == "brownout" and again.seq == 0


def test_a_board_that_cannot_count_its_boots_says_zero():
    run = _run(Fault("board reset", 40.0), boot=0)
    assert set(run.samples.column("boot")) == {0}
    assert {hello.boot for _, hello in run.hellos} == {0}


def test_hello_at_start_and_each_minute_with_the_number_of_the_next_sample():
    run = _run()
    assert [before for before, _ in run.hellos] == [0, 600, 1200, 1800]
    for before, hello in run.hellos:
        assert hello.seq == run.samples.table[before, 1]
    first = run.items[0]
    assert isinstance(first, Hello) and first.channels == "FPV"
    joined = Samples.join([item for item in run.items if isinstance(item, Samples)])
    assert joined == run.samples


def test_counters_wrap_and_unwrap_to_the_same_counts():
    starts = {
        "start_pulses": (1 << 32) - 300,
        "start_clock_us": (1 << 32) - 30_000_000,
        "start_seq": 4_000_000_000,
    }
    wrapped, plain = _run(**starts), _run()
    table = wrapped.samples.table
    assert table[:, 1:5].max() < 1 << 32
    assert table[-1, 3] < 1 << 20 and table[0, 3] > 1 << 31
    assert table[-1, 2] < 1 << 28 and table[0, 2] > 1 << 31
    shift = np.array([starts["start_seq"], starts["start_clock_us"], starts["start_pulses"]])
    assert np.array_equal((plain.samples.table[:, 1:4] + shift) % (1 << 32), table[:, 1:4])
    unwrapper = Unwrapper(100_000, 2000.0)
    pulses = []
    for item in (wrapped.samples[:700], wrapped.samples[700:]):
        found = unwrapper.feed(item)
        assert not found.breaks
        pulses.append(found.table[:, 3])
    counted = np.concatenate(pulses)
    assert counted[-1] - counted[0] == plain.samples.column("pulses")[: len(counted)][-1]


def test_what_is_not_fitted_is_not_sent():
    bare = _run(valve=False)
    assert set(bare.samples.column("valve")) == {ABSENT}
    assert bare.hellos[0][1].channels == "FP"
    full = _run()
    assert np.array_equal(full.samples.column("valve") == 1, full.truth.spraying)
    assert set(full.samples.column("wheel")) == {ABSENT}
    assert _run(wheel=True).hellos[0][1].channels == "FPV"  # the rig has no wheel
    no_gauge = _run(gauge=False)
    assert no_gauge.hellos[0][1].channels == "FV"
    assert encode_sample(no_gauge.samples.table[50].tolist())


def test_the_wheel_counts_the_way():
    rig = replace(RIG, wheel=Wheel(40.0))
    run = _run(rig=rig, wheel=True)
    table = run.samples.table
    assert run.hellos[0][1].channels == "FPVW"
    way_m = run.truth.speed_m_s.sum() * run.truth.step_s
    assert table[-1, 10] == pytest.approx(40.0 * way_m, abs=1.5)
    assert np.all(table[:, 11] <= table[:, 2])
    spraying = run.truth.spraying
    assert run.truth.speed_m_s[spraying].mean() == pytest.approx(rig.work.speed_m_s, rel=0.02)


def test_twelve_bits_reach_further():
    ten, twelve = _run(), _run(adc_bits=12)
    ratio = twelve.samples.column("adc_sum").mean() / ten.samples.column("adc_sum").mean()
    assert ratio == pytest.approx(4.0, rel=0.01)
    assert twelve.hellos[0][1].adc_bits == 12

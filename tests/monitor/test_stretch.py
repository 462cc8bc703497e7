"""Many ticks at once are worth the same as one by one, to the last bit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import cycle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.stream_maker import HELLO, PSI, make_rig, make_samples

from flowlog.monitor.motion import Motion
from flowlog.monitor.outputs import Output, Position
from flowlog.monitor.phase import PhaseFinder
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.rules.excursion import Excursion, Pace
from flowlog.monitor.stream import TankFill, joined
from flowlog.monitor.ticks import Tick
from flowlog.rig.model import Gauge, Meter, Rig, Wheel
from flowlog.simulator.plan import FAULT_KINDS, Fault
from flowlog.simulator.run import plain_rig, scenario_for, simulate, with_faults
from flowlog.wire.records import Hello
from flowlog.wire.samples import FIELDS, Samples

SECONDS = st.sampled_from([0.5, 0.5, 0.5, 0.499998, 0.500003, 1.0, 2.5])


def fed(rig: Rig, items: Iterable, size: int) -> Output:
    """The whole stream in blocks of at most `size` samples."""
    monitor, total = Monitor(rig), Output()
    for item in items:
        parts = (
            [item[at : at + size] for at in range(0, len(item), size)]
            if isinstance(item, Samples)
            else [item]
        )
        for part in parts:
            out = monitor.feed(part)
            total.readings += out.readings
            total.events += out.events
    out = monitor.finish()
    total.readings += out.readings
    total.events += out.events
    return total


def rigs() -> list[Rig]:
    plain = plain_rig(tips=6, tank_gal=12.0)
    low, high = plain.meter.lowest_m3_s, plain.meter.highest_m3_s
    curve = ((low, 436e3), (0.4 * high, 450e3), (high, 461e3))
    return [
        plain,
        replace(
            plain,
            meter=Meter(450e3, low, high, curve),
            gauge=Gauge(plain.gauge.span_pa, place="before strainer"),
        ),
        replace(plain, wheel=Wheel(41.0)),
    ]


@pytest.mark.parametrize(("kind", "rig"), list(zip(FAULT_KINDS, cycle(rigs()), strict=False)))
def test_a_route_with_a_fault_gives_the_same_in_one_block_and_tick_by_tick(kind, rig):
    faults = [
        Fault(kind, at_s=200.0, until_s=320.0, tip=2),
        Fault("lost lines", at_s=0.0, size=0.12),
        Fault("board reset", at_s=420.0),
    ]
    scenario = with_faults(scenario_for(rig, hours=0.15, seed=len(kind)), *faults)
    # Every other route without the boom valve's input, and one in three boards has a wheel.
    fitted = replace(scenario.board, valve=len(kind) % 2 == 0, wheel=rig.wheel is not None)
    run = simulate(replace(scenario, board=fitted))
    whole, ticks = fed(rig, joined(run.received), 100_000), fed(rig, run.received, 5)
    assert len(whole.readings) > 400
    assert whole == ticks


@pytest.mark.parametrize(("over_s", "size"), [(2.0, 7), (5.0, 64), (12.0, 5), (40.0, 301)])
def test_a_fault_that_creeps_in_and_grows_gives_the_same_in_any_blocks(over_s, size):
    rig = rigs()[0]
    faults = [
        Fault("tip blocked", at_s=150.0, tip=2, over_s=over_s),
        Fault("tip blocked", at_s=260.0, until_s=330.0, tip=4, over_s=over_s),
        Fault("foam", at_s=400.0, size=0.08),
    ]
    run = simulate(with_faults(scenario_for(rig, hours=0.15, seed=round(over_s)), *faults))
    whole = fed(rig, joined(run.received), 100_000)
    assert any(event.code == "tip_blocked" for event in whole.events)
    assert whole == fed(rig, run.received, size)


def test_a_valve_that_does_not_obey_is_told_the_same_in_one_block_and_tick_by_tick():
    """Shut and leaking, open and dry: each once for long, and often for less than it takes."""
    rig = make_rig(6)
    short = lambda t: (t % 20.0) < 2.2  # noqa: E731
    leaking = lambda t: ((t > 120.0) & (t < 135.0)) | ((t > 60.0) & (t < 100.0) & short(t))  # noqa: E731
    dry = lambda t: ((t > 260.0) & (t < 275.0)) | ((t > 180.0) & (t < 240.0) & short(t))  # noqa: E731

    def flow(t):
        return rig.expected_flow_m3_s * np.where(dry(t), 0.0, np.where(leaking(t), 0.4, 1.0))

    def pressure(t):
        return 40 * PSI * np.where(dry(t), 0.1, 1.0)

    samples = make_samples(rig, 320.0, flow, pressure, noise=0.01)
    table = samples.table.copy()
    table[:, FIELDS.index("valve")] = ~leaking(0.1 * np.arange(1, len(table) + 1))
    items = [HELLO, Samples(table)]
    whole, by_ticks = fed(rig, items, 100_000), fed(rig, items, 5)
    assert whole == by_ticks
    said = [(e.code, e.change) for e in whole.events if e.code.startswith("valve_")]
    assert said == [
        ("valve_passes", "opened"),
        ("valve_passes", "cleared"),
        ("valve_dry", "opened"),
        ("valve_dry", "cleared"),
    ]


def test_joined_blocks_are_large_and_leave_out_only_hellos_that_say_nothing_new():
    fault = Fault("board reset", at_s=900.0)
    run = simulate(with_faults(scenario_for(plain_rig(), hours=0.5, seed=2), fault))
    samples = [item for item in run.items if isinstance(item, Samples)]
    stream = [*run.items[:9], TankFill(0.1), *run.items[9:]]
    items = list(joined(stream))
    assert Samples.join([i for i in items if isinstance(i, Samples)]) == Samples.join(samples)
    others = [item for item in items if not isinstance(item, Samples)]
    assert [type(item) for item in others] == [Hello, TankFill, Hello]
    assert others[0].boot != others[2].boot
    assert len(items) < 12 < len(samples)


@given(
    st.floats(-0.2, 0.2),
    st.lists(st.tuples(SECONDS, st.floats(-0.3, 0.3)), max_size=80),
    st.lists(st.tuples(SECONDS, st.floats(-0.3, 0.3)), max_size=80),
)
def test_an_excursion_turns_at_the_same_value_and_is_the_same_behind_it(shift, before, values):
    one = Excursion(0.05)
    for i, (seconds, beyond) in enumerate(before):
        one.step(Position(0, i, i), seconds, beyond + shift)
    seconds = np.array([s for s, _ in values])
    beyond = np.array([b + shift for _, b in values])
    count, after = one.after(lambda i: Position(1, i, i), Pace(seconds), beyond)
    for i in range(count):
        assert one.step(Position(1, i, i), float(seconds[i]), float(beyond[i])) is None
    if count == len(values):
        assert vars(after) == vars(one)
    else:
        assert one.step(Position(1, count, count), float(seconds[count]), float(beyond[count]))


@st.composite
def ticks(draw) -> list[Tick]:
    """Ticks of one segment: pulses that come and go, edges anywhere, valve known or not."""
    seq = t_us = pulses = wheel = 0
    edge_us, out = -1, []
    known = draw(st.sampled_from([0, 5]))
    with_wheel = draw(st.booleans())
    steps = draw(
        st.lists(
            st.tuples(
                st.sampled_from([5, 5, 5, 5, 7, 20]),
                st.integers(-300, 300),
                st.sampled_from([0, 0, 1, 9, 30, 31]),
                st.integers(0, 450_000),
                st.integers(0, 5),
            ),
            min_size=2,
            max_size=60,
        )
    )
    for periods, jitter_us, more, age_us, opened in steps:
        seq += periods
        t_us += periods * 100_000 + jitter_us
        pulses += more
        wheel += more
        edge_us = max(t_us - age_us, edge_us + 1) if more else edge_us
        turns = wheel if with_wheel else -1
        valve = opened if known else 0
        out.append(
            Tick(0, seq // 5, 5, seq, t_us, pulses, edge_us, turns, 0, 1, 0, 0, known, valve)
        )
    return out


def columns(rows: list[Tick]) -> np.ndarray:
    return np.array(rows, dtype=np.int64).T.copy()


@given(ticks(), st.booleans(), st.integers(1, 30))
def test_motion_measures_the_same(rows, with_curve, size):
    curve = ((1e-5, 430e3), (1e-4, 450e3)) if with_curve else ()
    rig = make_rig(2, meter=Meter(450e3, 1e-5, 1e-3, curve), wheel=Wheel(40.0))
    one, many = Motion(rig), Motion(rig)
    expected = [one.step(tick) for tick in rows]
    assert many.step(rows[0]) is None
    found = []
    for at in range(1, len(rows), size):
        found += many.steps(columns(rows[at : at + size])).rows()
    assert found == expected[1:]


@settings(max_examples=200)
@given(ticks(), st.integers(1, 30), st.sampled_from([0.95, 2.0, 3.45, 5.95]))
def test_phases_are_the_same(rows, size, settle_s):
    rig = make_rig(2, meter=Meter(80e3, 1e-5, 1e-3))
    motion, one, many = Motion(rig), PhaseFinder(rig, settle_s), PhaseFinder(rig, settle_s)
    motion.step(rows[0])
    table = columns(rows[1:])
    steps = motion.steps(table)
    pressure = np.where(steps.pulses > 9, 250e3, 10e3)
    for at in range(0, len(steps.seconds), size):
        part = slice(at, at + size)
        phases = many.look(table[:, part], steps[part], pressure[part])
        names, shares = [], []
        for tick, step, pressure_pa in zip(
            rows[1:][part], steps[part].rows(), pressure[part].tolist(), strict=True
        ):
            mean = step.mean_flow_m3_s
            names.append(one.step(tick, step.seconds, mean, pressure_pa))
            shares.append(one.open_share)
            if phases is None:
                many.step(tick, step.seconds, mean, pressure_pa)
        if phases is not None:
            assert phases.names == names
            assert phases.open_share.tolist() == shares
            assert phases.spraying.tolist() == [name == "spraying" for name in names]
            assert phases.off.tolist() == [name == "off" for name in names]
            many.go_on(phases)
        assert many.phase == one.phase
        assert many.open_share == one.open_share

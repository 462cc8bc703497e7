"""Broken sensors are told within tenths of a second, whole ones never, however blocks are cut."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.stream_maker import HELLO, PSI, make_rig, make_samples

from flowlog.monitor.outputs import Event, Output
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.sample_faults import Onset, SampleWatch
from flowlog.monitor.sensors import PressureGauge
from flowlog.rig.model import Gauge, Meter, Rig
from flowlog.wire.samples import Samples
from flowlog.wire.unwrap import Unwrapper

SENSORS = {"gauge_open", "gauge_short", "meter_silent"}


def run(rig: Rig, samples: Samples, size: int = 100_000) -> Output:
    monitor = Monitor(rig)
    total = monitor.feed(HELLO)
    parts = [monitor.feed(samples[at : at + size]) for at in range(0, len(samples), size)]
    for part in (*parts, monitor.finish()):
        total.readings += part.readings
        total.events += part.events
    return total


def sensor_events(out: Output) -> list[Event]:
    return [event for event in out.events if event.code in SENSORS]


def at_40_psi(t):
    return 40 * PSI + 0 * t


@pytest.mark.parametrize("tenth", range(5))
@pytest.mark.parametrize(("psi", "code"), [(-12.5, "gauge_open"), (112.5, "gauge_short")])
def test_a_broken_gauge_wire_is_said_at_the_third_sample(tenth, psi, code):
    rig = make_rig()
    begin = 40.0 + 0.1 * tenth
    samples = make_samples(
        rig,
        60.0,
        lambda t: rig.expected_flow_m3_s + 0 * t,
        lambda t: np.where(t > begin, psi * PSI, 40 * PSI),
    )
    (event,) = run(rig, samples).events
    assert (event.code, event.change) == (code, "opened")
    assert 0.25e6 < event.at.t_us - begin * 1e6 <= 0.31e6
    assert event.since.t_us == pytest.approx(begin * 1e6 + 0.1e6, abs=1.0)


def test_it_clears_two_seconds_after_the_wire_is_whole_and_opens_anew():
    rig = make_rig()

    def pressure(t):
        broken = ((t > 30.0) & (t < 34.0)) | ((t > 40.0) & (t < 44.0))
        return np.where(broken, -12.5 * PSI, 40 * PSI)

    events = run(
        rig, make_samples(rig, 60.0, lambda t: rig.expected_flow_m3_s + 0 * t, pressure)
    ).events
    assert [event.change for event in events] == ["opened", "cleared", "opened", "cleared"]
    assert [event.at.t_us / 1e6 for event in events] == pytest.approx(
        [30.3, 36.0, 40.3, 46.0], abs=0.51
    )
    assert events[0].alert == events[1].alert != events[2].alert


@pytest.mark.parametrize("bad", [1, 2])
def test_a_knocked_cable_is_no_fault_and_its_samples_are_not_judged(bad):
    """One or two samples at the rail, once a second for minutes."""
    rig = make_rig()
    samples = make_samples(rig, 180.0, lambda t: rig.expected_flow_m3_s + 0 * t, at_40_psi)
    table = samples.table.copy()
    for place in range(7, len(table), 10):
        table[place : place + bad, 5:9] = [0, 100, 0, 0]
    out = run(rig, Samples(table))
    assert out.events == []
    pressures = [r.pressure_pa for r in out.readings if r.pressure_pa is not None]
    assert pressures == pytest.approx([40 * PSI] * len(pressures), rel=2e-3)


@pytest.mark.parametrize("tenth", range(5))
@pytest.mark.parametrize("valve", [-1, 1])
def test_a_silent_meter_is_said_within_a_second_and_a_half(tenth, valve):
    rig = make_rig(gauge=Gauge(100 * PSI, place="boom" if valve < 0 else "before strainer"))
    begin = 40.0 + 0.1 * tenth
    samples = make_samples(
        rig, 60.0, lambda t: np.where(t > begin, 0.0, rig.expected_flow_m3_s), at_40_psi
    )
    samples.table[:, 9] = valve
    (event,) = run(rig, samples).events
    assert (event.code, event.change) == ("meter_silent", "opened")
    assert 1.0e6 < event.at.t_us - begin * 1e6 < 1.31e6
    assert event.since.t_us == pytest.approx(begin * 1e6, abs=0.02e6)
    assert "40 psi" in event.text


def test_a_meter_at_the_lowest_flow_of_its_range_is_not_silent():
    """Four pulses in five seconds, in a boom that is held under pressure."""
    slow = Meter(20e3, 0.8 / 20e3, 60e-3 / 60)
    rig = make_rig(2, meter=slow)
    samples = make_samples(rig, 300.0, lambda t: slow.lowest_m3_s + 0 * t, at_40_psi, noise=0.1)
    assert sensor_events(run(rig, samples)) == []


def test_a_boom_that_opens_with_its_pressure_before_the_flow_is_no_silent_meter():
    rig = make_rig()

    def on(t):
        return t % 20.0 > 10.0

    samples = make_samples(
        rig,
        200.0,
        lambda t: rig.expected_flow_m3_s * (on(t) & (t % 20.0 > 10.9)),
        lambda t: np.where(on(t), 40 * PSI, 8 * PSI),
    )
    assert sensor_events(run(rig, samples)) == []


@pytest.mark.parametrize(
    ("place", "valve"), [("before strainer", -1), ("before strainer", 0), ("boom", 0)]
)
def test_pressure_behind_a_shut_valve_is_no_silent_meter(place, valve):
    rig = make_rig(gauge=Gauge(100 * PSI, place=place))
    samples = make_samples(rig, 60.0, lambda t: 0 * t, at_40_psi)
    samples.table[:, 9] = valve
    assert sensor_events(run(rig, samples)) == []


@pytest.mark.parametrize("valve", [-1, 0])
def test_a_gauge_behind_its_span_is_no_short_while_the_pump_pumps_against_a_shut_valve(valve):
    rig = make_rig(gauge=Gauge(100 * PSI, place="before strainer"))

    def on(t):
        return (t < 30.0) | ((t > 40.0) & (t < 60.0))

    samples = make_samples(
        rig,
        80.0,
        lambda t: rig.expected_flow_m3_s * on(t),
        lambda t: np.where(on(t), 40 * PSI, 115 * PSI),
    )
    samples.table[:, 9] = np.where(on(samples.table[:, 2] / 1e6 - 0.05), 1, 0) if valve == 0 else -1
    assert sensor_events(run(rig, samples)) == []


def test_a_short_that_began_at_a_shut_valve_is_said_when_it_opens():
    rig = make_rig(gauge=Gauge(100 * PSI, place="before strainer"))

    def on(t):
        return (t < 30.0) | (t > 40.0)

    samples = make_samples(
        rig,
        60.0,
        lambda t: rig.expected_flow_m3_s * on(t),
        lambda t: np.where(t < 33.0, 40 * PSI, 115 * PSI),
    )
    (event,) = sensor_events(run(rig, samples))
    assert event.code == "gauge_short"
    assert 40.1e6 < event.at.t_us < 40.6e6


def test_noise_of_the_adc_near_the_rail_is_no_broken_wire():
    """A gauge that reads 3 % below zero: 8 codes above the rail's 41, with 5 codes of noise."""
    rig = make_rig()
    samples = make_samples(rig, 120.0, lambda t: 0 * t, lambda t: 0 * t)
    rng = np.random.default_rng(4)
    codes = np.round(rng.normal(49.0, 5.0, (len(samples), 100))).astype(np.int64)
    samples.table[:, 5] = codes.sum(axis=1)
    samples.table[:, 7], samples.table[:, 8] = codes.min(axis=1), codes.max(axis=1)
    assert (samples.table[:, 7] < 41).any()
    assert sensor_events(run(rig, samples)) == []


def test_a_meter_that_pauses_is_not_judged_meanwhile():
    """A second without a pulse: no alert, and the boom's conductance is not read from it."""
    rig = make_rig(4)
    for tenth in range(10):
        begin = 60.0 + 0.1 * tenth

        def flow(t, begin=begin):
            return rig.expected_flow_m3_s * np.where((t > begin) & (t < begin + 1.0), 0.0, 1.0)

        samples = make_samples(rig, 90.0, flow, at_40_psi)
        samples.table[:, 9] = 1
        out = run(rig, samples)
        assert out.events == []
        shares = [r.conductance_share for r in out.readings if r.conductance_share is not None]
        assert min(shares) > 0.9


def samples_at(period_us: int, codes: list[int]) -> np.ndarray:
    """Unwrapped samples of a gauge, from a board with this period."""
    return np.array(
        [
            [
                0,
                i,
                (i + 1) * period_us,
                7 * i,
                (i + 1) * period_us,
                code * 100,
                100,
                code,
                code,
                -1,
                -1,
                -1,
            ]
            for i, code in enumerate(codes)
        ]
    )


@pytest.mark.parametrize(("period_us", "needed"), [(10_000, 16), (100_000, 3), (1_000_000, 3)])
def test_a_wire_is_called_broken_on_three_samples_and_no_sooner_than_in_a_seventh_of_a_second(
    period_us, needed
):
    for bad in (needed - 1, needed):
        watch = SampleWatch(make_rig(), period_us)
        watch.set_gauge(PressureGauge(Gauge(100 * PSI), 10))
        onsets, doubt = watch.look(samples_at(period_us, [300] * 4 + [0] * bad + [300] * 4))
        assert [onset.at.seq for onset in onsets] == [3 + needed] * (bad == needed)
        assert doubt.tolist() == [0] * 4 + [1] * bad + [0] * 4


def test_a_broken_gauge_raises_nothing_else():
    """Of the tick in which the wire breaks, nothing is judged."""
    rig = make_rig(4)
    for tenth in range(10):
        begin = 60.0 + 0.1 * tenth
        samples = make_samples(
            rig,
            90.0,
            lambda t: rig.expected_flow_m3_s + 0 * t,
            lambda t, begin=begin: np.where(t > begin, -12.5 * PSI, 40 * PSI),
        )
        out = run(rig, samples)
        assert {event.code for event in out.events} == {"gauge_open"}
        shares = [r.conductance_share for r in out.readings if r.conductance_share is not None]
        assert shares == pytest.approx([1.0] * len(shares), abs=5e-3)


@st.composite
def rough_streams(draw) -> np.ndarray:
    """Unwrapped samples in which wires break, meters stop and samples are missing, at random."""
    rows, t_us, seq, pulses, segment = [], 0, 0, 0, 0
    edge_us = -1
    pieces = draw(
        st.lists(
            st.tuples(
                st.integers(1, 40),
                st.sampled_from([0, 20, 60, 200, 400, 1000]),
                st.booleans(),
                st.sampled_from([-1, -1, 0, 1]),
                st.sampled_from([1, 1, 1, 8, 15]),
            ),
            min_size=1,
            max_size=12,
        )
    )
    for count, code, flows, valve, apart in pieces:
        if draw(st.integers(0, 9)) == 0:
            segment, t_us, seq, pulses, edge_us = segment + 1, 0, 0, 0, -1
        for number in range(count):
            step = apart if number == 0 else 1
            seq, t_us = seq + step, t_us + 100_000 * step
            if flows:
                pulses, edge_us = pulses + 4, t_us - 3_000
            rows.append(
                [segment, seq, t_us, pulses, edge_us, code * 100, 100, code, code, valve, -1, -1]
            )
    return np.array(rows, dtype=np.int64)


def looked(rig: Rig, table: np.ndarray, sizes: list[int]) -> tuple[list[Onset], list[int]]:
    watch = SampleWatch(rig, 100_000)
    watch.set_gauge(PressureGauge(rig.gauge, 10))
    onsets, doubts, at, turn = [], [], 0, 0
    while at < len(table):
        part = table[at : at + sizes[turn % len(sizes)]]
        found, doubt = watch.look(part)
        onsets += found
        doubts += [0] * len(part) if doubt is None else doubt.tolist()
        at, turn = at + len(part), turn + 1
    return onsets, doubts


@settings(max_examples=300, deadline=None)
@given(rough_streams(), st.lists(st.integers(1, 90), min_size=1, max_size=6))
def test_blocks_find_what_single_samples_find(table, sizes):
    for place in ("boom", "before strainer"):
        rig = make_rig(gauge=Gauge(100 * PSI, place=place))
        assert looked(rig, table, sizes) == looked(rig, table, [1])


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 300), min_size=1, max_size=10))
def test_any_cut_gives_the_same_events_in_the_same_order(sizes):
    rig = make_rig(6)

    def pressure(t):
        broken = ((t > 31.23) & (t < 35.0)) | ((t > 55.5) & (t < 56.71))
        return np.where(broken, -12.5 * PSI, 40 * PSI)

    samples = make_samples(
        rig,
        80.0,
        lambda t: rig.expected_flow_m3_s * np.where((t > 62.31) & (t < 70.0), 0.0, 1.0),
        pressure,
        noise=0.01,
    )
    samples = Samples(np.delete(samples.table, slice(None, None, 13), axis=0))
    whole = run(rig, samples)
    monitor = Monitor(rig)
    cut, at, turn = monitor.feed(HELLO), 0, 0
    while at < len(samples):
        out = monitor.feed(samples[at : at + sizes[turn % len(sizes)]])
        at, turn = at + sizes[turn % len(sizes)], turn + 1
        cut.readings += out.readings
        cut.events += out.events
    out = monitor.finish()
    cut.readings += out.readings
    cut.events += out.events
    assert cut == whole
    assert [event.code for event in sensor_events(whole)][::2] == [
        "gauge_open",
        "gauge_open",
        "meter_silent",
    ]


def test_the_onset_is_said_in_the_call_that_brings_its_sample():
    rig = make_rig()
    samples = make_samples(
        rig,
        40.0,
        lambda t: rig.expected_flow_m3_s + 0 * t,
        lambda t: np.where(t > 30.0, -12.5 * PSI, 40 * PSI),
    )
    monitor = Monitor(rig)
    monitor.feed(HELLO)
    said = [bool(monitor.feed(samples[i : i + 1]).events) for i in range(len(samples))]
    assert said.index(True) == 302
    unwrapped = Unwrapper(100_000, 20_000.0).feed(samples).column("adc_sum")
    assert (unwrapped[300:303] < 4100).all()

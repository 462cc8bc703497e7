"""The pipeline as a whole: what it says about samples whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.stream_maker import GPM, HELLO, PSI, make_rig, make_samples

from flowlog.monitor.outputs import Output
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.stream import TankFill
from flowlog.rig.model import HealthyBoom, Wheel
from flowlog.wire.samples import Samples


def run(rig, samples: Samples, hello=HELLO, baseline=None) -> Output:
    monitor = Monitor(rig, baseline)
    total = monitor.feed(hello)
    for part in (monitor.feed(samples), monitor.finish()):
        total.readings += part.readings
        total.events += part.events
    return total


def steady(rig, seconds=120.0, *, blocked_at=None, blocked=1.0, back_at=None, noise=0.0, seed=1):
    """A boom on a pump that keeps its flow: a blocked tip raises the pressure."""
    tips = rig.boom.tips
    full = rig.expected_flow_m3_s

    def conductance(t):
        g = np.full_like(t, rig.nominal_conductance)
        if blocked_at is not None:
            gone = (t >= blocked_at) & (t < (back_at if back_at is not None else np.inf))
            g[gone] *= 1 - blocked / tips
        return g

    def pressure(t):
        return (full / conductance(t)) ** 2 * 0.5 + 20 * PSI

    def flow(t):
        return conductance(t) * np.sqrt(pressure(t))

    return make_samples(rig, seconds, flow, pressure, noise=noise, seed=seed)


def opened(out: Output) -> list[str]:
    return [event.code for event in out.events if event.change == "opened"]


def without_refinements(events):
    """Without what only measured the same fault better."""
    return [event for event in events if "surer" not in event.details]


def test_steady_spraying_gives_flow_pressure_rate_volume_and_area():
    rig = make_rig()
    out = run(rig, steady(rig, 60.0))
    reading = out.readings[30]
    assert reading.phase == "spraying"
    assert reading.flow_m3_s == pytest.approx(8 * 0.5 * GPM, rel=2e-3)
    assert reading.pressure_pa == pytest.approx(40 * PSI, rel=2e-3)
    assert reading.rate_m3_m2 == pytest.approx(rig.work.rate_m3_m2, rel=0.02)
    volume = sum(r.volume_m3 for r in out.readings)
    area = sum(r.area_m2 for r in out.readings)
    # From the end of the first half second to the last sample.
    assert volume == pytest.approx(8 * 0.5 * GPM * 59.5, rel=2e-3)
    assert area == pytest.approx(1.5 * 8 * 0.508 * 59.5, rel=0.01)
    assert out.events == []


def test_readings_come_once_a_second_and_cover_all_the_time():
    rig = make_rig()
    out = run(rig, steady(rig, 60.0))
    assert len(out.readings) == 60
    assert sum(r.seconds for r in out.readings) == pytest.approx(59.9 - 0.4)
    assert sum(r.samples for r in out.readings) == 600 - 5


@pytest.mark.parametrize(("tips", "within"), [(2, 5), (4, 5), (6, 5), (8, 5), (12, 5), (24, 10)])
def test_one_blocked_tip_is_called_one_tip_within_seconds(tips, within):
    rig = make_rig(tips)
    out = run(rig, steady(rig, 120.0, blocked_at=60.0))
    assert not {"boom_leak", "meter_silent", "gauge_stuck"} & set(opened(out))
    alert, *later = [e for e in out.events if e.code == "tip_blocked"]
    assert alert.change == "opened"
    # What follows is the same size, measured better.
    assert all(e.change == "grew" and e.details["surer"] for e in later)
    assert {e.alert for e in later} <= {alert.alert}
    assert len(later) <= 2
    for earlier, surer in zip([alert, *later], later, strict=False):
        assert surer.size_high - surer.size_low < earlier.size_high - earlier.size_low
        assert surer.size == pytest.approx(1.0, abs=0.1)
    assert 60e6 < alert.at.t_us <= 60e6 + within * 1e6
    assert alert.since.t_us == pytest.approx(60e6, abs=1.0e6)
    assert alert.size == pytest.approx(1.0, abs=0.15)
    assert alert.size_low < 1.0 < alert.size_high
    assert alert.size_unit == "tips"


def test_a_half_blocked_tip_is_found_and_sized():
    rig = make_rig(6)
    out = run(rig, steady(rig, 120.0, blocked_at=60.0, blocked=0.5))
    (alert,) = [event for event in out.events if event.change == "opened"]
    assert alert.code == "tip_blocked"
    assert alert.size == pytest.approx(0.5, abs=0.1)


def test_the_alert_clears_when_the_tip_is_clean_again_and_only_once():
    rig = make_rig()
    out = run(rig, steady(rig, 180.0, blocked_at=60.0, back_at=120.0, noise=0.01))
    events = without_refinements(out.events)
    changes = [(e.code, e.change) for e in events if e.code == "tip_blocked"]
    assert changes == [("tip_blocked", "opened"), ("tip_blocked", "cleared")]
    cleared = out.events[-1]
    assert 120e6 < cleared.at.t_us < 126e6
    assert cleared.alert == out.events[0].alert


def test_a_second_blocked_tip_grows_the_same_alert():
    rig = make_rig()
    one, two = np.log(7 / 8), np.log(6 / 8)

    def shift(t):
        return np.where(t < 60, 0.0, np.where(t < 90, one, two))

    flow = rig.expected_flow_m3_s
    # The pressure answers by three tenths, and drives the tips that are left by half of that.
    samples = make_samples(
        rig,
        130.0,
        lambda t: flow * np.exp(0.85 * shift(t)),
        lambda t: 40 * PSI * np.exp(-0.3 * shift(t)),
    )
    events = without_refinements(run(rig, samples).events)
    events = [e for e in events if e.code == "tip_blocked"]
    assert [e.change for e in events] == ["opened", "grew"]
    assert len({e.alert for e in events}) == 1
    assert events[0].size == pytest.approx(1.0, abs=0.15)
    assert events[1].size == pytest.approx(2.0, abs=0.15)


def test_a_missing_tip_is_a_leak_and_not_a_blockage():
    rig = make_rig()
    out = run(rig, steady(rig, 120.0, blocked_at=60.0, blocked=-4.0))
    assert "boom_leak" in opened(out)
    assert "tip_blocked" not in opened(out)


@pytest.mark.parametrize("step", [0.8, 0.9, 1.1, 1.2])
def test_a_change_of_pressure_is_no_blocked_tip(step):
    """Ten per cent more or less pressure, at once: flow follows the square-root law."""
    rig = make_rig(12)

    def pressure(t):
        return 38 * PSI * np.where(t < 60, 1.0, step)

    samples = make_samples(
        rig, 120.0, lambda t: rig.nominal_conductance * np.sqrt(pressure(t)), pressure, noise=0.01
    )
    assert not {"tip_blocked", "boom_leak"} & set(opened(run(rig, samples)))


def test_a_burst_of_air_through_the_meter_is_no_blocked_tip():
    rig = make_rig(4)

    def flow(t):
        burst = (t % 20.0 > 10.0) & (t % 20.0 < 11.2)
        return rig.expected_flow_m3_s * np.where(burst & (t > 30), 0.7, 1.0)

    samples = make_samples(rig, 300.0, flow, lambda t: 40 * PSI + 0 * t, noise=0.01)
    assert run(rig, samples).events == []


def test_short_passes_are_enough_to_find_a_blocked_tip():
    """Ten seconds on, eight off: the tests are frozen while the boom is shut."""
    rig = make_rig()

    def on(t):
        return t % 18.0 < 10.0

    def conductance(t):
        return rig.nominal_conductance * np.where(t < 180, 1.0, 7 / 8)

    def pressure(t):
        return np.where(on(t), 40 * PSI, 9 * PSI)

    samples = make_samples(
        rig, 240.0, lambda t: conductance(t) * np.sqrt(pressure(t)) * on(t), pressure, noise=0.005
    )
    out = run(rig, samples)
    assert opened(out)[0] == "tip_blocked"
    assert set(opened(out)) == {"tip_blocked", "rate_low"}
    assert out.events[0].at.t_us < 200e6


def test_area_counts_only_while_the_boom_is_open():
    rig = make_rig()

    def on(t):
        return (t % 40.0 > 10.0) & (t % 40.0 < 33.0)

    samples = make_samples(
        rig,
        400.0,
        lambda t: rig.expected_flow_m3_s * on(t),
        lambda t: np.where(on(t), 40 * PSI, 8 * PSI),
    )
    out = run(rig, samples)
    area = sum(r.area_m2 for r in out.readings)
    assert area == pytest.approx(230.0 * 1.5 * 8 * 0.508, rel=0.01)
    assert {"off", "settling", "spraying", "draining"} == {r.phase for r in out.readings}
    assert out.events == []


def test_pressure_outside_of_the_band_is_said_once_and_taken_back():
    rig = make_rig()

    def pressure(t):
        return np.where((t > 30) & (t < 60), 22 * PSI, 40 * PSI)

    samples = make_samples(
        rig, 90.0, lambda t: rig.nominal_conductance * np.sqrt(pressure(t)), pressure
    )
    events = [e for e in run(rig, samples).events if e.code == "pressure_low"]
    assert [e.change for e in events] == ["opened", "cleared"]
    assert "22 psi" in events[0].text
    assert "25 psi to 50 psi" in events[0].text


def test_rate_under_the_label_names_the_rate_asked_for():
    rig = make_rig()

    def pressure(t):
        return np.where(t > 30, 28 * PSI, 40 * PSI)

    samples = make_samples(
        rig, 60.0, lambda t: rig.nominal_conductance * np.sqrt(pressure(t)), pressure
    )
    out = run(rig, samples)
    assert opened(out) == ["rate_low"]
    assert out.events[0].size == pytest.approx(100 * (np.sqrt(28 / 40) - 1), abs=1.0)
    assert "16 % under" in out.events[0].text
    assert "if the ground speed is the calibrated one" in out.events[0].text


def test_a_silent_meter_is_a_sensor_fault_and_not_a_blocked_boom():
    rig = make_rig()
    samples = make_samples(
        rig,
        90.0,
        lambda t: rig.expected_flow_m3_s * np.where(t < 60, 1.0, 0.0),
        lambda t: 40 * PSI + 0 * t,
    )
    out = run(rig, samples)
    assert opened(out) == ["meter_silent"]
    assert out.events[0].at.t_us <= 62.5e6
    # The boom still sprays: the ground goes on counting.
    assert out.readings[-1].phase == "spraying"


def test_a_meter_that_starts_to_count_twice_is_named():
    rig = make_rig()
    samples = make_samples(
        rig,
        90.0,
        lambda t: rig.expected_flow_m3_s * np.where(t < 60, 1.0, 2.0),
        lambda t: 40 * PSI + 0 * t,
    )
    assert "meter_double" in opened(run(rig, samples))


@pytest.mark.parametrize(("psi", "code"), [(-9.5, "gauge_open"), (110.0, "gauge_short")])
def test_a_gauge_at_its_rail_is_a_wire_and_judges_nothing(psi, code):
    rig = make_rig()
    samples = make_samples(
        rig,
        120.0,
        lambda t: rig.expected_flow_m3_s + 0 * t,
        lambda t: np.where((t > 60) & (t < 90), psi * PSI, 40 * PSI),
    )
    out = run(rig, samples)
    assert [(e.code, e.change) for e in out.events] == [(code, "opened"), (code, "cleared")]
    assert 60e6 < out.events[0].at.t_us <= 61.1e6
    assert out.readings[70].pressure_pa is None


def test_a_gauge_that_does_not_follow_the_boom_is_stuck():
    rig = make_rig()
    samples = make_samples(
        rig,
        60.0,
        lambda t: rig.expected_flow_m3_s * np.where(t < 30, 0.0, 1.0),
        lambda t: 9 * PSI + 0 * t,
    )
    assert "gauge_stuck" in opened(run(rig, samples))


def test_the_tank_counts_down_warns_and_is_refilled():
    rig = make_rig()  # 200 L, warned at 20 L; 15.14 L/min
    monitor = Monitor(rig)
    monitor.feed(HELLO)
    samples = steady(rig, 13 * 60.0)
    out = monitor.feed(samples)
    assert "tank_low" in opened(out)
    assert out.readings[-1].tank_m3 == pytest.approx(0.2 - 13 / 60 * 15.14e-3 * 60, abs=3e-4)
    out = monitor.feed(TankFill(0.2))
    assert [(e.code, e.change) for e in out.events] == [("tank_low", "cleared")]


def test_nothing_is_said_about_pressure_before_the_board_says_what_its_adc_is():
    rig = make_rig()
    monitor = Monitor(rig)
    out = monitor.feed(steady(rig, 60.0))
    assert all(r.pressure_pa is None for r in out.readings)
    assert out.readings[-1].flow_m3_s == pytest.approx(rig.expected_flow_m3_s, rel=2e-3)


def test_a_reset_of_the_board_keeps_what_it_counted_since():
    rig = make_rig()
    flow = rig.expected_flow_m3_s
    before = make_samples(rig, 30.0, lambda t: flow + 0 * t, lambda t: 40 * PSI + 0 * t)
    # The first five seconds after the reset do not arrive.
    after = make_samples(rig, 30.0, lambda t: flow + 0 * t, lambda t: 40 * PSI + 0 * t, boot=2)[50:]
    out = run(rig, Samples.join([before, after]))
    volume = sum(r.volume_m3 for r in out.readings)
    assert volume == pytest.approx(flow * (29.5 + 30.0), rel=2e-3)
    assert [e.code for e in out.events] == ["board_reset", "data_gap"]
    assert all(0 <= r.seconds < 6.1 for r in out.readings)
    assert all(r.flow_m3_s is None or 0 <= r.flow_m3_s < 1.1 * flow for r in out.readings)


def test_a_gap_keeps_its_volume_and_estimates_its_area():
    rig = make_rig()
    samples = steady(rig, 120.0)
    holed = Samples.join([samples[:300], samples[900:]])
    whole, out = run(rig, samples), run(rig, holed)
    for total in ("volume_m3", "area_m2"):
        expected = sum(getattr(r, total) for r in whole.readings)
        assert sum(getattr(r, total) for r in out.readings) == pytest.approx(expected, rel=5e-3)
    assert [e.code for e in out.events] == ["data_gap"]
    assert out.events[0].size == pytest.approx(60.5, abs=0.5)
    assert sum(r.lost for r in out.readings) == 600


def test_clock_and_counts_may_wrap_in_the_middle():
    rig = make_rig()
    flow = rig.expected_flow_m3_s
    start_s = (2**32 - 30_000_000) / 1e6
    samples = make_samples(
        rig,
        60.0,
        lambda t: flow + 0 * t,
        lambda t: 40 * PSI + 0 * t,
        start_s=start_s,
        start_pulses=2**32 - 2000.5,
    )
    out = run(rig, samples)
    assert sum(r.volume_m3 for r in out.readings) == pytest.approx(flow * 59.5, rel=2e-3)
    assert out.events == []
    assert max(r.flow_m3_s for r in out.readings) < 1.05 * flow


def test_a_wheel_gives_the_speed():
    rig = make_rig(wheel=Wheel(20.0))
    samples = steady(rig, 60.0)
    table = samples.table.copy()
    seconds = np.arange(len(table)) / 10
    table[:, 10] = np.floor(seconds * 1.2 * 20)
    table[:, 11] = table[:, 2]
    out = run(rig, Samples(table))
    assert out.readings[30].speed_m_s == pytest.approx(1.2, rel=0.05)
    assert sum(r.area_m2 for r in out.readings) == pytest.approx(
        59.5 * 1.2 * rig.boom.effective_width_m, rel=0.01
    )


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 400), min_size=1, max_size=40), st.randoms())
def test_any_cut_into_blocks_gives_the_same_readings_and_events(sizes, random):
    """Identical to the last bit, with lost lines, a reset, a blocked tip and a refill."""
    rig = make_rig(6)
    first = steady(rig, 90.0, blocked_at=60.0, noise=0.01)
    keep = [i for i in range(len(first)) if i % 17]
    second = make_samples(
        rig, 40.0, lambda t: rig.expected_flow_m3_s + 0 * t, lambda t: 40 * PSI + 0 * t, boot=2
    )
    samples = Samples.join([Samples(first.table[keep]), second])
    whole = run(rig, samples)

    monitor = Monitor(rig)
    cut = monitor.feed(HELLO)
    start = 0
    while start < len(samples):
        size = random.choice(sizes)
        part = monitor.feed(samples[start : start + size])
        cut.readings += part.readings
        cut.events += part.events
        start += size
    part = monitor.finish()
    cut.readings += part.readings
    cut.events += part.events
    assert cut == whole
    assert "tip_blocked" in opened(whole)


def test_a_fault_of_minutes_does_not_dull_the_test_for_the_way_back():
    """Cleaned while the boom was shut, after two minutes: cleared in the first seconds after."""
    rig = make_rig()

    def on(t):
        return (t < 180.0) | (t > 200.0)

    def conductance(t):
        return rig.nominal_conductance * np.where((t > 60) & (t < 190), 7 / 8, 1.0)

    def pressure(t):
        return np.where(on(t), 40 * PSI, 9 * PSI)

    samples = make_samples(
        rig, 240.0, lambda t: conductance(t) * np.sqrt(pressure(t)) * on(t), pressure, noise=0.01
    )
    events = without_refinements(run(rig, samples).events)
    events = [e for e in events if e.code == "tip_blocked"]
    assert [e.change for e in events] == ["opened", "cleared"]
    assert 200e6 < events[1].at.t_us < 208e6


def test_a_tip_cleaned_in_the_first_seconds_is_cleared_within_seconds():
    """The step of the onset does not pass for roughness, which would dull the way back."""
    rig = make_rig(4)
    out = run(rig, steady(rig, 180.0, blocked_at=120.0, back_at=135.0, noise=0.01))
    events = [e for e in without_refinements(out.events) if e.code == "tip_blocked"]
    assert [e.change for e in events] == ["opened", "cleared"]
    assert 135e6 < events[1].at.t_us < 138.1e6


def test_pulses_faster_than_the_meter_can_are_called_so_and_do_not_silence_the_stream():
    """Ignition noise: ten times the highest pulse rate of this meter."""
    rig = make_rig()

    def flow(t):
        return np.where((t > 30) & (t < 40), 10 * rig.meter.highest_m3_s, rig.expected_flow_m3_s)

    out = run(rig, make_samples(rig, 60.0, flow, lambda t: 40 * PSI + 0 * t))
    changes = [(e.code, e.change) for e in out.events if e.code == "meter_implausible"]
    assert changes == [("meter_implausible", "opened"), ("meter_implausible", "cleared")]
    assert len(out.readings) == 60


@pytest.mark.parametrize("tips", [4, 8, 12])
def test_a_tip_blocked_from_the_start_is_told_from_a_calibrated_baseline(tips):
    rig = make_rig(tips)
    healthy = HealthyBoom(float(np.log(rig.nominal_conductance)), 0.003)
    out = run(rig, steady(rig, 120.0, blocked_at=0.0, noise=0.01), baseline=healthy)
    alert = next(e for e in out.events if e.code == "tip_blocked")
    assert alert.at.t_us < 30e6
    assert alert.since.t_us < 5e6
    assert alert.size == pytest.approx(1.0, abs=0.35)
    assert "calibrated" in alert.text


@pytest.mark.parametrize("seed", range(8))
def test_a_healthy_boom_that_repeats_within_one_per_cent_is_no_fault(seed):
    rig = make_rig(12)
    off = np.random.default_rng(seed).normal(0, 0.0075)
    healthy = HealthyBoom(float(np.log(rig.nominal_conductance)) + off, 0.003)
    assert run(rig, steady(rig, 120.0, noise=0.01, seed=seed), baseline=healthy).events == []


def test_a_tip_blocked_from_the_start_and_cleaned_is_cleared():
    rig = make_rig()
    healthy = HealthyBoom(float(np.log(rig.nominal_conductance)), 0.003)
    samples = steady(rig, 150.0, blocked_at=0.0, back_at=90.0, noise=0.005)
    events = without_refinements(run(rig, samples, baseline=healthy).events)
    events = [e for e in events if e.code == "tip_blocked"]
    assert [e.change for e in events] == ["opened", "cleared"]
    assert 90e6 < events[1].at.t_us < 97e6

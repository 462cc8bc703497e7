"""What the pins see, against what truly happened."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowlog.rig.model import Meter
from flowlog.simulator.noise import NOISES, Noise
from flowlog.simulator.plan import Fault, GaugePlan, Leg, MeterPlan, passes
from flowlog.simulator.plant import run_plant
from flowlog.simulator.run import plain_rig, scenario_for
from flowlog.simulator.sensors import count_edges, gauge_readings, meter_pulses
from flowlog.simulator.supply import PSI

RIG = plain_rig(8)
LEGS = passes(3, 60.0, 15.0)
OPEN = (Leg(5.0, False), Leg(2000.0, True))


def _scenario(*faults, legs=LEGS, noise="none", rig=RIG, **changes):
    return replace(scenario_for(rig, legs=legs, noise=noise, faults=faults), **changes)


def _pulses(scenario):
    truth = run_plant(scenario)
    return truth, meter_pulses(scenario, truth)


def _pressure_pa(readings, bits=10):
    """A code is the floor of the share times 2^bits, so half a code is added back."""
    share = (readings.total / readings.number + 0.5) / (1 << bits)
    return (share - 0.1) / 0.8 * 100.0 * PSI


@settings(max_examples=60)
@given(
    rates=st.lists(st.floats(0, 400) | st.just(0.0), min_size=1, max_size=60),
    vanes=st.lists(st.floats(-0.2, 0.2), min_size=1, max_size=6),
)
def test_edges_are_where_the_rotor_is_at_a_vane(rates, vanes):
    rate, vane, step = np.array(rates), np.array(vanes), 0.1
    t_s = np.arange(1, len(rate) + 1) * step
    turned = np.cumsum(rate) * step
    pulses = count_edges(turned, rate, t_s, step, vane)
    assert np.all(np.diff(pulses.count) >= 0)
    assert np.all(pulses.edge_s <= t_s + 1e-12)
    assert np.all(np.diff(pulses.edge_s) >= 0)
    for k in range(len(rate)):
        count, edge = int(pulses.count[k]), float(pulses.edge_s[k])
        assert abs(count - turned[k]) < 1.3
        if edge >= 0:
            place = np.interp(edge, np.concatenate(([0.0], t_s)), np.concatenate(([0.0], turned)))
            assert place == pytest.approx(count + vane[count % len(vane)], abs=1e-6)


def test_without_noise_pulses_are_volume_times_the_factor():
    truth, pulses = _pulses(_scenario())
    expected = truth.total_volume_m3 * RIG.meter.pulses_per_m3
    assert pulses.count[-1] == pytest.approx(expected, abs=2)


@pytest.mark.parametrize(("level", "share"), [("quiet", 0.002), ("field", 0.004), ("harsh", 0.02)])
def test_with_noise_the_volume_stays_within_its_slow_error(level, share):
    # AR(1) of sigma s and tau 2 s over T: s sqrt(4 s / T); 1 % over 2000 s is 0.05 %, times 4 for
    # a 4-sigma limit; bubbles and harsh noise have more.
    truth, pulses = _pulses(_scenario(legs=OPEN, noise=level))
    expected = truth.total_volume_m3 * RIG.meter.pulses_per_m3
    assert pulses.count[-1] == pytest.approx(expected, rel=share)


def test_edge_timed_flow_follows_true_flow_behind_the_lag():
    truth, pulses = _pulses(_scenario(meter=MeterPlan(lag_s=0.2)))
    first, last = truth.t_s.searchsorted([20.0, 60.0])
    counted = pulses.count[last] - pulses.count[first]
    seconds = pulses.edge_s[last] - pulses.edge_s[first]
    flow = counted / seconds / RIG.meter.pulses_per_m3
    assert flow == pytest.approx(truth.flow_m3_s[first:last].mean(), rel=1e-5)
    closing = truth.t_s.searchsorted(65.0 + 1e-6)
    after = pulses.count[closing + 20] - pulses.count[closing - 1]
    # The rotor runs on: flow times lag.
    assert after == pytest.approx(flow * RIG.meter.pulses_per_m3 * 0.2, abs=2)


def test_factor_error_curve_and_drag():
    expected = RIG.expected_flow_m3_s
    _, exact = _pulses(_scenario())
    _, high = _pulses(_scenario(meter=MeterPlan(error_share=0.03)))
    assert high.count[-1] == pytest.approx(1.03 * exact.count[-1], rel=1e-3)
    _, dragged = _pulses(_scenario(meter=MeterPlan(drag_m3_s=0.1 * expected)))
    assert dragged.count[-1] == pytest.approx(0.9 * exact.count[-1], rel=0.01)
    curve = ((0.5 * expected, 440e3), (1.5 * expected, 460e3))
    curved = replace(RIG, meter=Meter(450e3, 0.0, 1.0, curve))
    truth, pulses = _pulses(_scenario(rig=curved))
    first, last = truth.t_s.searchsorted([20.0, 60.0])
    volume = truth.volume_m3[last] - truth.volume_m3[first]
    assert (pulses.count[last] - pulses.count[first]) / volume == pytest.approx(450e3, rel=1e-3)


def test_noise_of_flow_against_pressure_is_as_promised():
    """Spread and correlation of ln(flow) - ln(pressure)/2, the turbulence that pressure hides."""
    noise = Noise(supply_share=0.0, wander_share=0.0, vane_share=0.0, count_share=0.0)
    scenario = _scenario(legs=(Leg(5.0, False), Leg(8000.0, True)), noise=noise)
    _, pulses = _pulses(replace(scenario, meter=MeterPlan(lag_s=0.0)))
    fresh = np.diff(pulses.edge_s[100:])
    y = np.log(np.diff(pulses.count[100:]) / fresh)
    y -= y.mean()
    assert y.std() == pytest.approx(0.01, rel=0.1)
    for lag_s in (1.0, 2.0, 4.0):
        lag = round(lag_s / 0.1)
        assert np.mean(y[lag:] * y[:-lag]) / y.var() == pytest.approx(np.exp(-lag_s / 2.0), abs=0.1)


def _swirl_by_pass(scenario):
    """Spread of ln(pulses) - ln(true flow) in each pass, its first five seconds left out."""
    truth, pulses = _pulses(replace(scenario, meter=MeterPlan(lag_s=0.0)))
    fresh = np.diff(pulses.count, prepend=0) / np.maximum(truth.flow_m3_s, 1e-9)
    begins = np.flatnonzero(np.diff(truth.spraying.astype(int)) > 0)
    return np.array([np.log(fresh[k + 50 : k + 590]).std() for k in begins])


def test_some_passes_are_rougher_and_the_others_are_as_before():
    # A meter of many pulses, so that counting whole ones does not hide the swirl.
    rig = plain_rig(8, pulses_per_l=45e3)
    plain = replace(NOISES["none"], swirl_share=0.01, swirl_tau_s=0.5)
    rough = replace(plain, rough_pass_share=0.2, rough_pass_factor=2.5)
    legs = passes(100, 60.0, 10.0)
    ratio = _swirl_by_pass(_scenario(legs=legs, noise=rough, rig=rig)) / _swirl_by_pass(
        _scenario(legs=legs, noise=plain, rig=rig)
    )
    hit = ratio > 1.5
    assert ratio[hit] == pytest.approx(2.5, rel=0.03)
    assert ratio[~hit] == pytest.approx(1.0, rel=0.01)
    # 20 of 100 expected, a standard deviation of 4.
    assert 8 <= hit.sum() <= 32


def test_flow_turns_rough_from_the_moment_of_the_fault():
    rig = plain_rig(8, pulses_per_l=45e3)
    noise = replace(NOISES["none"], swirl_share=0.01, swirl_tau_s=0.5)
    legs = passes(4, 60.0, 10.0)
    before, after = (
        _swirl_by_pass(_scenario(*faults, legs=legs, noise=noise, rig=rig))
        for faults in ((), (Fault("rough flow", at_s=140.0),))
    )
    assert after / before == pytest.approx([1.0, 1.0, 2.0, 2.0], rel=0.02)


def test_vanes_repeat_each_turn():
    noise = replace(NOISES["none"], vane_share=0.015)
    scenario = _scenario(legs=OPEN, noise=noise, rig=plain_rig(2))
    _, pulses = _pulses(scenario)
    settled = slice(300, None)
    steps, spans = np.diff(pulses.count[settled]), np.diff(pulses.edge_s[settled])
    ideal = np.median(spans / steps)
    error = spans / ideal - steps
    end = pulses.count[settled][1:] % 6
    begin = pulses.count[settled][:-1] % 6
    assert error.std() == pytest.approx(0.015 * 2**0.5, rel=0.6)
    for i in range(6):
        for j in range(6):
            same = error[(begin == i) & (end == j)]
            if len(same) > 1:
                assert same.std() < 1e-3


def test_adc_sums_agree_with_their_number_and_extremes():
    for level in NOISES:
        scenario = _scenario(
            Fault("gauge open", 20.0, until_s=22.0),
            Fault("gauge short", 30.0, until_s=32.0),
            noise=level,
        )
        readings = gauge_readings(scenario, run_plant(scenario))
        assert np.all(readings.number == 100)
        assert np.all(readings.lowest <= readings.highest)
        assert np.all(readings.number * readings.lowest <= readings.total)
        assert np.all(readings.total <= readings.number * readings.highest)
        assert readings.lowest.min() == 0 and readings.highest.max() == 1023


@pytest.mark.parametrize("bits", [10, 12])
def test_gauge_shows_the_true_pressure(bits):
    scenario = _scenario(legs=OPEN, noise="field")
    scenario = replace(scenario, board=replace(scenario.board, adc_bits=bits))
    truth = run_plant(scenario)
    shown = _pressure_pa(gauge_readings(scenario, truth), bits)
    part = truth.t_s > 20.0
    error = shown[part] - truth.gauge_pa[part]
    assert abs(error.mean()) < 0.02 * PSI
    # 100 readings: noise of a tenth of 0.58 codes, and what the window leaves of the ripple.
    assert error.std() < 0.02 * 0.6 * truth.gauge_pa[part].mean()


def test_the_statistical_adc_matches_single_readings():
    """Against 100 readings drawn one by one: mean, spread and extremes of the same pressure."""
    noise = replace(NOISES["none"], adc_lsb=0.5)
    scenario = _scenario(legs=OPEN, noise=noise)
    truth = run_plant(scenario)
    ours = gauge_readings(scenario, truth)
    part = truth.t_s > 20.0
    exact = (0.1 + 0.8 * truth.gauge_pa[part][0] / (100 * PSI)) * 1024
    rng = np.random.default_rng(5)
    single = np.floor(exact + 0.5 * rng.standard_normal((5000, 100)))
    total = single.sum(axis=1)
    assert ours.total[part].mean() == pytest.approx(total.mean(), abs=0.5)
    assert ours.total[part].std() == pytest.approx(total.std(), rel=0.1)
    assert ours.lowest[part].mean() == pytest.approx(single.min(axis=1).mean(), abs=0.2)
    assert ours.highest[part].mean() == pytest.approx(single.max(axis=1).mean(), abs=0.2)


def test_ripple_widens_the_extremes_and_hardly_moves_the_mean():
    noise = replace(NOISES["none"], ripple_share=(0.05, 0.05), ripple_hz=(17.0, 17.0), adc_lsb=0.5)
    scenario = _scenario(legs=OPEN, noise=noise)
    truth = run_plant(scenario)
    readings = gauge_readings(scenario, truth)
    part = truth.t_s > 20.0
    swing = (readings.highest - readings.lowest)[part].mean()
    codes = 0.05 * truth.gauge_pa[part][0] / (100 * PSI) * 0.8 * 1024
    assert swing == pytest.approx(2 * codes, abs=4)
    shown = _pressure_pa(readings)[part]
    assert shown.mean() == pytest.approx(truth.gauge_pa[part].mean(), rel=2e-3)
    # The window's mean keeps sinc(17 Hz * 0.1 s) = 0.15 of the ripple.
    assert shown.std() / shown.mean() == pytest.approx(0.05 * 0.15 / 2**0.5, rel=0.3)


def test_gauge_errors_and_faults():
    def shown(*faults, **changes):
        scenario = _scenario(*faults, **changes)
        truth = run_plant(scenario)
        at = truth.t_s.searchsorted(50.0)
        return _pressure_pa(gauge_readings(scenario, truth))[at] / PSI

    healthy = shown()
    assert healthy == pytest.approx(40.0, abs=0.15)
    assert shown(gauge=GaugePlan(offset_share=0.02)) - healthy == pytest.approx(2.0, abs=0.15)
    assert shown(gauge=GaugePlan(span_error_share=0.05)) - healthy == pytest.approx(2.0, abs=0.15)
    assert shown(Fault("gauge drift", 0.0, size=0.1, over_s=100.0)) - healthy == pytest.approx(
        5.0, abs=0.2
    )
    assert shown(Fault("gauge open", 40.0)) < -10
    assert shown(Fault("gauge short", 40.0)) > 110
    before = shown(Fault("gauge stuck", 2.0))
    assert before < 11  # it stays at what the closed boom held

"""Each fault moves flow, pressure and conductance, as measured, the way that the trade knows.

Directions: physics of orifices and losses; the table of signatures in tests/against holds the
sizes for five supplies.
"""

from dataclasses import replace

import numpy as np
import pytest

from flowlog.simulator.plan import FAULT_KINDS, Fault, Leg
from flowlog.simulator.run import plain_rig, scenario_for, simulate, with_faults
from flowlog.wire.samples import Samples

RIG = plain_rig(8)
BEGIN_S = 60.0
UP, DOWN, SAME = 1, -1, 0

# kind: direction of flow, pressure, conductance; tip
SIGNATURES = {
    "tip blocked": (DOWN, UP, DOWN),
    "tip worn": (UP, DOWN, UP),
    "tip missing": (UP, DOWN, UP),
    "leak after meter": (UP, DOWN, UP),
    "leak before meter": (DOWN, DOWN, SAME),
    "strainer": (DOWN, DOWN, SAME),
    "strainer after gauge": (DOWN, UP, DOWN),
    "pump weak": (DOWN, DOWN, SAME),
    "regulator": (DOWN, DOWN, SAME),
    "foam": (UP, DOWN, UP),
    "air": (UP, DOWN, UP),
    "density": (DOWN, UP, DOWN),
    "meter double": (UP, SAME, UP),
    "gauge drift": (SAME, UP, DOWN),
}
WITHOUT_SIGNATURE = {
    "tank empty",
    "rough flow",
    "meter stuck",
    "meter open",
    "gauge open",
    "gauge short",
    "gauge stuck",
    "board reset",
    "cable unplugged",
    "corrupt lines",
    "lost lines",
}


def _measured(run, begin_s, end_s):
    """Flow in pulses a second and pressure as a share of the span, from the samples alone."""
    table = run.samples[run.sample_at(begin_s) : run.sample_at(end_s)].table
    flow = (table[-1, 3] - table[0, 3]) / ((table[-1, 4] - table[0, 4]) * 1e-6)
    share = ((table[:, 5] / table[:, 6] + 0.5) / 1024 - 0.1) / 0.8
    return flow, float(share.mean())


def _scenario(family="roller throttled", noise="none"):
    return scenario_for(RIG, legs=[Leg(5, False), Leg(200, True)], family=family, noise=noise)


def _direction(before, after, still=0.003):
    change = after / before - 1
    return SAME if abs(change) < still else int(np.sign(change))


def test_every_kind_of_fault_is_looked_at_here():
    assert set(SIGNATURES) | WITHOUT_SIGNATURE == set(FAULT_KINDS)


@pytest.mark.parametrize("family", ["demand", "demand relief", "roller throttled", "centrifugal"])
@pytest.mark.parametrize("kind", SIGNATURES)
def test_direction_of_flow_pressure_and_conductance(kind, family):
    tip = 3 if kind in {"tip blocked", "tip missing"} else None
    # Large enough to show in every supply; a tenth of a demand pump's flow is little.
    size = {"tip worn": 0.2, "leak before meter": 2.0, "pump weak": 0.4}.get(kind)
    run = simulate(with_faults(_scenario(family), Fault(kind, BEGIN_S, size=size, tip=tip)))
    q0, p0 = _measured(run, 20.0, 58.0)
    q1, p1 = _measured(run, 70.0, 200.0)
    found = (
        _direction(q0, q1),
        _direction(p0, p1),
        _direction(q0 / p0**0.5, q1 / p1**0.5),
    )
    assert found == SIGNATURES[kind]


@pytest.mark.parametrize("tips", [4, 6, 8, 12])
def test_one_blocked_tip_of_n_takes_an_nth_of_the_conductance(tips):
    rig = plain_rig(tips)
    scenario = scenario_for(rig, legs=[Leg(5, False), Leg(200, True)], noise="none")
    run = simulate(with_faults(scenario, Fault("tip blocked", BEGIN_S, tip=1)))
    (q0, p0), (q1, p1) = _measured(run, 20.0, 58.0), _measured(run, 70.0, 200.0)
    assert q1 / p1**0.5 / (q0 / p0**0.5) == pytest.approx(1 - 1 / tips, abs=0.004)


def test_a_denser_mix_takes_the_root_of_its_density_from_the_conductance():
    run = simulate(with_faults(_scenario(), Fault("density", BEGIN_S, size=0.1)))
    (q0, p0), (q1, p1) = _measured(run, 20.0, 58.0), _measured(run, 70.0, 200.0)
    assert q1 / p1**0.5 / (q0 / p0**0.5) == pytest.approx(1.1**-0.5, abs=0.003)
    truth = run.truth
    tips = sum(truth.tip_flow_m3_s(tip)[-1] for tip in range(1, RIG.boom.tips + 1))
    assert tips == pytest.approx(truth.flow_m3_s[-1], rel=1e-6)


def test_air_makes_flow_and_pressure_rough():
    def roughness(*faults):
        run = simulate(with_faults(_scenario(noise="quiet"), *faults))
        # Whole seconds: in a tenth of one, counting alone is rougher than any of this.
        pulses = np.diff(run.samples.column("pulses")[run.sample_at(70.0) :: 10])
        return pulses.std() / pulses.mean()

    assert roughness(Fault("air", BEGIN_S)) > 2 * roughness()
    assert roughness(Fault("foam", BEGIN_S)) > 1.02 * roughness()


def test_an_empty_tank_ends_in_check_pressure_and_no_flow():
    run = simulate(with_faults(_scenario(), Fault("tank empty", BEGIN_S)))
    table = run.samples[run.sample_at(80.0) :].table
    assert np.all(np.diff(table[:, 3]) == 0)
    assert run.truth.gauge_pa[-1] == pytest.approx(run.truth.check_pa)


@pytest.mark.parametrize("kind", ["meter stuck", "meter open"])
def test_a_dead_meter_leaves_the_pressure_and_the_true_flow_alone(kind):
    healthy = simulate(_scenario())
    run = simulate(with_faults(_scenario(), Fault(kind, BEGIN_S)))
    dead = run.samples[run.sample_at(62.0) :].table
    assert np.all(dead[:, 3] == dead[0, 3]) and np.all(dead[:, 4] == dead[0, 4])
    assert np.array_equal(run.truth.flow_m3_s, healthy.truth.flow_m3_s)
    assert np.array_equal(run.samples.column("adc_sum"), healthy.samples.column("adc_sum"))


def test_a_fault_ends_when_it_is_mended_and_grows_over_its_time():
    fault = Fault("tip blocked", 50.0, over_s=20.0, until_s=100.0, tip=2)
    truth = simulate(with_faults(_scenario(), fault)).truth
    share = truth.tip_share[:, 1]
    at = truth.t_s.searchsorted
    assert share[at(49.0)] == 1
    assert share[at(60.0)] == pytest.approx(0.5, abs=0.01)
    assert share[at(75.0)] == 0 and share[at(99.9)] == 0
    assert share[at(100.2)] == 1
    assert np.all(truth.tip_share[:, [0, 2, 3, 4, 5, 6, 7]] == 1)


@pytest.mark.parametrize("kind", ["corrupt lines", "lost lines", "cable unplugged"])
def test_the_cable_loses_lines_and_the_board_does_not_know(kind):
    healthy = simulate(_scenario(noise="field"))
    fault = Fault(kind, BEGIN_S, size=0.05, until_s=160.0)
    run = simulate(with_faults(_scenario(noise="field"), fault))
    assert run.samples == healthy.samples
    arrived = Samples.join([item for item in run.received if isinstance(item, Samples)])
    lost = len(run.samples) - len(arrived)
    expected = 1000 if kind == "cable unplugged" else 50
    assert lost == pytest.approx(expected, abs=1 if kind == "cable unplugged" else 25)
    gone = set(run.samples.column("seq")) - set(arrived.column("seq"))
    assert all(BEGIN_S <= run.t_s[seq] < 160.05 for seq in gone)


def test_stuck_gauge_keeps_its_reading_through_a_blocked_tip():
    faults = (Fault("gauge stuck", 40.0), Fault("tip blocked", BEGIN_S, tip=1))
    run = simulate(with_faults(_scenario(noise="field"), *faults))
    p = run.samples.column("adc_sum")[run.sample_at(40.2) :]
    assert p.std() < 10  # of 43000; the boom's own noise is some hundreds
    assert replace(run.scenario, faults=()).faults == ()

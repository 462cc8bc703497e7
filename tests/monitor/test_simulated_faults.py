"""Faults of the pump's side and of the mix, on simulated booms with every source of noise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.cuts import cut

from flowlog.monitor.outputs import Event, Output
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.stream import StreamItem
from flowlog.rig.model import Rig
from flowlog.simulator.plan import FAULT_KINDS, Fault, Leg, passes
from flowlog.simulator.run import plain_rig, scenario_for, simulate, with_faults
from flowlog.wire.samples import Samples

PUMPS = ["demand relief", "roller", "centrifugal"]
AT = 400.0
"""When the fault begins: the supply's level is learnt by then."""


def total(outputs) -> Output:
    whole = Output()
    for out in outputs:
        whole.readings += out.readings
        whole.events += out.events
    return whole


def run(rig: Rig, items: list[StreamItem]) -> Output:
    monitor = Monitor(rig)
    return total([*map(monitor.feed, items), monitor.finish()])


def events_of(
    *faults: Fault, family: str, tips: int = 6, seed: int = 3, legs=None, tank_m3=None
) -> list[Event]:
    rig = plain_rig(tips, tank_gal=None)
    legs = passes(1, 900.0, 0.0) if legs is None else legs
    scenario = scenario_for(rig, legs=legs, seed=seed, family=family, faults=faults)
    sim = simulate(replace(scenario, tank_m3=tank_m3))
    # Bands about rate and pressure have their own tests.
    bands = {"rate_low", "rate_high", "pressure_low", "pressure_high"}
    return [event for event in run(rig, sim.items).events if event.code not in bands]


def changes(events) -> list[tuple[str, str]]:
    return [(e.code, e.change) for e in events if "surer" not in e.details]


@pytest.mark.parametrize("seed", [3, 4, 5])
@pytest.mark.parametrize("tips", [4, 6, 12])
@pytest.mark.parametrize("family", PUMPS)
def test_an_emptying_tank_is_air_and_one_alert_whatever_it_looked_like_at_first(family, tips, seed):
    """A shift by the first gulps, if it was taken for a fault of the boom, is renamed."""
    litres = 0.06 * tips / 6
    events = events_of(family=family, tips=tips, seed=seed, tank_m3=litres)
    opened = {event.alert for event in events if event.change == "opened"}
    assert len(opened) == 1
    assert events[-1].code == "air_drawn"
    first = events[0]
    assert events[-1].at.t_us < first.at.t_us + 15e6
    assert events[-1].alert == first.alert
    assert events[-1].since == first.since


def test_an_alert_that_is_renamed_keeps_its_name_and_its_onset():
    events = events_of(family="demand relief", tank_m3=0.06)
    boom, air = events
    assert (boom.code, boom.change) == ("boom_leak", "opened")
    assert (air.code, air.change) == ("air_drawn", "grew")
    assert air.alert == boom.alert
    assert air.alert.startswith("boom_leak.")
    assert air.since == boom.since
    assert air.checks != boom.checks


@pytest.mark.parametrize("family", PUMPS)
def test_air_through_a_loose_joint_is_said_while_it_lasts_and_taken_back(family):
    fault = Fault("air", at_s=AT, size=0.2, until_s=AT + 120.0)
    events = events_of(fault, family=family, legs=passes(1, 800.0, 0.0))
    air = [event for event in events if event.code == "air_drawn"]
    assert air[0].change in ("opened", "grew")
    assert AT < air[0].at.t_us / 1e6 < AT + 60.0
    assert air[-1].change == "cleared"
    assert AT + 120.0 < air[-1].at.t_us / 1e6 < AT + 180.0
    assert "tip_blocked" not in {event.code for event in events}


@pytest.mark.parametrize("family", ["roller", "centrifugal"])
def test_a_suction_strainer_that_clogs_is_a_weak_supply_and_no_fault_of_the_boom(family):
    """A demand pump's relief valve makes it good for longer than the strainer takes here."""
    events = events_of(Fault("strainer", at_s=AT, size=25.0, over_s=300.0), family=family)
    assert changes(events)[0] == ("supply_weak", "opened")
    assert not {"tip_blocked", "boom_leak", "meter_low", "mix_changed"} & {e.code for e in events}
    assert any("strainer" in check.lower() for check in events[0].checks)


@pytest.mark.parametrize("size", [-0.25, 0.25])
@pytest.mark.parametrize("family", PUMPS)
def test_a_turned_regulator_is_noted_once_and_is_no_fault_of_the_boom(family, size):
    events = events_of(Fault("regulator", at_s=AT, size=size), family=family)
    assert changes(events) == [("regulator_moved", "noted")]
    assert events[0].size == pytest.approx(100 * size, abs=4.0)
    assert events[0].since.t_us / 1e6 == pytest.approx(AT, abs=2.0)


@pytest.mark.parametrize("seed", [3, 4, 5])
@pytest.mark.parametrize("family", PUMPS)
def test_foam_is_named_within_half_a_minute_beside_what_looks_like_it_or_alone(family, seed):
    events = events_of(Fault("foam", at_s=AT, size=0.08), family=family, seed=seed)
    assert changes(events)[0][1] == "opened"
    assert len({event.alert for event in events}) == 1
    named = [event for event in events if event.details.get("may_be.foam", 0.0) > 0.05]
    assert named
    assert named[0].at.t_us < events[0].at.t_us + 26e6
    assert not {"tip_blocked", "meter_low"} & {event.code for event in events}


@pytest.mark.parametrize("family", PUMPS)
def test_a_denser_mix_after_a_refill_is_told_as_such(family):
    """Five minutes, a minute and a half of standing, then a mix that is 10 % denser."""
    legs = (Leg(5.0, False), Leg(300.0, True), Leg(90.0, False), Leg(240.0, True))
    fault = Fault("density", at_s=350.0, size=0.1)
    for seed in (3, 4, 5):
        (event,) = events_of(fault, family=family, legs=legs, seed=seed)
        assert (event.code, event.change) == ("mix_changed", "noted")
        assert event.size == pytest.approx(10.0, abs=4.0)


@pytest.mark.parametrize("family", PUMPS)
def test_a_tip_that_clogs_in_the_turn_between_two_passes_is_an_alert(family):
    """A turn of 15 s is no refill."""
    legs = (Leg(5.0, False), Leg(300.0, True), Leg(15.0, False), Leg(90.0, True))
    fault = Fault("tip blocked", at_s=312.0, tip=2)
    events = events_of(fault, family=family, legs=legs)
    assert changes(events) == [("tip_blocked", "opened")]
    assert events[-1].size == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize("family", PUMPS)
def test_a_tip_that_clogs_and_is_cleaned_is_one_alert(family):
    fault = Fault("tip blocked", at_s=AT, until_s=AT + 100.0, tip=2)
    events = events_of(fault, family=family, legs=passes(1, 620.0, 0.0))
    assert changes(events) == [("tip_blocked", "opened"), ("tip_blocked", "cleared")]
    assert AT + 100.0 < events[-1].at.t_us / 1e6 < AT + 110.0


# -- blocks and restarts ---------------------------------------------------------------------


def recorded(kind, seed: int) -> tuple[Rig, list[StreamItem]]:
    """Passes and turns with a fault of this kind, lost lines and a reset."""
    rig = plain_rig(6, tank_gal=12.0)
    faults = [
        Fault(kind, at_s=150.0, until_s=230.0, tip=2),
        Fault("lost lines", at_s=0.0, size=0.05),
        Fault("board reset", at_s=260.0),
    ]
    scenario = scenario_for(rig, hours=0.09, seed=seed)
    if kind == "tank empty":
        scenario = replace(scenario, tank_m3=0.02)
    return rig, list(simulate(with_faults(scenario, *faults)).received)


@pytest.mark.parametrize("kind", FAULT_KINDS)
def test_any_cut_into_blocks_gives_the_same_whatever_the_fault(kind):
    rig, items = recorded(kind, seed=FAULT_KINDS.index(kind) + 1)
    whole = run(rig, items)
    assert run(rig, cut(items, np.random.default_rng(len(kind)))) == whole


@pytest.mark.parametrize("kind", ["air", "foam", "density", "tip blocked", "tank empty"])
def test_a_restart_replays_what_is_stored_and_goes_on_as_if_nothing_had_been(kind):
    """The second monitor gets the stored part in large blocks, then the rest as it comes."""
    rig, items = recorded(kind, seed=40)
    random = np.random.default_rng(len(kind))
    parts = cut(items, random)
    here = int(random.integers(len(parts) // 4, len(parts) // 2))
    first = Monitor(rig)
    before = total(first.feed(part) for part in parts[:here])
    after_unbroken = total([*(first.feed(part) for part in parts[here:]), first.finish()])

    second = Monitor(rig)
    replayed = total(second.feed(part) for part in joined(parts[:here]))
    assert replayed == before
    after = total([*(second.feed(part) for part in parts[here:]), second.finish()])
    assert after == after_unbroken


def joined(parts: list[StreamItem]) -> list[StreamItem]:
    """Neighbouring blocks of samples as one."""
    out: list[StreamItem] = []
    for part in parts:
        if out and isinstance(part, Samples) and isinstance(out[-1], Samples):
            out[-1] = Samples.join([out[-1], part])
        else:
            out.append(part)
    return out

"""Scenario files: what they say, and what is told when they are wrong."""

import math
import re
from dataclasses import replace

import pytest

from flowlog.physics.pumps import CentrifugalPump, DemandPump, DisplacementPump
from flowlog.simulator.plan import FAULT_KINDS, Fault
from flowlog.simulator.run import simulate
from flowlog.simulator.scenario import (
    ScenarioFileError,
    find_scenario,
    read_scenario,
    shipped,
)
from flowlog.simulator.supply import FAMILIES, GAL_MIN, PSI

STOP = '[[stop]]\nname = "Here"\nspray = "60 s"\npasses = 3\n'


@pytest.fixture
def write(tmp_path):
    (tmp_path / "rig.toml").write_text(find_scenario("healthy").with_name("rig.toml").read_text())

    def put(text, head='[scenario]\nrig = "rig.toml"\n', name="own.toml"):
        path = tmp_path / name
        path.write_text(head + text)
        return path

    return put


def _told(path):
    with pytest.raises(ScenarioFileError) as caught:
        read_scenario(path)
    assert all("\n" not in line for line in caught.value.faults)
    return [line.replace(str(path.parent) + "/", "") for line in caught.value.faults]


@pytest.mark.parametrize("name", shipped())
def test_shipped_scenarios_run(name):
    scenario = read_scenario(find_scenario(name))
    run = simulate(scenario)
    assert len(run.samples) > 1000
    assert 5 * 60 < scenario.duration_s < 16 * 60
    settled = run.truth.t_s.searchsorted(scenario.stops()[0][1] + 10.0)
    expected = scenario.rig.expected_flow_m3_s
    assert run.truth.flow_m3_s[settled] == pytest.approx(expected, rel=0.1)


def test_the_morning_is_three_stops_with_a_clog_in_the_second():
    assert "morning" in shipped()
    scenario = read_scenario(find_scenario("morning"))
    stops = scenario.stops()
    assert len(stops) == 3 and scenario.rig.boom.tips == 8
    (fault,) = scenario.faults
    assert fault.kind == "tip blocked"
    assert stops[1][1] < fault.at_s < stops[1][2] < fault.until_s < stops[2][1]
    # It clogs in the middle of a pass, not in a turn.
    truth = simulate(scenario).truth
    at = truth.t_s.searchsorted(fault.at_s)
    assert truth.spraying[at - 50 : at + 100].all()


def test_a_file_says_everything(write):
    scenario = read_scenario(
        write(
            """seed = 9
noise = "quiet"
name = "dawn"
[pump]
family = "roller"
pressure = "40 psi"
[tank]
start = "20 gal"
[board]
adc_bits = 12
valve = false
crystal_ppm = 50
boot = 4
[meter]
error = 0.02
lag = "0.3 s"
[gauge]
offset = "2 psi"
span_error = 0.01
[[stop]]
name = "North"
travel = "30 s"
passes = 2
spray = "1 min"
pause = "10 s"
[[stop]]
name = "South"
travel = "2 min"
refill = true
spray = "45 s"
[[fault]]
kind = "tip blocked"
tip = 3
at = "1 min"
size = "50 %"
over = "20 s"
until = "2 min"
[[fault]]
kind = "board reset"
at = "100 s"
cause = "brownout"
size = "2 s"
"""
        )
    )
    assert (scenario.seed, scenario.name) == (9, "dawn")
    assert scenario.noise.swirl_share == 0.003
    assert scenario.tank_m3 == pytest.approx(20 * GAL_MIN * 60)
    assert (scenario.board.adc_bits, scenario.board.valve, scenario.board.boot) == (12, False, 4)
    assert scenario.meter.error_share == 0.02 and scenario.meter.lag_s == pytest.approx(0.3)
    assert scenario.gauge.offset_share == pytest.approx(0.02)
    assert scenario.stops() == [("North", 30.0, 160.0), ("South", 290.0, 335.0)]
    assert [leg.refill for leg in scenario.legs].count(True) == 1
    blocked, reset = scenario.faults
    assert blocked == Fault("tip blocked", 60.0, 0.5, 20.0, 120.0, 3)
    assert (reset.cause, reset.size, reset.until_s) == ("brownout", 2.0, math.inf)
    truth = simulate(replace(scenario, faults=())).truth
    assert truth.gauge_pa[truth.t_s.searchsorted(60.0)] == pytest.approx(40 * PSI, rel=0.06)


@pytest.mark.parametrize("family", FAMILIES)
def test_each_family_has_its_usual_shape(write, family):
    scenario = read_scenario(write(STOP + f'[pump]\nfamily = "{family}"\n'))
    truth = simulate(scenario).truth
    at = truth.t_s.searchsorted(40.0)
    assert truth.flow_m3_s[at] == pytest.approx(scenario.rig.expected_flow_m3_s, rel=0.08)


def test_the_pump_s_values_in_the_user_s_units(write):
    def pump(text):
        return read_scenario(write(STOP + "[pump]\n" + text))

    relief = pump('family = "roller"\nrelief = "30 psi"\nfree_flow = "10 gal/min"\n').supply.pump
    assert isinstance(relief, DisplacementPump)
    assert relief.bypass.relief_pa == pytest.approx(30 * PSI)
    assert relief.free_m3_s == pytest.approx(10 * GAL_MIN)
    demand = pump('family = "demand"\ncut_out = "70 psi"\ncut_in = "50 psi"\n').supply.pump
    assert isinstance(demand, DemandPump)
    assert demand.cut_out_pa == pytest.approx(70 * PSI)
    assert demand.stop_pa > demand.cut_out_pa
    assert demand.cut_in_pa == pytest.approx(50 * PSI)
    central = pump('family = "centrifugal"\nshut_off = "80 psi"\n').supply.pump
    assert isinstance(central, CentrifugalPump) and central.shut_off_pa == pytest.approx(80 * PSI)
    lossy = pump('flow = "4 gal/min"\nline_loss = "3 psi"\n').supply
    assert lossy.line_loss * (4 * GAL_MIN) ** 2 == pytest.approx(3 * PSI)


@pytest.mark.parametrize("kind", FAULT_KINDS)
def test_each_kind_of_fault_can_be_written(write, kind):
    tip = "tip = 2\n" if kind.startswith("tip ") else ""
    scenario = read_scenario(write(STOP + f'[[fault]]\nkind = "{kind}"\nat = "30 s"\n{tip}'))
    assert scenario.faults[0].kind == kind
    assert len(simulate(scenario).samples) > 1000


def test_all_faults_of_a_file_are_told_at_once_with_their_lines(write):
    told = _told(
        write(
            """noise = "loud"
[pump]
family = "turbine"
[[stop]]
name = "Here"
spray = "60"
[[fault]]
kind = "tip bloked"
at = "30 s"
[[fault]]
kind = "tip blocked"
at = "99 min"
tip = 9
[[fault]]
kind = "strainer"
at = "5 min"
until = "4 min"
tip = 1
size = 0.5
colour = "red"
[oops]
"""
        )
    )
    text = "\n".join(told)
    for place in (
        r"own.toml:3: scenario.noise: is 'loud'",
        r"own.toml:5: pump.family: is 'turbine'",
        r"own.toml:8: stop\[1\].spray: ",
        r"own.toml:10: fault\[1\].kind: 'tip bloked'.*did you mean 'tip blocked'",
        r"own.toml:15: fault\[2\].tip: 9 is outside 1 to 8",
        r"own.toml:19: fault\[3\].until: is not after",
        r"own.toml:20: fault\[3\].tip: 'strainer' is not a fault of one tip",
        r"own.toml:21: fault\[3\].size: 0.5 is outside 1 to 10000",
        r"own.toml:22: fault\[3\].colour: unknown key",
        r"own.toml:23: oops: unknown table",
    ):
        assert re.search(place, text), f"{place}\n{text}"
    assert len(told) == 10


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (STOP + '[[fault]]\nkind = "tip blocked"\nat = "1 s"\n', r"fault\[1\].tip: missing"),
        (STOP + '[[fault]]\nat = "1 s"\n', r"fault\[1\].kind: missing"),
        (STOP + '[[fault]]\nkind = "air"\n', r"fault\[1\].at: missing"),
        (STOP + '[[fault]]\nkind = "air"\nat = "9 h"\n', r"at: the route is over by then"),
        (STOP + '[[fault]]\nkind = "air"\nat = "1 s"\nsize = "much"\n', r"size: .*share of air"),
        (STOP + '[[fault]]\nkind = "gauge open"\nat = "1 s"\nsize = 2\n', r"size: .* has none"),
        (STOP + '[[fault]]\nkind = "air"\nat = "1 s"\ncause = "power"\n', r"cause: only a"),
        (STOP + '[pump]\nfamily = "roller"\ncut_in = "40 psi"\n', r"pump.cut_in: a pump of"),
        (STOP + '[pump]\nfamily = "demand"\nrelief = "40 psi"\n', r"pump.relief: a pump of"),
        (STOP + '[pump]\nfamily = "demand"\ncut_in = "90 psi"\n', r"pump.cut_in: the switch"),
        (STOP + "[board]\nwheel = true\n", r"board.wheel: the rig file has no"),
        (STOP + "[tank]\n", r"tank.start: missing"),
        (STOP + "stop = 3\n[tank]\nstart = 3\n", r"tank.start: 3 has no unit"),
        ("", r"stop: there is no stop"),
        ("[stop]\nname = 'x'\n", r"stop: must be an array of tables"),
        ("[[pump]]\nfamily = 'roller'\n" + STOP, r"pump: must be a table"),
        ('[[stop]]\nname = "x"\nspray = "4 h"\npasses = 99\n', r"stop: the route lasts"),
    ],
)
def test_a_fault_is_told(write, text, wanted):
    assert re.search(wanted, "\n".join(_told(write(text))))


def test_faults_of_the_rig_are_told_too(write, tmp_path):
    (tmp_path / "rig.toml").write_text('[rig]\nname = "x"\n')
    told = _told(write('[[stop]]\nname = "x"\nspray = "1"\n'))
    assert any("stop[1].spray" in line for line in told)
    assert any("rig.toml" in line and "boom" in line for line in told)


def test_no_rig_no_file_no_toml_no_text(write, tmp_path):
    assert "scenario.rig: missing" in _told(write(STOP, head="[scenario]\n"))[0]
    assert "scenario: this table is missing" in _told(write(STOP, head=""))[0]
    assert "there is no such file" in _told(write(STOP, head='[scenario]\nrig = "no.toml"\n'))[0]
    assert "there is no such file" in _told(tmp_path / "none.toml")[0]
    assert "is a folder" in _told(tmp_path)[0]
    assert "is not TOML" in _told(write("[[[", head=""))[0]
    broken = tmp_path / "latin.toml"
    broken.write_bytes(b"[scenario]\n# \xe4\n")
    assert _told(broken) == ["latin.toml:2: is not UTF-8 (save the file as UTF-8)"]


def test_an_unknown_name_lists_the_known_ones():
    with pytest.raises(ScenarioFileError, match="did you mean 'morning'"):
        find_scenario("mornin")

"""A board that does what the page says passes, whatever is sprayed, however the bytes are cut."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.checked_board import CheckedBoard

from flowlog.link.recording import read_recording
from flowlog.rig.model import Wheel
from flowlog.simulator.live import lines
from flowlog.simulator.plan import BoardPlan, Fault, passes
from flowlog.simulator.run import plain_rig, scenario_for, simulate
from flowlog.wire.conformance.judge import judge
from flowlog.wire.conformance.rules import RULES

BOARDS = st.builds(
    BoardPlan,
    boot=st.integers(0, 65_535),
    adc_bits=st.sampled_from((10, 12, 16)),
    period_ms=st.just(100),
    readings_per_sample=st.integers(100, 400),
    tick_us=st.sampled_from((1, 4, 8)),
    crystal_ppm=st.floats(-200, 200),
    valve=st.booleans(),
    wheel=st.booleans(),
)


@st.composite
def scenarios(draw):
    rig = plain_rig(
        draw(st.integers(1, 20)), pulses_per_l=draw(st.sampled_from((20.0, 450.0, 4000.0)))
    )
    if draw(st.booleans()):
        rig = replace(rig, wheel=Wheel(40.0))
    family = draw(st.sampled_from(("demand", "demand relief", "roller", "centrifugal")))
    faults = draw(
        st.lists(
            st.sampled_from(
                (
                    Fault("tip blocked", 8.0),
                    Fault("air", 5.0),
                    Fault("gauge open", 9.0),
                    Fault("gauge short", 9.0),
                    Fault("meter stuck", 12.0, until_s=15.0),
                    Fault("tank empty", 14.0),
                )
            ),
            max_size=2,
        )
    )
    scenario = scenario_for(
        rig,
        legs=passes(4, draw(st.floats(5.0, 15.0)), 3.0, lead_s=draw(st.floats(0.0, 20.0))),
        family=family,
        noise=draw(st.sampled_from(("none", "quiet", "field", "harsh"))),
        faults=faults,
        seed=draw(st.integers(0, 1000)),
    )
    # A scenario shorter than the check would fall silent under it.
    rest = passes(3, 15.0, 5.0)
    return replace(scenario, legs=(*scenario.legs, *rest), board=draw(BOARDS))


@settings(max_examples=40, deadline=None)
@given(scenarios(), st.floats(0.0, 8.0), st.floats(0.0, 0.01))
def test_the_simulated_board_breaks_no_rule_whatever_it_does(scenario, begins_s, latency_s):
    report = CheckedBoard(scenario, latency_s).check(begins_s=begins_s)
    assert report.failed == (), report.text()
    assert len(report.findings) == len(RULES)


@settings(max_examples=30, deadline=None)
@given(scenarios(), st.integers(0, 2**32 - 1), st.floats(10.0, 20.0), st.sampled_from((0.5, 2.0)))
def test_a_start_in_the_middle_breaks_none_either(scenario, seed, at_s, down_s):
    fault = Fault("board reset", at_s, size=down_s, cause="brownout")
    scenario = replace(scenario, faults=(*scenario.faults, fault), seed=seed)
    report = CheckedBoard(scenario).check(listen_s=25.0)
    assert report.failed == (), report.text()
    assert report.of("H2").verdict == report.of("B2").verdict == "pass"
    assert report.of("B1").verdict == "pass"


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 2**32 - 1), st.integers(1, 2**32 - 1))
def test_counters_may_wrap_anywhere(pulses, clock_us, seq):
    plan = BoardPlan(start_pulses=pulses, start_clock_us=clock_us, start_seq=seq)
    wraps = replace(BoardPlan(), start_pulses=2**32 - 50, start_clock_us=2**32 - 9_000_000)
    for board in (plan, replace(wraps, start_seq=2**32 - 150)):
        scenario = replace(_plain(), board=board)
        report = CheckedBoard(scenario).check()
        assert report.failed == (), report.text()


def _plain(hours=0.05, **more):
    return scenario_for(plain_rig(), hours=hours, seed=5, **more)


def _stream(scenario):
    return b"".join(line for _, line in lines(simulate(scenario)))


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_the_cut_into_pieces_makes_no_difference_to_what_is_found(data):
    stream = _stream(_plain(0.01))
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=12)))
    pieces = [(None, stream[a:b]) for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True)]
    assert judge(pieces).body() == judge([(None, stream)]).body()


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 100), st.binary(max_size=300)), max_size=8))
def test_no_bytes_at_all_stop_the_judge(pieces):
    report = judge(sorted(pieces))
    assert [finding.rule.number for finding in report.findings] == list(RULES)
    assert report.text()


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**9), st.floats(0.001, 0.2))
def test_no_damage_to_the_bytes_stops_the_judge(seed, share):
    stream = np.frombuffer(_stream(_plain(0.005)), dtype=np.uint8).copy()
    rng = np.random.default_rng(seed)
    hit = rng.random(len(stream)) < share
    stream[hit] = rng.integers(0, 256, int(hit.sum()))
    report = judge([(i / 100, bytes(stream[i : i + 70])) for i in range(0, len(stream), 70)])
    assert len(report.findings) == len(RULES)
    assert report.failed, "a stream with damaged bytes cannot be faultless"


def test_a_recording_is_judged_without_times(tmp_path):
    path = tmp_path / "healthy.flog"
    path.write_bytes(b"# flowlog recording 1\n# rig: x\n#\n" + _stream(_plain(0.05)))
    _, chunks = read_recording(path)
    report = judge((None, chunk) for chunk in chunks)
    assert report.failed == ()
    assert report.of("H4").verdict == "pass", "three minutes have hellos of their own"
    timed = ("T1", "T2", "C1", "C2", "C3", "C4", "H3", "L5")
    assert {report.of(number).verdict for number in timed} == {"not seen"}


@pytest.mark.parametrize("fitted", ["F", "FP", "FV", "FPV", "P", "FPVW"])
def test_a_board_with_few_inputs_is_no_broken_one(fitted):
    plan = BoardPlan(
        meter="F" in fitted, gauge="P" in fitted, valve="V" in fitted, wheel="W" in fitted
    )
    rig = replace(plain_rig(), wheel=Wheel(40.0))
    scenario = replace(scenario_for(rig, hours=0.05, seed=5), board=plan)
    report = CheckedBoard(scenario).check()
    assert report.failed == (), report.text()
    assert report.of("S9").received == fitted
    assert (report.of("S10").verdict == "pass") == ("W" in fitted)
    assert (report.of("S7").verdict == "pass") == ("P" in fitted)


@pytest.mark.parametrize("period_ms", [20, 50, 200, 500])
def test_other_periods_are_judged_by_what_the_hello_says(period_ms):
    plan = BoardPlan(period_ms=period_ms, readings_per_sample=period_ms)
    scenario = replace(_plain(), board=plan)
    report = CheckedBoard(scenario).check()
    assert report.failed == (), report.text()

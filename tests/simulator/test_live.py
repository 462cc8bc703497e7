"""The board as something to talk to, and the cable."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowlog.simulator.cable import damage, pieces
from flowlog.simulator.live import LiveBoard, lines
from flowlog.simulator.plan import Fault, passes
from flowlog.simulator.run import plain_rig, scenario_for, simulate
from flowlog.simulator.summary import summary
from flowlog.wire.decode import Decoder
from flowlog.wire.encode import encode_alarm, encode_hello_request, encode_sample
from flowlog.wire.records import Alarm, Hello, HelloRequest
from flowlog.wire.samples import Samples

RIG = plain_rig(8)
CABLE = (
    Fault("corrupt lines", 0.0, size=0.05),
    Fault("lost lines", 0.0, size=0.05),
    Fault("cable unplugged", 30.0, until_s=40.0),
)


def _scenario(*faults):
    return scenario_for(RIG, legs=passes(2, 40.0, 10.0), faults=faults)


def _samples(items):
    return Samples.join([item for item in items if isinstance(item, Samples)])


def _hellos(items):
    return [item for item in items if isinstance(item, Hello)]


def test_a_decoder_behind_the_cable_gets_exactly_what_is_said_to_arrive():
    run = simulate(_scenario(*CABLE))
    decoded = Decoder().feed(b"".join(line for _, line in lines(run)))
    assert _samples(decoded.items) == _samples(run.received)
    assert _hellos(decoded.items) == _hellos(run.received)
    assert len(decoded.faults) > 20
    assert 50 < len(run.samples) - len(_samples(run.received)) < 250


def test_a_whole_cable_passes_everything_in_order_of_time():
    run = simulate(_scenario())
    sent = list(lines(run))
    assert [t for t, _ in sent] == sorted(t for t, _ in sent)
    decoded = Decoder().feed(b"".join(line for _, line in sent))
    assert not decoded.faults
    assert decoded.items == run.items


@settings(max_examples=40)
@given(seed=st.integers(0, 2**32 - 1), row=st.integers(0, 900))
def test_a_damaged_line_never_passes_for_a_sample(seed, row):
    line = encode_sample(simulate_once().samples.table[row].tolist())
    hurt = damage(line, np.random.default_rng(seed))
    assert hurt != line and hurt.endswith(b"\n") and len(hurt) == len(line)
    assert not _samples(Decoder().feed(hurt).items)


_ONCE = []


def simulate_once():
    if not _ONCE:
        _ONCE.append(simulate(_scenario()))
    return _ONCE[0]


def test_pieces_are_the_same_bytes_cut_anywhere():
    data = b"".join(line for _, line in lines(simulate_once()))
    cut = list(pieces([data[:1000], b"", data[1000:]], seed=3))
    assert b"".join(cut) == data
    assert len({len(piece) for piece in cut}) > 30
    assert cut == list(pieces([data], seed=3))


@pytest.mark.parametrize("step_s", [0.05, 0.37, 7.0])
def test_bytes_fall_due_with_time_and_not_before(step_s):
    board, data, t = LiveBoard(_scenario()), b"", 0.0
    while not board.done:
        t += step_s
        before = board.due(t)
        data += before
        for item in Decoder().feed(before).items:
            if isinstance(item, Samples):
                assert item.column("clock_us")[-1] <= t * 1e6 + 100
    assert data == b"".join(line for _, line in lines(simulate(_scenario())))


def test_a_request_is_answered_with_the_hello_of_now():
    board = LiveBoard(_scenario())
    board.due(12.34)
    request = encode_hello_request()
    assert board.hear(request[:3]) == []
    assert board.hear(request[3:]) == [HelloRequest()]
    items = Decoder().feed(board.due(12.55)).items
    assert isinstance(items[0], Hello) and isinstance(items[1], Samples)
    assert items[0].seq == items[1].column("seq")[0] == 123
    assert items[0].reset == "power"


def test_alarms_are_heard_and_noise_is_not():
    board = LiveBoard(_scenario())
    heard = board.hear(b"\x00\xffA,1,2*0000\n" + encode_alarm(3, 1) + b"A,9,9*1234\n")
    assert heard == [Alarm(3, 1)]


def test_an_unplugged_cable_carries_nothing_either_way():
    board = LiveBoard(_scenario(Fault("cable unplugged", 10.0, until_s=20.0)))
    board.due(12.0)
    assert board.hear(encode_alarm(1, 1)) == []
    assert board.due(19.0) == b""
    assert board.due(20.3)


def test_a_reset_while_it_runs_begins_another_boot():
    board = LiveBoard(_scenario())
    before = Decoder().feed(board.due(20.0)).items
    board.reset("external")
    items = Decoder().feed(board.due(30.0)).items
    assert isinstance(items[0], Hello)
    assert (items[0].boot, items[0].seq, items[0].reset) == (2, 0, "external")
    after = _samples(items)
    assert set(after.column("boot")) == {2} and after.column("seq")[0] == 0
    assert len(_samples(before)) + len(after) == pytest.approx(300 - 16, abs=1)
    board.reset()
    again = Decoder().feed(board.due(40.0)).items
    assert set(_samples(again).column("boot")) == {3}


def test_the_summary_adds_up_and_can_stop_early():
    legs = (*passes(2, 30.0, 10.0, "north"), *passes(1, 20.0, 10.0, "south"))
    scenario = replace(
        scenario_for(RIG, legs=legs, faults=[*CABLE[:2], Fault("tip blocked", 50.0, tip=2)]),
        tank_m3=0.1,
    )
    run = simulate(scenario)
    whole = summary(run)
    assert whole["volume_m3"] == pytest.approx(run.truth.total_volume_m3)
    assert sum(stop["volume_m3"] for stop in whole["stops"]) == pytest.approx(whole["volume_m3"])
    assert sum(stop["area_m2"] for stop in whole["stops"]) == pytest.approx(whole["area_m2"])
    assert whole["spraying_s"] == pytest.approx(80.0)
    received = len(_samples(run.received))
    assert whole["samples"] - whole["lost"] - whole["damaged"] == received
    early = summary(run, 45.0)
    assert [stop["name"] for stop in early["stops"]] == ["north"]
    assert [fault["kind"] for fault in early["faults"]] == ["corrupt lines", "lost lines"]
    assert early["samples"] == 450 and early["volume_m3"] < whole["volume_m3"]
    at = run.truth.t_s.searchsorted(45.0 + 1e-9)
    assert early["volume_m3"] == pytest.approx(run.truth.volume_m3[at - 1])

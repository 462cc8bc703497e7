"""Each thing that firmware gets wrong is found, under the number of the rule that it breaks."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support import broken_firmware as broken
from support.broken_firmware import checksum, crc_from, fields, put
from support.checked_board import CheckedBoard

from flowlog.rig.model import Wheel
from flowlog.simulator.plan import BoardPlan, Fault
from flowlog.simulator.run import plain_rig, scenario_for
from flowlog.wire.conformance.judge import judge
from flowlog.wire.conformance.rules import RULES

U32 = 1 << 32


def scenario(*faults, **board):
    rig = replace(plain_rig(), wheel=Wheel(40.0))
    plan = BoardPlan(**({"wheel": True, "boot": 7} | board))
    return replace(scenario_for(rig, hours=0.06, seed=5, faults=faults), board=plan)


def _wrapped_at(bits):
    return fields(
        "S",
        lambda v: [
            *v[:2],
            str(int(v[2]) % (1 << bits)),
            v[3],
            str(int(v[4]) % (1 << bits)),
            *v[5:],
        ],
    )


def _milliseconds(factor):
    return fields(
        "S",
        lambda v: [
            *v[:2],
            str(int(v[2]) // 1000 * factor),
            v[3],
            str(int(v[4]) // 1000 * factor),
            *v[5:],
        ],
    )


def _swap_sides(v):
    return [*v[:7], v[8], v[7], *v[9:]]


def _swapped(body):
    right = crc_from(0xFFFF)(body)
    return right[2:] + right[:2]


def _at_200_hz(v):
    low, high = max(0, int(v[7]) - 1), int(v[8]) + 1
    return [*v[:5], str(int(v[5]) // 5), "20", str(low), str(high), *v[9:]]


def _edge_of_sample(v):
    return [*v[:4], v[2] if int(v[3]) else "0", *v[5:]]


def _one_more(v):
    return [*v[:5], str(int(v[5]) + 5 * int(v[8]) + 500), *v[6:]]


def _every(n, change):
    def one(v):
        return change(v) if int(v[1]) % n == 0 else v

    return one


ON_THE_WIRE = {
    # number of the rule, what is wrong, a part of the finding (received or change)
    "text behind the line": ("L1", broken.lines(lambda x: x[:-1] + b" debug" * 30 + b"\n"), "160"),
    "no LF": ("L3", broken.lines(lambda x: x[:-1] + b"\r"), "no LF at all"),
    "LF CR": ("L3", broken.lines(lambda x: x + b"\r"), "CR at the beginning"),
    "a NUL behind each line": ("L2", broken.lines(lambda x: x[:-1] + b"\0\n"), "0x00"),
    "another speed": (
        "L2",
        broken.lines(lambda x: bytes(b ^ 0xE7 for b in x[:-1]) + b"\n"),
        "no text",
    ),
    "lower case": ("L4", checksum(lambda b: crc_from(0xFFFF)(b).lower()), "capitals"),
    "checksum from 0": ("L4", checksum(crc_from(0)), "not from 0"),
    "checksum from 0x1D0F": ("L4", checksum(crc_from(0x1D0F)), "0x1D0F"),
    "another polynomial": ("L4", checksum(broken.reflected), "polynomial"),
    "star in the checksum": (
        "L4",
        checksum(lambda b: crc_from(0xFFFF)(b + b"*")),
        "leave the star",
    ),
    "bytes swapped": ("L4", checksum(_swapped), "high byte"),
    "no leading zeros": (
        "L4",
        checksum(lambda b: b"%X" % int(crc_from(0xFFFF)(b), 16)),
        "leading zeros",
    ),
    "no checksum": ("L4", broken.lines(lambda x: x.partition(b"*")[0] + b"\n"), "a star"),
    "one line in thirty damaged": ("L4", broken.lines(lambda x: x if x[-3] % 16 else b"X" + x), ""),
    "too few fields": ("S1", fields("S", lambda v: v[:8]), "8 fields"),
    "a signed clock": ("S1", fields("S", put(2, lambda x: x - 9_000_000)), "clock_us '-"),
    "a clock with a point": ("S1", fields("S", put(2, lambda x: f"{x / 1e6:.6f}")), "clock_us"),
    "spaces": ("S1", fields("S", put(3, lambda x: f" {x}")), "pulses ' "),
    "boot above its range": ("S1", fields("S", put(0, lambda x: 70_000)), "boot 70000"),
    "seq stands still": ("S2", fields("S", put(1, lambda x: 5)), "repeated"),
    "seq in 8 bits": ("S2", fields("S", put(1, lambda x: x % 256)), "back"),
    "each tenth line twice": ("S2", broken.twice(10), "repeated"),
    "seq counts lines": ("S3", broken.numbers_only_sent(), "clock"),
    "clock in milliseconds": ("S3", _milliseconds(1), "microseconds"),
    "clock wraps at 2^24": ("S3", _wrapped_at(24), "2^24"),
    "clock stands still": ("S3", fields("S", put(2, lambda x: 12_345)), "stands still"),
    "clock of whole milliseconds": ("S4", _milliseconds(1000), "multiples of 1000 us"),
    "pulses since the last sample": ("S5", broken.pulses_since_last(), "total"),
    "pulses in 8 bits": ("S5", fields("S", put(3, lambda x: x % 256)), "less than before"),
    "pulses in 16 bits": ("S5", fields("S", put(3, lambda x: (x + 65_000) % 65_536)), "65536"),
    "edge is the sample's time": ("S6", fields("S", _edge_of_sample), "changed"),
    "edge always 0": ("S6", fields("S", put(4, lambda x: 0)), "the same although"),
    "edge of the sample before": (
        "S6",
        fields("S", put(4, lambda x: max(0, x - 250_000))),
        "older",
    ),
    "edge ahead": ("S6", fields("S", put(4, lambda x: x + 90_000 if x else 0)), "newer"),
    "edge when still": ("S6", broken.edge_jumps_when_still(), "stood still"),
    "one reading a sample": (
        "S7",
        fields("S", lambda v: [*v[:5], v[7], "1", v[7], v[7], *v[9:]]),
        "one reading",
    ),
    "readings at 200 Hz": ("S7", fields("S", _at_200_hz), "20 readings"),
    "lowest above highest": ("S8", fields("S", _swap_sides), "adc_min"),
    "sum of one reading more": ("S8", fields("S", _one_more), "adc_sum"),
    "no reading": (
        "S8",
        fields("S", _every(7, lambda v: [*v[:5], "0", "0", "0", "0", *v[9:]])),
        "adc_n is 0",
    ),
    "readings above full scale": ("S8", fields("H", put(7, lambda x: 6)), "6 bits"),
    "valve now and then": (
        "S9",
        fields("S", _every(3, lambda v: [*v[:9], "", *v[10:]])),
        "valve is in",
    ),
    "valve not said": ("S9", fields("H", lambda v: [*v[:8], "FPW"]), "valve is sent"),
    "wheel said, not sent": ("S9", fields("S", lambda v: v[:10]), "wheel is not sent"),
    "wheel count of one byte": ("S10", fields("S", put(10, lambda x: x % 16)), "less than before"),
    "wheel edge always 0": ("S10", fields("S", put(11, lambda x: 0)), "wheel_edge_us"),
    "each seventh sample missing": (
        "S11",
        fields("S", lambda v: None if int(v[1]) % 7 == 0 else v),
        "missing",
    ),
    "protocol 2": ("H1", fields("H", put(2, lambda x: 2)), "protocol 2"),
    "a space in the name": ("H1", fields("H", lambda v: [*v[:4], "cart 2", *v[5:]]), "board"),
    "an unknown reset cause": ("H1", fields("H", lambda v: [*v[:5], "panic", *v[6:]]), "panic"),
    "channels twice": ("H1", fields("H", lambda v: [*v[:8], "FPVWF"]), "channels"),
    "no hello at the start": ("H2", fields("H", lambda v: None if v[1] == "0" else v), "without"),
    "no answer": (
        "H3",
        fields("H", lambda v: None if v[1] not in {"0", "600", "1200"} else v),
        "not answered",
    ),
    "no hello by itself": ("H4", None, "without a hello"),
    "hello with the last number": ("H5", fields("H", put(1, lambda x: max(0, x - 1))), "and then"),
    "hello with no number": ("H5", fields("H", put(1, lambda x: 0)), "and then"),
    "another boot in the hello": ("H6", fields("H", put(0, lambda x: x + 1)), "boot 8"),
    "another name each time": (
        "H6",
        fields("H", lambda v: [*v[:4], f"b{v[1]}", *v[5:]]),
        "and then",
    ),
    "a period not kept": ("H6", fields("H", put(6, lambda x: 80)), "period_ms is 80"),
    "boot changes by itself": ("B1", fields("S", put(0, lambda x: 3)), None),
    "samples in clumps": ("T2", broken.clumps(0.5), "19 of 20"),
}


def _caught(report, number, part, verdicts=("fail",)):
    finding = report.of(number)
    assert finding.verdict in verdicts, report.text()
    told = finding.received + " " + finding.body()["change"]
    assert part is None or part in told, told
    return finding


SPECIAL = {"no hello by itself", "boot changes by itself", "samples in clumps"}


@pytest.mark.parametrize("name", sorted(set(ON_THE_WIRE) - SPECIAL))
def test_a_fault_on_the_wire_is_found_under_its_rule(name):
    number, wire, part = ON_THE_WIRE[name]
    report = CheckedBoard(scenario()).check(listen_s=60.0, wire=wire)
    _caught(report, number, part)


def test_a_board_that_never_says_hello_by_itself_is_found_by_listening_long():
    wire = fields("H", lambda v: v if v[1] == "0" else None)
    report = CheckedBoard(scenario()).check(listen_s=130.0, wire=wire)
    _caught(report, "H4", "without a hello")


def test_a_boot_count_that_moves_while_the_board_runs_is_found():
    wire = fields("S", put(0, lambda x: 3))
    halves = fields("S", lambda v: v if int(v[1]) < 60 else [str(int(v[0]) + 1), *v[1:]])
    assert CheckedBoard(scenario()).check(wire=wire).of("H6").verdict == "fail"
    _caught(CheckedBoard(scenario()).check(wire=halves), "B1", "seq and clock went on")


def test_samples_in_clumps_are_advised_against():
    report = CheckedBoard(scenario()).check(wire=broken.clumps(0.5))
    _caught(report, "T2", "19 of 20", ("advice",))


RESET = Fault("board reset", 20.0, size=1.0, cause="brownout")


def test_a_start_that_is_not_counted_is_found():
    wire = fields("S", put(0, lambda x: 7))
    hello = fields("H", put(0, lambda x: 7))
    report = CheckedBoard(scenario(RESET)).check(30.0, lambda t, d: hello(t, wire(t, d)))
    _caught(report, "B1", "without power")


def test_counters_that_outlive_a_start_are_found():
    wire = fields("S", lambda v: [*v[:3], str(int(v[3]) + 500_000), *v[4:]] if v[0] == "8" else v)
    _caught(CheckedBoard(scenario(RESET)).check(30.0, wire), "B2", "pulses 5")


def test_a_clock_that_outlives_a_start_is_found():
    wire = fields(
        "S", lambda v: [*v[:2], str(int(v[2]) + 20_000_000), *v[3:]] if v[0] == "8" else v
    )
    _caught(CheckedBoard(scenario(RESET)).check(30.0, wire), "B2", "clock_us 20")


def test_a_hello_glued_to_the_line_that_a_start_cut_is_found_and_explained():
    def wire(t, data):
        return b"S,7,199,19" + data if b"H,8,0," in data else data

    report = CheckedBoard(scenario(RESET)).check(30.0, wire)
    finding = _caught(report, "H2", "glued")
    assert "LF before the first hello" in finding.change
    assert report.of("L4").verdict == "pass", "a cut line is the start's, not the checksum's"


def test_an_unknown_reset_cause_is_advised_against():
    wire = fields("H", lambda v: [*v[:5], "unknown", *v[6:]])
    _caught(CheckedBoard(scenario()).check(wire=wire), "B3", "unknown", ("advice",))


@pytest.mark.parametrize(
    ("pace", "verdict"), [(1.03, "fail"), (0.97, "fail"), (1.004, "advice"), (1.0001, "pass")]
)
def test_a_clock_that_runs_wrong_is_told_from_one_that_does_not(pace, verdict):
    report = CheckedBoard(scenario()).check(listen_s=30.0, host_pace=pace)
    assert report.of("T1").verdict == verdict, report.of("T1")


def test_a_clock_that_runs_wrong_against_its_own_timer_is_found():
    wire = fields("S", put(2, lambda x: round(x * 1.03) % U32))
    _caught(CheckedBoard(scenario()).check(60.0, wire), "S3", "off period_ms")


def _restarts(board, now_s, data):
    board.live.hear(data)
    if data.startswith(b"A,2"):
        board.live.reset("watchdog")


def _hangs_on_garbage(board, now_s, data):
    board.live.hear(data)
    if b"\x03" in data:
        board.silent_until_s = 1e9


def _stutters(board, now_s, data):
    board.live.hear(data)
    if data.startswith(b"A,"):
        board.silent_until_s = now_s + 0.35


def _echoes(board, now_s, data):
    board.live.hear(data)
    board.extra = data


def _answers_anything(board, now_s, data):
    board.live.hear(b"Q*AB24\n" if data.startswith(b"Q*") else data)


def _choked(board, now_s, data):
    """Its input buffer never recovers from a line that is too long."""
    board.choked = getattr(board, "choked", False) or len(data) > 255
    if not board.choked:
        board.live.hear(data)


@pytest.mark.parametrize(
    ("ear", "number", "part"),
    [
        (_restarts, "C2", "started again"),
        (_stutters, "C2", "missing"),
        (_hangs_on_garbage, "C4", "no sample for"),
        (_choked, "C4", "not answered"),
        (_answers_anything, "C3", "answered with a hello"),
        (_echoes, "L5", "came back"),
    ],
)
def test_a_fault_in_what_it_hears_is_found_under_its_rule(ear, number, part):
    _caught(CheckedBoard(scenario()).check(ear=ear), number, part)


def test_a_board_that_waits_to_be_asked_is_found():
    heard = []

    def ear(board, now_s, data):
        heard.append(data)
        board.live.hear(data)

    report = CheckedBoard(scenario()).check(
        listen_s=6.0, ear=ear, wire=lambda t, d: d if heard else b""
    )
    _caught(report, "C1", "after the host had spoken")


def test_a_board_that_says_nothing_is_told_so():
    report = judge([(0.0, b""), (10.0, b"")])
    assert {finding.verdict for finding in report.findings} <= {"not seen"}


@pytest.mark.parametrize(
    ("alphabet", "broken_rules"),
    [
        (bytes([0xF0, 0x80, 0x3C, 0xFF, 0x00]), ["L2", "L3"]),
        (bytes(range(256)), ["L1", "L2"]),
        (b"abc,*", ["L3"]),
        (b"S,1,2,3\r", ["L3"]),
    ],
)
def test_a_stream_of_no_lines_keeps_no_rule(alphabet, broken_rules):
    stream = bytes(random.Random(1).choices(alphabet, k=6000))
    report = judge([(i * 0.1, stream[i * 60 : i * 60 + 60]) for i in range(100)])
    assert report.numbers("fail") == broken_rules
    assert set(report.numbers("pass")) <= {"L3"}


def test_every_rule_can_fail_or_advise():
    found = {number for number, _, _ in ON_THE_WIRE.values()}
    found |= {"B1", "B2", "B3", "T1", "T2", "C1", "C2", "C3", "C4", "L5", "H2", "H4"}
    assert found == set(RULES)


def test_a_slow_computer_is_not_blamed_on_the_board():
    board = CheckedBoard(scenario())
    pieces, sent = board.exchange(listen_s=30.0)
    stalled = [(at, data) for at, data in pieces if at < 5.0 or at > 12.0]
    # What was kept for the host meanwhile comes at once, and the rest of it was lost.
    kept = b"".join(data for at, data in pieces if 5.0 <= at <= 10.0)
    at = next(i for i, (t, _) in enumerate(stalled) if t > 12.0)
    stalled.insert(at, (12.0, kept))
    report = judge(stalled, sent)
    assert report.failed == (), report.text()
    assert "slow to read" in report.of("S11").received


def test_a_cable_that_was_out_is_no_fault_of_the_board():
    board = CheckedBoard(scenario(Fault("cable unplugged", 8.0, until_s=14.0)))
    report = board.check(listen_s=30.0)
    assert report.of("S11").verdict == "advice"
    assert report.failed == (), report.text()


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(sorted(set(ON_THE_WIRE) - SPECIAL)),
    st.integers(0, 10_000),
    st.sampled_from((200.0, 300.0, 450.0)),
    # Without any noise lowest and highest reading are one, and cannot be mixed up.
    st.sampled_from(("quiet", "field", "harsh")),
)
def test_a_fault_is_found_whatever_is_sprayed(name, seed, pulses_per_l, noise):
    number, wire, _ = ON_THE_WIRE[name]
    rig = replace(plain_rig(pulses_per_l=pulses_per_l), wheel=Wheel(40.0))
    plan = BoardPlan(wheel=True, boot=7)
    sprayed = replace(scenario_for(rig, hours=0.06, seed=seed, noise=noise), board=plan)
    report = CheckedBoard(sprayed).check(listen_s=60.0, wire=wire)
    _caught(report, number, None)

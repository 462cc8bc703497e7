"""The board's second firmware: its counting and its protocol, on both Pythons on the host."""

from __future__ import annotations

import importlib
import itertools
import re
import subprocess
import sys

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from support.micropython import FOLDER, bench, call, interpreter

from flowlog.wire.commands import CommandDecoder
from flowlog.wire.conformance.exercise import steps
from flowlog.wire.conformance.heard import Sent
from flowlog.wire.conformance.judge import judge
from flowlog.wire.crc import seal
from flowlog.wire.decode import Decoder
from flowlog.wire.encode import encode_alarm, encode_hello_request
from flowlog.wire.records import NAME_PATTERN, Hello, HelloRequest
from flowlog.wire.samples import ABSENT, Samples

both = pytest.mark.parametrize("python", ["python", "micropython"])

NEAR_WRAP = (1 << 30) - 9_000_000
"""Ticks that wrap 9 s after the start."""


def checked(python, listen_s=12.0, **job):
    """A check of the board with everything that the check says."""
    plan, ends_s = steps(listen_s)
    host = [[step.at_s, step.data.hex()] for step in plan]
    sent = [Sent(step.at_s, step.kind) for step in plan if step.kind is not None]
    pieces, truth = bench(python, seconds=ends_s, host=host, **job)
    return judge([*pieces, (ends_s, b"")], sent), truth


def samples_of(pieces):
    items = Decoder().feed(b"".join(data for _, data in pieces)).items
    return Samples.join([item for item in items if isinstance(item, Samples)])


@both
@pytest.mark.parametrize(
    "job",
    [
        {"hz": 137.3, "valve": 1, "wheel_hz": 11.7},
        {"hz": 1903.1, "start_ticks": NEAR_WRAP},
        {"hz": 31.7, "gauge": False, "bounce": True},
        {"hz": 3.3, "valve": 0, "boot": 0, "reset": "unknown"},
    ],
)
def test_the_firmware_speaks_the_protocol(python, job):
    report, truth = checked(python, **job)
    assert report.failed == (), report.text()
    for number in ("S2", "S3", "S11", "H2", "H3", "H5", "B2", "T1", "T2", "C1", "C2", "C3", "C4"):
        assert report.of(number).verdict == "pass", report.text()
    assert ("MicroPython" in truth["version"]) == (python == "micropython")


def test_both_pythons_send_the_same_bytes():
    job = {"seconds": 30, "hz": 433.7, "wheel_hz": 9.1, "valve": 1, "start_ticks": NEAR_WRAP}
    one, _ = bench("python", **job)
    two, _ = bench("micropython", **job)
    assert one == two
    assert len(one) > 300


@both
@pytest.mark.parametrize("hertz", [10.1, 29.9, 149.3, 500.0, 1999.0, 4800.0])
def test_every_pulse_counts_and_its_time_is_right_to_a_microsecond(python, hertz):
    pieces, truth = bench(python, seconds=20.05, hz=hertz, start_ticks=NEAR_WRAP)
    table = samples_of(pieces)
    ((number, last_us),) = truth["edges"]
    assert table.column("seq").tolist() == list(range(200))
    # The bench goes on for a moment after the last sample.
    left = int((20.06e6 - table.column("clock_us")[-1]) * hertz / 1e6) + 1
    assert number - left <= table.column("pulses")[-1] <= number
    gap_us = 1e6 / hertz
    first = 0.4 * gap_us + 1234.0
    for pulses, edge in zip(table.column("pulses"), table.column("edge_us"), strict=True):
        if pulses:
            assert abs(edge - (first + (pulses - 1) * gap_us)) <= 1.01
    assert abs(int(table.column("edge_us")[-1]) - last_us) <= (left + 1) * gap_us


@both
def test_bounce_is_no_pulse(python):
    clean, _ = bench(python, seconds=10, hz=83.1)
    rough, _ = bench(python, seconds=10, hz=83.1, bounce=True)
    assert samples_of(clean).column("pulses")[-1] == samples_of(rough).column("pulses")[-1] > 800


@both
def test_a_loop_that_stands_still_skips_numbers_and_loses_no_pulse(python):
    stall = {"stalls": [[5.02, 5.37], [8.0, 8.95]]}
    pieces, _ = bench(python, seconds=12, hz=200.7, **stall)
    table = samples_of(pieces)
    assert judge(pieces).numbers("fail") == ["S11"]
    seq = table.column("seq").tolist()
    assert 0 < 120 - len(seq) < 16
    assert seq == sorted(set(seq))
    assert seq[-1] == 118
    assert abs(int(table.column("pulses")[-1]) - 200.7 * 11.9) < 3
    assert int(table.column("adc_n").max()) > 900


@both
def test_a_deaf_host_costs_whole_lines_and_nothing_else(python):
    pieces, truth = bench(python, seconds=14, hz=200.7, valve=1, deaf=[[4.0, 9.03]])
    decoder = Decoder()
    decoder.feed(b"".join(data for _, data in pieces))
    assert decoder.counts.faults == 0
    assert truth["dropped"] >= 40
    table = samples_of(pieces)
    assert 130 - truth["dropped"] <= len(table) + 1 <= 140 - truth["dropped"] + 1
    assert int(table.column("seq")[-1]) == 138
    report = judge(pieces)
    assert report.failed == (), report.text()


@both
def test_a_hello_comes_each_minute(python):
    pieces, _ = bench(python, seconds=130, hz=20.3)
    report = judge(pieces)
    assert report.of("H4").verdict == "pass", report.text()
    assert report.failed == (), report.text()


@both
def test_patterns_reach_lamp_and_buzzer_and_end_without_the_host(python):
    ask = [[2.0, encode_alarm(1, 2).hex()]]
    _, truth = bench(python, seconds=96, hz=20.3, host=ask)
    lamp = [us / 1e6 for us, (on, _) in _changes(truth["shown"], 0)]
    buzzer = [us / 1e6 for us, (_, on) in _changes(truth["shown"], 1)]
    assert truth["shown"][0] == [0, [False, False]]
    assert truth["shown"][-1][1] == [False, False]
    assert lamp[1] == pytest.approx(2.0, abs=0.01)
    assert 91.4 < lamp[-1] < 92.1
    assert 91.8 < buzzer[-1] < 92.1
    halves = [b - a for a, b in itertools.pairwise(lamp[1:-1])]
    assert halves == pytest.approx([0.5] * len(halves), abs=0.01)
    quick = [b - a for a, b in itertools.pairwise(buzzer[1:-1])]
    assert quick == pytest.approx([0.125] * len(quick), abs=0.01)


def _changes(shown, place):
    kept = [shown[0]]
    for at, state in shown[1:]:
        if state[place] != kept[-1][1][place]:
            kept.append([at, state])
    return kept


@both
def test_a_repeated_pattern_holds_and_a_new_one_begins_with_its_light(python):
    slow = encode_alarm(1, 0).hex()
    host = [[1.0 + 30 * i, slow] for i in range(5)] + [[130.3, encode_alarm(3, 0).hex()]]
    _, truth = bench(python, seconds=140, hz=20.3, host=host)
    assert truth["shown"][-1][1] == [True, False]
    lamp = [us / 1e6 for us, _ in _changes(truth["shown"], 0)][1:]
    gaps = [b - a for a, b in itertools.pairwise(lamp[:-1])]
    assert max(gaps) < 0.52
    assert len(gaps) > 250


@both
def test_pulses_far_apart_count_though_the_ticks_have_wrapped_meanwhile(python):
    # Times of edges in seconds: 10 minutes apart, then 18 (one turn of the ticks is 17.9).
    edges = [1.0, 601.0, 1201.0, 2300.0, 3373.8, 4500.0, 8000.0]
    (rows,) = call(python, ("long_run", [edges, 9000]))
    for second, clock_us, pulses, edge_us in rows:
        before = [edge for edge in edges if edge <= second]
        assert pulses == len(before)
        assert clock_us == second * 1_000_000 % (1 << 32)
        if before:
            assert edge_us == round(before[-1] * 1e6) % (1 << 32)
    assert len(rows) > 1000


@settings(max_examples=300, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.sampled_from([b"Q*AB24\n", b"A,2,1*1E45\n", encode_alarm(3, 0), b"\n", b"\r\n"]),
            st.binary(max_size=12),
            st.binary(max_size=12).map(lambda body: seal(b"A," + body)),
            st.binary(max_size=12).map(lambda body: seal(b"Q," + body)),
        ),
        max_size=8,
    ),
    st.integers(1, 9),
)
def test_it_hears_what_the_reference_hears_however_the_bytes_are_cut(parts, size):
    heard = b"".join(parts)
    # It drops what is longer than any line of the host; the reference goes up to 160.
    assume(all(len(line) <= 32 for line in heard.split(b"\n")))
    reference = [
        "Q" if c == HelloRequest() else (c.lamp, c.buzzer) for c in CommandDecoder().feed(heard)
    ]
    ear = _wire().Ear()
    found = [c for i in range(0, len(heard), size) for c in ear.feed(heard[i : i + size])]
    assert found == reference


def _wire():
    sys.path.insert(0, str(FOLDER))
    try:
        return importlib.import_module("flowboard.wire")
    finally:
        sys.path.remove(str(FOLDER))


@both
def test_the_pins_are_used_as_the_settings_say(python):
    (found,) = call(python, ("wiring", [{}]))
    assert found["channels"] == "FP"
    assert found["meter"] == {"number": 2, "pull_up": True, "trigger": "falling", "hard": True}
    assert found["timer"] == {"freq": 1000, "mode": "periodic"}
    assert found["watchdog_ms"] == 4000
    assert found["fed"] > 100
    assert found["outputs"] == {"14": 0, "15": 0}
    assert found["interrupt_character"] == -1
    assert found["reset"] == "watchdog"
    report = judge([(None, found["said"])])
    assert report.failed == (), report.text()
    assert report.samples >= 9
    assert report.hello.channels == "FP"
    assert report.hello.reset == "watchdog"


@both
def test_all_inputs_and_the_serial_port_are_used_when_they_are_fitted(python):
    fitted = {"VALVE_PIN": 5, "WHEEL_PIN": 6, "LINE": "uart", "HARD_INTERRUPTS": False}
    (found,) = call(python, ("wiring", [fitted]))
    assert found["channels"] == "FPVW"
    assert found["meter"]["hard"] is False
    assert found["wheel"]["number"] == 6
    assert found["baud"] == 115_200
    report = judge([(None, found["said"])])
    assert report.failed == (), report.text()
    assert report.of("S9").received == "FPVW"
    assert report.of("S10").verdict == "pass"


@both
def test_the_service_pin_keeps_the_board_from_starting(python):
    assert call(python, ("in_service", [0]), ("in_service", [1])) == [True, False]


PAGE = (FOLDER.parent / "protocol.md").read_text("utf-8")


def _examples(kind):
    blocks = re.findall(r"^```text ?(\w*)\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    return [line for name, text in blocks if name == kind for line in text.splitlines()]


@both
def test_the_examples_of_the_page_are_made_the_same(python):
    calls, wanted = [], []
    for line in _examples(""):
        (item,) = Decoder().feed(line.encode() + b"\n").items
        if isinstance(item, Hello):
            values = [item.boot, item.seq, item.firmware, item.board, item.reset]
            values += [item.period_ms, item.adc_bits, item.channels]
            calls.append(("hello_line", values))
        else:
            row = item.table[0].tolist()
            valve = None if row[9] == ABSENT else row[9]
            wheel = None if row[10] == ABSENT else row[10:12]
            calls.append(("sample_line", [*row[:5], row[5:9], valve, wheel]))
        wanted.append(line.encode() + b"\n")
    assert len(wanted) >= 10
    assert call(python, *calls) == wanted


@both
def test_what_the_host_says_on_the_page_is_understood_and_the_rest_is_not(python):
    good = _examples("host")
    bad = [line.partition(" -> ")[0] for line in _examples("faults")] + _examples("newer")
    bad += ["Q*0000", "Q*ab24", "QAB24", "", "*FFFF", "A,4,0*D2E3"]
    lines = [*good, *bad, *(line + "\r" for line in good)]
    found = call(python, *(("command_of", [line.encode()]) for line in lines))
    wanted = ["Q", [0, 0], [1, 0], [2, 2], [3, 1]]
    assert found == wanted + [None] * len(bad) + wanted


@both
def test_every_request_of_the_host_is_understood(python):
    pairs = list(itertools.product(range(4), repeat=2))
    lines = [encode_hello_request(), *(encode_alarm(*pair) for pair in pairs)]
    found = call(python, *(("command_of", [line[:-1]]) for line in lines))
    assert found == ["Q", *([a, b] for a, b in pairs)]


@both
def test_the_page_s_checksums_are_made(python):
    rows = re.findall(r"^\| (?:`([^`]+)`|\(none\)) \| `([0-9A-F]{4})` \|$", PAGE, re.MULTILINE)
    found = call(python, *(("crc", [text.encode()]) for text, _ in rows))
    assert found == [int(value, 16) for _, value in rows]


@both
def test_starts_are_counted_through_power_cuts(python, tmp_path):
    path = tmp_path / "boot.txt"

    def start():
        (boot,) = call(python, ("next_boot", [str(path)]))
        return boot

    assert [start(), start()] == [1, 2]
    path.write_text("65535\n")
    assert [start(), start()] == [1, 2]
    # The power went between removing the old file and naming the new one.
    path.rename(f"{path}.new")
    assert start() == 3
    # A file that says nothing begins anew rather than stopping the board.
    for rubbish in ("", "x", "-5", "70000", "0"):
        path.write_text(rubbish)
        assert start() == 1
    assert call(python, ("next_boot", [str(tmp_path / "none" / "boot.txt")])) == [0]


def test_counting_starts_wears_the_memory_little():
    ((last, most_erased),) = call("micropython", ("wear", [400]))
    assert last == 400
    assert most_erased <= 40, "littlefs spreads the writes: measured 11"


def test_the_interrupts_ask_for_no_memory():
    found = call("micropython", *(("allocates", [name]) for name in ("on_edge", "add", "control")))
    assert found == [False, False, True]


@pytest.mark.parametrize("file", sorted(FOLDER.rglob("*.py")), ids=lambda path: path.name)
def test_each_file_compiles_under_micropython(file):
    done = subprocess.run(
        [interpreter("micropython"), "-X", "compile-only", str(file)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr, done.stdout) == (0, "", "")


def test_the_settings_give_a_good_hello():
    sys.path.insert(0, str(FOLDER))
    try:
        chosen = importlib.import_module("settings")
    finally:
        sys.path.remove(str(FOLDER))
        sys.modules.pop("settings", None)
    for name in (chosen.FIRMWARE, chosen.BOARD):
        assert re.fullmatch(NAME_PATTERN, name)
    assert chosen.PERIOD_MS == 100
    assert chosen.ADC_HZ >= 1000

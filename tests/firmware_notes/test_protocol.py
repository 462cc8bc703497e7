"""The protocol page against the decoder: every example line on it, and every number in a table."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import numpy as np
import pytest

from flowlog.wire.commands import CommandDecoder
from flowlog.wire.conformance import answers, hellos, numbers, pace, readings, runs
from flowlog.wire.conformance.judge import judge
from flowlog.wire.conformance.rules import RULES, SECTIONS
from flowlog.wire.crc import crc16, seal
from flowlog.wire.decode import Decoder
from flowlog.wire.encode import encode_alarm, encode_hello, encode_hello_request, encode_sample
from flowlog.wire.records import MAX_LINE, PROTOCOL, RESET_CAUSES, Alarm, Hello
from flowlog.wire.samples import FIELDS, Samples
from flowlog.wire.unwrap import Unwrapper

PAGE = (Path(__file__).parents[2] / "firmware-notes" / "protocol.md").read_text("utf-8")
BLOCKS = re.findall(r"^```text ?(\w*)\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)


def lines(kind: str) -> list[str]:
    found = [line for name, text in BLOCKS if name == kind for line in text.splitlines()]
    assert found, f"no example of kind '{kind}'"
    return found


@pytest.mark.parametrize("line", lines(""))
def test_a_board_s_example_is_decoded_and_encoded_again_the_same(line: str):
    decoder = Decoder()
    (item,) = decoder.feed(line.encode() + b"\n").items
    assert decoder.counts.faults == decoder.counts.unknown == decoder.counts.extra_fields == 0
    if isinstance(item, Hello):
        again = encode_hello(item)
    else:
        assert isinstance(item, Samples)
        again = encode_sample(item.table[0].tolist())
    assert again.decode() == line + "\n"


@pytest.mark.parametrize("line", lines("host"))
def test_a_host_s_example_is_understood_and_encoded_again_the_same(line: str):
    (command,) = CommandDecoder().feed(line.encode() + b"\n")
    if isinstance(command, Alarm):
        again = encode_alarm(command.lamp, command.buzzer)
    else:
        again = encode_hello_request()
    assert again.decode() == line + "\n"


@pytest.mark.parametrize("example", lines("faults"))
def test_a_bad_example_is_the_fault_that_the_page_says(example: str):
    line, _, kind = example.partition(" -> ")
    decoded = Decoder().feed(line.encode() + b"\n")
    assert [fault.kind for fault in decoded.faults] == [kind]
    assert decoded.items == []


@pytest.mark.parametrize("line", lines("newer"))
def test_a_newer_board_s_example_is_no_fault(line: str):
    decoder = Decoder()
    decoder.feed(line.encode() + b"\n")
    assert decoder.counts.faults == 0
    assert decoder.counts.unknown + decoder.counts.extra_fields == 1


def test_no_example_with_a_checksum_is_outside_the_tested_blocks():
    outside = re.sub(r"^```text.*?^```$", "", PAGE, flags=re.MULTILINE | re.DOTALL)
    assert not re.findall(r"\*[0-9A-F]{4}\b", outside)


def test_the_table_of_checksums_is_right():
    rows = re.findall(r"^\| (?:`([^`]+)`|\(none\)) \| `([0-9A-F]{4})` \|$", PAGE, re.MULTILINE)
    assert len(rows) == 5
    for text, value in rows:
        assert f"{crc16(text.encode()):04X}" == value


def test_the_fields_stand_on_the_page_in_the_order_of_the_table():
    sample = PAGE[PAGE.index("## Sample") : PAGE.index("## Hello")]
    assert tuple(re.findall(r"^\| `(\w+)` \|", sample, re.MULTILINE)) == FIELDS
    hello = PAGE[PAGE.index("## Hello") : PAGE.index("## Host to board")]
    named = tuple(re.findall(r"^\| `(\w+)` \|", hello, re.MULTILINE))
    assert named == tuple(Hello.__dataclass_fields__)


def test_limits_on_the_page_are_those_of_the_code():
    assert f"at most {MAX_LINE} bytes" in PAGE
    assert f"protocol, version {PROTOCOL}\n" in PAGE
    assert ", ".join(f"`{cause}`" for cause in RESET_CAUSES) in PAGE


def test_the_example_of_a_wrap_joins_up_as_the_page_says():
    text = next(text for _, text in BLOCKS if "4294967295" in text)
    decoded = Decoder().feed(text.encode())
    (block,) = decoded.items
    assert isinstance(block, Samples)
    result = Unwrapper(100_000, 1_000).feed(block)
    assert len(result) == 3
    assert np.diff(result.column("pulses")).tolist() == [5, 5]
    assert np.abs(np.diff(result.column("t_us")) - 100_000).max() < 100


def test_the_longest_sample_that_the_page_allows_fits_a_line():
    longest = "S,65535" + ",4294967295" * 8 + ",1" + ",4294967295" * 2
    assert len(seal(longest.encode())) <= MAX_LINE


def test_each_rule_of_the_check_stands_on_the_page_once_in_order():
    numbered = re.findall(r"^(?:- )?\*\*([LSHBTC]\d+)\*\* ", PAGE, re.MULTILINE)
    by_letter = {letter: [n for n in numbered if n[0] == letter] for letter in SECTIONS}
    by_letter["L"].sort()  # the checksum has a heading of its own
    assert [n for numbers in by_letter.values() for n in numbers] == list(RULES)


def test_what_the_check_tolerates_is_on_the_page():
    table = PAGE[PAGE.index("| rule | what the check") : PAGE.index("The line does not show")]
    named = re.findall(r"[LSHBTC]\d+", "".join(re.findall(r"^\| ([^|]+) \|", table, re.MULTILINE)))
    assert set(named) <= set(RULES)
    for number, said in (
        ("S4", f"after {runs.EDGES_ENOUGH} edges or more at {numbers.DISTANCES_ENOUGH} or"),
        ("S7", f"`adc_n` {round(100 * (1 - readings.RATE_TOLERANCE))} % low"),
        ("S11", f"; {numbers.OUTAGE_PERIODS} and more"),
        ("H3", f"{hellos.ANSWER_S} s, and {hellos.HOST_S} s"),
        ("H4", f"{hellos.MINUTE_S:.0f} s, and {hellos.MINUTE_SLACK_S:.0f} s"),
        (
            "T1",
            f"above {100 * pace.WORST_SHARE:.0f} %, advises above {100 * pace.GOOD_SHARE:.1f} %",
        ),
        ("C4", f"within {answers.WATCH_S:.0f} s"),
    ):
        row = next(line for line in table.splitlines() if number in line.split("|")[1])
        assert said in row, (number, said)


def test_the_board_s_examples_break_no_rule_that_single_lines_can_break():
    for _, text in [block for block in BLOCKS if block[0] == ""]:
        report = judge([(None, text.encode())])
        broken = {finding.rule.number for finding in report.failed}
        # The examples of one block are lines of several boards.
        assert not broken & {"L1", "L2", "L3", "L4", "S1", "S7", "S8", "H1"}, report.text()


def test_the_example_of_a_wrap_and_the_first_samples_pass_the_check():
    for text in [t for _, t in BLOCKS if "4294967295" in t or t.startswith("S,0,0,")]:
        report = judge([(None, text.encode())])
        assert report.of("S2").verdict == report.of("S3").verdict == "pass", report.text()
        assert {f.rule.number for f in report.failed} <= {"H2"}, report.text()


@pytest.mark.parametrize("line", lines("host"))
def test_a_host_s_line_fits_the_buffer_that_the_page_promises(line: str):
    assert "A buffer of 32 bytes is enough" in PAGE
    assert len(line) + 1 <= 32


def test_every_pair_of_patterns_has_the_form_of_the_page():
    for lamp, buzzer in itertools.product(range(4), repeat=2):
        line = encode_alarm(lamp, buzzer)
        assert CommandDecoder().feed(line.replace(b"\n", b"\r\n")) == [Alarm(lamp, buzzer)]
        assert len(line) <= 32

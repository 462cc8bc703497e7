"""The protocol page against the decoder: every example line on it, and every number in a table."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from flowlog.wire.commands import CommandDecoder
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

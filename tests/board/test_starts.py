"""Starts: their cause, their count kept in the EEPROM with little wear, and what they cost."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from support.board_output import said
from support.emulated_board import EmulatedBoard, pin

from flowlog.wire.decode import Decoder
from flowlog.wire.records import Hello
from flowlog.wire.unwrap import Unwrapper

METER = pin("METER")
PLACES = 64
CONVERTER = 0x7A
"""Its control register, in data memory."""
LINE_US = 5000
"""A sample's line takes about so long."""


def boots(data: bytes) -> list[int]:
    """Boot counts of the hellos that are whole."""
    return [item.boot for item in Decoder().feed(data).items if isinstance(item, Hello)]


@pytest.mark.parametrize("cause", ["power", "brownout", "external"])
def test_a_reset_says_its_cause_and_counts_on(power_on, cause):
    board = power_on()
    board.pulses(METER, 0.5 + np.arange(100) / 100.0, 5e-3)
    board.run_to(1.95)
    board.reset(cause, 2.05, held_s=0.3)
    before, after = board.heard.data.copy(), said(board.run_to(3.0))
    assert said(bytes(before)).column("pulses")[-1] == 100
    assert [hello.reset for hello in after.hellos] == [cause]
    again = after.samples[1:]
    assert set(again.column("boot").tolist()) == {2}
    assert again.column("seq").tolist() == list(range(len(again)))
    assert set(again.column("pulses").tolist()) == {0}
    # 0.65 s of it are left of the second.
    assert len(again) == 6


def test_a_brown_out_in_the_middle_of_a_record_costs_that_record_and_no_more(power_on):
    board = power_on()
    falls = 0.5 + np.arange(400) / 100.0
    board.pulses(METER, falls, 5e-3)
    board.reset("brownout", 2.5 + 0.5 * LINE_US * 1e-6, held_s=0.05)
    what = said(board.run_to(6.0), faults=1)
    torn = next(line for line in bytes(board.heard.data).splitlines() if b"*" not in line and line)
    assert torn.startswith(b"S,1,24,"), "the board stopped within a line"
    # It is ended before the hello, which is heard.
    assert [hello.reset for hello in what.hellos] == ["power", "brownout"]
    unwrapped = Unwrapper(100_000, 1000).feed(what.samples)
    (reset,) = unwrapped.breaks
    assert (reset.kind, reset.boot, reset.last_boot) == ("reset", 2, 1)
    first, second = what.column("boot") == 1, what.column("boot") == 2
    held = (falls > 2.4) & (falls < 2.56)
    counted = int(what.column("pulses")[first][-1] + what.column("pulses")[second][-1])
    assert len(falls) - np.count_nonzero(held) <= counted <= len(falls)


def test_the_watchdog_ends_a_jam_within_its_second_and_says_so(power_on):
    board = power_on()
    falls = 0.5 + np.arange(1000) / 100.0
    board.pulses(METER, falls, 5e-3)
    board.jam(3.02)
    what = said(board.run_to(11.0))
    (restarted_s,) = board.heard.watchdog_s
    assert 3.02 < restarted_s < 3.02 + 1.2
    assert [hello.reset for hello in what.hellos] == ["power", "watchdog"]
    after = what.column("boot") == 2
    # From the restart on every pulse is in it again.
    assert int(what.column("pulses")[-1]) == pytest.approx(np.sum(falls > restarted_s), abs=1)
    assert what.column("seq")[after].tolist() == list(range(np.count_nonzero(after)))


def test_the_watchdog_also_ends_a_stop_of_the_converter(power_on):
    """Timer, gauge, main loop and line: the watchdog is content only when all of them work."""
    board = power_on()
    # The gauge's converter is switched off by a disturbed register: no more readings.
    board.disturb(CONVERTER, 0x00, 2.05)
    what = said(board.run_to(6.0))
    assert len(board.heard.watchdog_s) == 1
    assert what.hellos[-1].reset == "watchdog"
    assert what.column("seq")[-1] > 10


def test_two_hundred_power_cuts_count_one_by_one_and_wear_each_cell_three_or_four_times(power_on):
    board = power_on()
    seen: list[int] = []
    writes = np.zeros(PLACES, dtype=int)
    last = board.eeprom()
    for cut in range(200):
        board.reset("power", 0.1 * (cut + 1))
        seen += boots(board.run_to(0.1 * (cut + 1)))
        now = board.eeprom()
        for place in range(PLACES):
            writes[place] += now[4 * place : 4 * place + 4] != last[4 * place : 4 * place + 4]
        last = now
    assert seen == list(range(1, 201))
    assert writes.max() - writes.min() <= 1
    assert writes.sum() == 200
    assert set(last[4 * PLACES :]) == {0xFF}


def place(count: int) -> bytes:
    """As the firmware keeps it, computed here anew: CRC-16 of the count from 0x5A5A."""
    crc = 0x5A5A
    for byte in struct.pack(">H", count):
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return struct.pack("<HH", count, crc)


def test_after_65535_comes_1_and_then_2(power_on):
    board = power_on()
    board.keep(b"".join(place(65535 - 20 + i) for i in range(20)))
    board.reset("power", 0.0)
    for cut in range(4):
        board.reset("power", 0.1 * (cut + 1))
    assert boots(board.run_to(0.45)) == [65535, 1, 2, 3, 4]


def test_a_count_cut_short_while_it_was_written_is_taken_up_from_the_one_before(power_on):
    board = power_on()
    for cut in range(1, 60):
        # Every 0.3 ms of the 14 that writing takes, and a whole start in between.
        board.reset("brownout", 0.2 * cut)
        board.reset("brownout", 0.2 * cut + 0.3e-3 * cut)
        board.reset("brownout", 0.2 * cut + 0.1)
    seen = boots(board.run_to(12.1))
    steps = np.diff(seen)
    assert set(steps.tolist()) <= {1, 2, 3}, "never back, nor by more than the starts that were"
    assert len(seen) >= 2 * 59


def test_a_memory_that_does_not_hold_what_is_written_gives_no_false_count(power_on):
    """Filled with junk it begins at 1; what is not valid is not believed."""
    board = power_on()
    board.keep(bytes(np.random.default_rng(5).integers(0, 256, 256, dtype=np.uint8)))
    board.reset("power", 0.0)
    board.reset("power", 0.1)
    assert boots(board.run_to(0.2)) == [1, 2]


def test_a_start_costs_no_pulse_but_those_of_its_first_milliseconds(power_on):
    """Counting begins before the boot count is written."""
    board: EmulatedBoard = power_on()
    falls = 1e-3 + np.arange(100) / 1000.0
    board.pulses(METER, falls, 0.5e-3)
    what = said(board.run_to(0.35))
    assert what.column("pulses")[-1] == 100

"""The reference firmware under the same check that `flowlog board check` makes at a port."""

from __future__ import annotations

import numpy as np
import pytest
from support.emulated_board import EmulatedBoard, pin

from flowlog.wire.conformance.exercise import steps
from flowlog.wire.conformance.heard import Piece, Sent
from flowlog.wire.conformance.judge import Report, judge


def pieces_of(board: EmulatedBoard) -> list[Piece]:
    """What came out, a piece a line, with the moment of its last byte."""
    data, times = bytes(board.heard.data), board.heard.byte_s
    pieces: list[Piece] = []
    at = 0
    for line in data.splitlines(keepends=True):
        at += len(line)
        pieces.append((times[at - 1], line))
    return [*pieces, (board.now_s, b"")]


def checked(board: EmulatedBoard, listen_s: float, *, talk: bool = True) -> Report:
    """Let the board run through a check."""
    plan, ends_s = steps(listen_s)
    sent: list[Sent] = []
    for step in plan if talk else ():
        board.send(step.data, step.at_s)
        if step.kind is not None:
            sent.append(Sent(step.at_s, step.kind))
    board.run_to(ends_s)
    return judge(pieces_of(board), sent)


def spray(board: EmulatedBoard, seconds: float, hertz: float, name: str = "METER") -> None:
    """Pulses that are in step with nothing, from half a second on."""
    rng = np.random.default_rng(7)
    gaps = (1.0 + rng.uniform(-0.1, 0.1, int(seconds * hertz))) / hertz
    falls = 0.5 + np.cumsum(gaps)
    board.pulses(pin(name), falls[falls < seconds], 0.3 / hertz)


@pytest.mark.parametrize("hertz", [31.7, 433.0, 1900.0])
def test_the_reference_firmware_keeps_every_rule_that_the_line_shows(power_on, hertz):
    board = power_on()
    spray(board, 80.0, hertz)
    board.volts(0, np.arange(1.0, 80.0), 1.0 + 0.5 * np.sin(np.arange(1.0, 80.0)))
    board.level(pin("VALVE"), 5.0, 1)
    report = checked(board, 62.0)
    assert report.failed == (), report.text()
    assert report.numbers("advice") == [], report.text()
    # No wheel is fitted, and nothing started it again.
    assert report.numbers("not seen") == ["S10", "B1"], report.text()


def test_with_a_wheel_the_wheel_s_rule_is_kept_as_well(power_on, wheel_program):
    board = power_on(wheel_program)
    spray(board, 30.0, 211.0)
    spray(board, 30.0, 17.0, "WHEEL")
    report = checked(board, 15.0)
    assert report.failed == (), report.text()
    assert report.of("S10").verdict == "pass"


@pytest.mark.parametrize("cause", ["external", "brownout", "power"])
@pytest.mark.parametrize("at_s", [9.05, 9.1003, 9.1021])
def test_a_start_in_the_middle_is_as_the_page_says(power_on, cause, at_s):
    # The later moments cut a line that is under way.
    board = power_on()
    spray(board, 30.0, 211.0)
    board.reset(cause, at_s, 0.2)
    report = checked(board, 15.0)
    assert report.failed == (), report.text()
    for number in ("H2", "B1", "B2", "B3"):
        assert report.of(number).verdict == "pass", report.text()
    assert report.of("B1").received == "1, then 2"
    assert cause in report.of("B3").received


def test_a_board_that_hangs_comes_back_by_its_watchdog_within_the_rules(power_on):
    board = power_on()
    spray(board, 30.0, 211.0)
    board.jam(8.0)
    report = checked(board, 15.0)
    assert report.failed == (), report.text()
    assert "watchdog" in report.of("B3").received

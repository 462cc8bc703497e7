"""What the board says, hears and shows: hellos, commands, garbage, lamp and buzzer."""

from __future__ import annotations

import numpy as np
import pytest
from support.board_output import said
from support.emulated_board import EmulatedBoard, pin

from flowlog.wire.crc import seal
from flowlog.wire.encode import encode_alarm, encode_hello_request

LAMP, BUZZER = pin("LAMP"), pin("BUZZER")
FORGOTTEN_S = 90.0


def flashes(changes: list[tuple[float, int]], begin_s: float, end_s: float) -> list[float]:
    """Times at which an output was switched on within a stretch."""
    return [at for at, level in changes if level == 1 and begin_s <= at < end_s]


def test_the_hello_comes_before_the_first_sample_and_at_least_once_a_minute(power_on):
    board = power_on()
    data = board.run_to(130.0)
    assert data.lstrip().startswith(b"H,1,0,1,")
    what = said(data)
    assert len(what.samples) == 1299
    assert np.diff([hello.seq for hello in what.hellos]).max() <= 600
    assert what.hellos[-1].seq >= 700
    (first, *_) = what.hellos
    assert (first.reset, first.period_ms, first.adc_bits, first.channels) == (
        "power", 100, 10, "FPV",
    )  # fmt: skip


@pytest.mark.parametrize("at_s", [1.0, 1.0985, 1.0999, 1.1003, 1.103])
def test_a_request_is_answered_within_half_a_second_and_costs_no_sample(power_on, at_s):
    board = power_on()
    board.send(encode_hello_request(), at_s)
    data = board.run_to(1.55)
    what = said(data)
    (_, hello) = what.hellos
    assert what.column("seq").tolist() == list(range(15))
    lines = data.splitlines()
    place = max(i for i, line in enumerate(lines) if line.startswith(b"H"))
    assert int(lines[place + 1].split(b",")[2]) == hello.seq
    assert lines[place - 1].startswith(b"S")


@pytest.mark.parametrize(
    ("line", "answered"),
    [
        (b"Q*AB24\n", True),
        (b"Q*AB24\r\n", True),
        (seal(b"Q,something,new"), True),
        (seal(b"Q," + b"9" * 152), True),  # 160 bytes are in order
        (seal(b"Q," + b"9" * 153), False),
        (b"Q*ab24\n", False),
        (b"Q*AB25\n", False),
        (b"Q\n", False),
        (b"Q*\n", False),
        (b"*FFFF\n", False),
        (seal(b"QQ"), False),
        (seal(b"q"), False),
        (seal(b"Z,1"), False),
    ],
    ids=lambda value: value[:12].decode() + str(len(value)) if isinstance(value, bytes) else "",
)
def test_only_a_right_request_is_answered(power_on, line, answered):
    board = power_on()
    board.run_to(1.0)
    board.send(line, 1.05)
    assert len(said(board.run_to(1.6)).hellos) == answered


@pytest.mark.parametrize(
    "body", [b"A,4,0", b"A,0", b"A,0,", b"A,,0", b"A,00,0", b"A,1,1x", b"A1,1", b"A,-,1"]
)
def test_a_pattern_that_is_none_changes_nothing(power_on, body):
    board = power_on()
    board.run_to(1.0)
    board.send(seal(body), 1.05)
    board.run_to(2.0)
    assert [level for _, level in board.heard.pin(LAMP)] == [0]
    assert [level for _, level in board.heard.pin(BUZZER)] == [0]


@pytest.mark.parametrize(("pattern", "hertz"), [(1, 1.0), (2, 4.0)])
def test_slow_and_fast_are_what_the_protocol_says(power_on, pattern, hertz):
    board = power_on()
    board.run_to(1.0)
    board.send(encode_alarm(pattern, 3 - pattern), 1.0)
    board.run_to(11.5)
    lamp = flashes(board.heard.pin(LAMP), 1.0, 11.5)
    assert lamp[0] < 1.02
    assert 1.0 / np.diff(lamp).mean() == pytest.approx(hertz, rel=0.05)
    buzzer = flashes(board.heard.pin(BUZZER), 1.0, 11.5)
    assert 1.0 / np.diff(buzzer).mean() == pytest.approx(5.0 - hertz, rel=0.05)


def test_steady_is_steady_and_off_is_off(power_on):
    board = power_on()
    board.send(encode_alarm(3, 3), 1.0)
    board.send(encode_alarm(3, 0), 2.0)
    board.send(encode_alarm(0, 0), 3.0)
    board.run_to(5.0)
    for output, end_s in ((LAMP, 3.0), (BUZZER, 2.0)):
        (_, off), (on_s, on), (off_s, off_again) = board.heard.pin(output)
        assert (off, on, off_again) == (0, 1, 0)
        assert (on_s, off_s) == (pytest.approx(1.0, abs=0.01), pytest.approx(end_s, abs=0.01))


def test_a_pattern_said_again_keeps_its_rhythm(power_on):
    board = power_on()
    for again in range(5):
        board.send(encode_alarm(1, 0), 1.0 + 1.3 * again)
    board.run_to(8.0)
    assert np.diff(flashes(board.heard.pin(LAMP), 1.0, 8.0)) == pytest.approx(1.024, abs=0.005)


def test_lamp_and_buzzer_go_off_when_the_computer_says_nothing_any_more(power_on):
    board = power_on()
    board.send(encode_alarm(3, 1), 1.0)
    board.send(encode_alarm(3, 1), 31.0)
    board.run_to(125.0)
    for output in (LAMP, BUZZER):
        last_s, level = board.heard.pin(output)[-1]
        assert level == 0
        assert last_s <= 31.0 + FORGOTTEN_S + 0.05
    assert board.heard.pin(LAMP)[-1][0] == pytest.approx(31.0 + FORGOTTEN_S, abs=0.05)


def flood(board: EmulatedBoard, data: list[int] | bytes, seconds: float = 5.0) -> None:
    """Bytes without a pause while pulses come, and a right request at the end."""
    falls = 0.5 + np.arange(int((seconds + 2) * 500)) / 500.0
    board.pulses(pin("METER"), falls, 1e-3)
    board.send(data, 1.0)
    board.send(b"\n" + encode_hello_request(), 1.0)
    what = said(board.run_to(seconds + 3.0))
    assert what.column("pulses")[-1] == len(falls)
    assert (np.diff(what.column("seq")) == 1).all()
    assert len(what.samples) == int((seconds + 3.0) * 10) - 1
    assert len(what.hellos) == 2, "the request behind the garbage"
    assert board.heard.watchdog_s == []
    assert {level for _, level in board.heard.pin(LAMP)} == {0}


def test_garbage_from_the_computer_at_full_speed_disturbs_nothing(power_on):
    rng = np.random.default_rng(1)
    noise = rng.integers(0, 256, 50_000)
    noise[rng.random(len(noise)) < 0.02] = 10
    flood(power_on(), noise.tolist())


@pytest.mark.parametrize("line", [b"Q", b"*", b"\0", b"A,1,1*6635\n", b"Q*AB25\n", b"\n"])
def test_one_and_the_same_over_and_over_disturbs_nothing(power_on, line):
    flood(power_on(), line * (50_000 // len(line)))


def test_the_board_needs_no_ear_and_waits_for_none(power_on):
    """Nobody answers and nobody is there: the serial line has no flow control to stop it."""
    board = power_on()
    what = said(board.run_to(30.05))
    assert what.column("seq").tolist() == list(range(300))

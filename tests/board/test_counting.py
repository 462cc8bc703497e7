"""Pulses on the pin against counts and times on the line: nothing lost, nothing added."""

from __future__ import annotations

import numpy as np
import pytest
from support.board_output import MODULUS, Said, on_one_scale, said
from support.emulated_board import EmulatedBoard, pin

METER, WHEEL = pin("METER"), pin("WHEEL")
REST_S = 100e-6
"""As settings.h has it: a pulse counts when its line has rested for so long."""
WITHIN_US = 8.0
STEP_US = 100_000


def check(what: Said, falls_s: np.ndarray, *, first: int = 0, late_us: float = 50.0) -> float:
    """Counts and edge times of every sample against the driven pulses, from pulse `first` on.

    Returns the largest error of an edge, us. The board's clock began with its program, a fraction
    of a millisecond after the supply came: one and the same shift for all. A sample is closed up
    to `late_us` late, when another interrupt is being served.
    """
    clock = on_one_scale(what.column("clock_us")) * 1e-6
    assert np.abs(np.diff(clock) - STEP_US * 1e-6).max() <= late_us * 1e-6
    assert set(np.diff(what.column("seq")).tolist()) == {1}
    counts = (what.column("pulses") - first) % MODULUS
    moved = counts > 0
    edge = clock[moved] - (
        (what.column("clock_us") - what.column("edge_us"))[moved] % MODULUS * 1e-6
    )
    shift = falls_s[counts[moved] - 1] - edge
    start = float(np.median(shift))
    error_us = float(np.abs(shift - start).max() * 1e6)
    # What had rested by the sample's clock is in it; what had not begun is not.
    now = clock + start
    assert (counts >= np.searchsorted(falls_s, now - REST_S - 10e-6)).all()
    assert (counts <= np.searchsorted(falls_s, now + 10e-6)).all()
    return error_us


def settle(board: EmulatedBoard, clock: bool = False) -> None:
    """Let it start; `clock` sets its clock to ten seconds before it wraps, as RAM may hold it."""
    if clock:
        board.poke("clock_overflows", MODULUS // 32768 - 300, 0.35)
    board.run_to(0.45)


@pytest.mark.parametrize("hertz", [10, 30, 150, 500, 2000])
def test_a_minute_of_pulses_is_counted_exactly_with_the_time_of_each_edge(power_on, hertz):
    board = power_on()
    falls = 0.5 + np.arange(60 * hertz) / hertz
    board.pulses(METER, falls, 0.5 / hertz)
    what = said(board.run_to(61.0))
    assert what.column("pulses")[-1] == len(falls)
    # 1,800 times the 16-bit timer went round, and the clock never jumped.
    assert what.column("clock_us")[-1] > 200 * 32768
    error_us = check(what, falls)
    print(f"{hertz} a second: {len(falls)} of {len(falls)}, edges within {error_us:.1f} us")
    assert error_us <= WITHIN_US


@pytest.mark.parametrize("hertz", [37.5, 123.456, 1999.0])
def test_clock_and_counts_wrap_at_32_bits_without_a_jump(power_on, hertz):
    board = power_on()
    settle(board, clock=True)
    board.poke("meter", MODULUS - 500, 0.46)  # its first member is the count
    falls = 0.5 + np.arange(int(20 * hertz)) / hertz
    board.pulses(METER, falls, 0.5 / hertz)
    board.run_to(0.48)
    what = said(board.run_to(21.0))
    clock = what.column("clock_us")
    assert clock[0] > MODULUS - 11_000_000
    assert 9_000_000 < clock[-1] < 12_000_000
    assert (what.column("pulses")[-1] - (MODULUS - 500)) % MODULUS == len(falls)
    assert check(what, falls, first=MODULUS - 500) <= WITHIN_US


def test_edges_that_fall_together_with_the_timer_s_overflow_have_the_right_time(power_on):
    """A pulse every 32.768 ms, moved by an eighth of a microsecond each: across the overflow."""
    board = power_on()
    first_s = 0.2
    board.pulses(METER, first_s, 0.5e-3)
    started_s = first_s - int(said(board.run_to(0.45)).column("edge_us")[-1]) * 1e-6
    steps = np.arange(1000)
    around = started_s + (16 + steps) * 32.768e-3 + (steps - 700) * 0.125e-6
    board.pulses(METER, around, 0.5e-3)
    what = said(board.run_to(float(around[-1]) + 0.5))
    falls = np.append(first_s, around)
    assert what.column("pulses")[-1] == len(falls)
    # A sample shows one edge of three or so; the others are in the counts.
    near_us = (falls - started_s + 100e-6) % 32.768e-3 * 1e6 - 100.0
    shown = near_us[np.unique(what.column("pulses")) - 1]
    assert np.count_nonzero((shown > -20.0) & (shown < 0.0)) > 30, "just before an overflow"
    assert np.count_nonzero((shown >= 0.0) & (shown < 20.0)) > 30, "just behind one"
    assert check(what, falls) <= WITHIN_US


def test_a_bouncing_contact_counts_once_a_pulse(power_on):
    board = power_on()
    rng = np.random.default_rng(3)
    falls = 0.5 + np.arange(1000) / 50.0
    for begin, level in ((falls, 0), (falls + 10e-3, 1)):
        at = begin.copy()
        for _ in range(6):  # to and fro, 3 to 60 us each, then it rests
            board.level(METER, at, level)
            at = at + rng.uniform(3e-6, 60e-6, len(at))
            board.level(METER, at, 1 - level)
            at = at + rng.uniform(3e-6, 60e-6, len(at))
        board.level(METER, at, level)
    what = said(board.run_to(21.0))
    assert what.column("pulses")[-1] == len(falls)
    edges = what.column("edge_us")[what.column("pulses") > 0] * 1e-6
    numbers = what.column("pulses")[what.column("pulses") > 0]
    late = edges - falls[numbers - 1]
    assert late.min() > -1e-3
    assert late.max() < 0.8e-3


@pytest.mark.parametrize("level", [0, 1])
def test_a_pin_that_is_stuck_counts_nothing_and_the_board_goes_on(power_on, level):
    board = power_on()
    falls = 0.5 + np.arange(100) / 50.0
    board.pulses(METER, falls, 5e-3)
    board.level(METER, 3.0, level)
    what = said(board.run_to(20.0))
    assert what.column("pulses")[-1] == 100 + (level == 0)
    assert what.column("seq")[-1] == 198
    assert set(what.column("edge_us")[-100:].tolist()) == {what.column("edge_us")[-1]}


@pytest.mark.parametrize("noise_hz", [20_000, 60_000, 200_000])
def test_a_burst_of_noise_counts_nothing_and_holds_nothing_up(power_on, noise_hz):
    """Two seconds of it between pulses: what had been counted stays, what follows is counted."""
    board = power_on()
    falls = np.concatenate((np.arange(0.5, 2.0, 0.01), np.arange(5.0, 8.0, 0.01)))
    board.pulses(METER, falls, 5e-3)
    noise = 2.5 + np.arange(2 * noise_hz) / noise_hz
    board.pulses(METER, noise, 0.5 / noise_hz)
    board.send(b"Q*AB24\n", 3.0)
    what = said(board.run_to(9.0))
    assert what.column("pulses")[-1] == len(falls)
    # Every sample came, with all its readings, the request was answered, the watchdog slept.
    assert what.column("seq").tolist() == list(range(89))
    assert set(what.column("adc_n").tolist()) <= {99, 100}
    assert len(what.hellos) == 2
    assert board.heard.watchdog_s == []
    assert check(what, falls, late_us=1000.0) <= WITHIN_US


def test_noise_upon_real_pulses_neither_adds_nor_takes_away(power_on):
    """Bursts of 20 kHz, 3 ms long, in the quiet part of each pulse."""
    board = power_on()
    falls = 0.5 + np.arange(500) / 50.0
    board.pulses(METER, falls, 4e-3)
    within = np.arange(60) / 20_000.0
    noise = (falls[:, None] + 8e-3 + within[None, :]).ravel()
    board.pulses(METER, noise, 25e-6)
    what = said(board.run_to(11.0))
    assert what.column("pulses")[-1] == len(falls)


def test_the_wheel_counts_beside_the_meter(power_on, wheel_program):
    board = power_on(wheel_program)
    meter = 0.5 + np.arange(20_000) / 2000.0
    wheel = 0.5 + np.arange(300) / 30.0
    board.pulses(METER, meter, 0.25e-3)
    # A reed contact: it bounces for a millisecond.
    for part in range(4):
        board.pulses(WHEEL, wheel + part * 250e-6, 100e-6)
    board.level(WHEEL, wheel + 1e-3, 0)
    board.level(WHEEL, wheel + 12e-3, 1)
    what = said(board.run_to(11.0))
    assert what.hellos[0].channels == "FPVW"
    assert what.column("pulses")[-1] == len(meter)
    assert what.column("wheel")[-1] == len(wheel)
    assert check(what, meter) <= WITHIN_US
    counts = what.column("wheel")
    moved = counts > 0
    late = what.column("wheel_edge_us")[moved] * 1e-6 - wheel[counts[moved] - 1]
    assert late.min() > 0.9e-3 - 1e-3
    assert late.max() < 1.1e-3


def test_the_valve_s_input_is_a_level_that_does_not_chatter(power_on):
    board = power_on()
    for second in range(1, 11):
        board.level(pin("VALVE"), second, second % 2)
        board.level(pin("VALVE"), second + np.arange(1, 6) * 1e-3, 1 - second % 2)
        board.level(pin("VALVE"), second + np.arange(1, 6) * 1e-3 + 0.5e-3, second % 2)
    what = said(board.run_to(12.0))
    valve = what.column("valve")
    assert np.count_nonzero(np.diff(valve)) == 10
    assert valve[what.column("seq") == 14] == 1
    assert valve[what.column("seq") == 24] == 0


@pytest.mark.parametrize("volts", [0.0, 0.5, 1.234, 2.5, 4.5, 4.999])
def test_the_gauge_s_readings_are_the_voltage_s_share_of_the_supply(power_on, volts):
    board = power_on()
    board.volts(0, 0.0, volts)
    what = said(board.run_to(3.0))
    code = min(int(volts / 5.0 * 1024), 1023)
    mean = what.column("adc_sum")[1:] / what.column("adc_n")[1:]
    assert np.abs(mean - code).max() <= 1.0
    assert set(what.column("adc_n")[1:].tolist()) == {100}


def test_ripple_is_in_sum_minimum_and_maximum(power_on):
    """20 Hz, 2.5 V give or take 0.5 V: whole periods within a sample."""
    board = power_on()
    at = np.arange(0.0, 3.0, 0.5e-3)
    board.volts(0, at, 2.5 + 0.5 * np.sin(2 * np.pi * 20.0 * at))
    what = said(board.run_to(3.0))
    assert np.abs(what.column("adc_sum")[1:] / 100 - 511.5).max() < 2.0
    assert np.abs(what.column("adc_min")[1:] - 409).max() <= 2
    assert np.abs(what.column("adc_max")[1:] - 614).max() <= 2

"""Board time to wall time: late lines, drifting boards, resets, and clocks that are set."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.daemon.clock import Stamp, SystemClock, quality
from flowlog.daemon.timekeeping import STEP_US, Timekeeper
from flowlog.monitor.outputs import Position
from flowlog.wire.samples import COUNTER_MODULUS

YEAR_US = int(365.25 * 86_400 * 1e6)
T0 = 1_780_000_000_000_000


class Host:
    """A host and a board whose clocks are known exactly."""

    def __init__(self, *, board_ppm: float = 0.0, seed: int = 1) -> None:
        self.true_us = 0
        self.wall_error_us = 0
        self.board_ppm = board_ppm
        self.board_start_us = 0
        self.random = random.Random(seed)
        self.keeper = Timekeeper(self.stamp())

    def stamp(self) -> Stamp:
        return Stamp(T0 + self.true_us + self.wall_error_us, 7_000_000 + self.true_us)

    def board_us(self) -> int:
        return int((self.true_us - self.board_start_us) * (1 + self.board_ppm / 1e6))

    def line(self, boot: int = 1, latest_us: int = 80_000) -> tuple[int, int]:
        """A sample is taken and arrives late; the true time of the sample and its board time."""
        true, board = self.true_us, self.board_us()
        self.true_us += self.random.randint(2_000, latest_us)
        stamp = self.stamp()
        step = self.keeper.host(stamp)
        self.keeper.arrived(boot, board % COUNTER_MODULUS, stamp)
        self.true_us = true + 100_000
        return true, step if step else board

    def run(self, seconds: float, segment: int = 0, boot: int = 1) -> list[tuple[int, Position]]:
        placed = []
        for number in range(int(seconds * 10)):
            true, board = self.line(boot)
            if number % 10 == 9:
                at = Position(segment, number, board)
                self.keeper.settle(at)
                placed.append((true, at))
        return placed


def test_a_line_can_be_late_but_never_early_so_the_shortest_delay_counts():
    host = Host()
    for true, at in host.run(120)[10:]:
        assert 0 <= host.keeper.wall_us(at) - (T0 + true) <= 15_000


@pytest.mark.parametrize("ppm", [-5000, -50, 50, 5000])
def test_a_board_with_a_poor_resonator_is_followed(ppm):
    host = Host(board_ppm=ppm)
    host.run(3 * 3600)
    placed = host.run(30)
    for true, at in placed[-3:]:
        assert abs(host.keeper.wall_us(at) - (T0 + true)) <= 100_000


def test_the_bound_covers_how_late_lines_are():
    host = Host()
    host.run(60)
    assert 0 < host.keeper.bound_us <= 80_000


def test_the_boards_clock_may_wrap():
    host = Host()
    host.board_start_us = -(COUNTER_MODULUS - 30_000_000)
    for true, at in host.run(120)[10:]:
        assert 0 <= host.keeper.wall_us(at) - (T0 + true) <= 15_000


def test_after_a_reset_the_end_of_the_old_segment_keeps_its_time():
    host = Host()
    placed = host.run(300)
    host.board_start_us = host.true_us
    for _ in range(3):
        host.line(boot=2)
    # The old segment's last reading is said only now, by the board's old clock.
    true, at = placed[-1]
    late = Position(0, at.seq + 5, at.t_us + 500_000)
    host.keeper.settle(late)
    assert abs(host.keeper.wall_us(late) - (T0 + true + 500_000)) <= 15_000
    true, at = host.run(30, segment=1, boot=2)[-1]
    assert abs(host.keeper.wall_us(at) - (T0 + true)) <= 15_000
    # An onset that lies back in the old segment is placed by the old segment's clock.
    assert abs(host.keeper.wall_us(late) - (T0 + placed[-1][0] + 500_000)) <= 15_000


@pytest.mark.parametrize("step_us", [3 * YEAR_US, -3_600_000_000, 600_000, -600_000])
def test_a_step_of_the_hosts_clock_is_found_with_its_size_and_corrects_all_of_the_route(step_us):
    host = Host()
    before = host.run(60)
    host.wall_error_us = step_us
    steps = [host.keeper.host(host.stamp())]
    after = host.run(60)
    assert steps == [step_us]
    for true, at in (*before[2:], *after):
        assert abs(host.keeper.wall_us(at) - (T0 + true + step_us)) <= 80_000


def test_many_small_settings_add_up_to_a_step():
    host = Host()
    found = 0
    for _ in range(20):
        host.wall_error_us += STEP_US // 5
        found += host.keeper.host(host.stamp())
    assert found == host.wall_error_us


@given(st.lists(st.integers(-YEAR_US, YEAR_US), max_size=20))
def test_durations_never_depend_on_the_wall_clock(steps):
    host = Host(seed=3)
    host.run(5)
    first = Position(0, 0, 1_000_000)
    host.keeper.settle(Position(0, 9, host.board_us()))
    for step in steps:
        host.wall_error_us += step
        host.keeper.host(host.stamp())
    last = Position(0, 9, host.board_us())
    assert host.keeper.wall_us(last) - host.keeper.wall_us(first) == last.t_us - first.t_us


def test_a_position_before_any_sample_is_now():
    host = Host()
    assert host.keeper.wall_us(Position(4, 0, 0)) == T0


def test_an_impossible_year_is_no_time_at_all():
    assert quality(0, None) == "none"
    assert quality(1_577_836_800_000_000, True) == "none"
    assert quality(T0, None) == "unconfirmed"
    assert quality(T0, False) == "unconfirmed"
    assert quality(T0, True) == "synced"


def test_the_system_clock_reads_both_clocks_of_one_moment():
    clock = SystemClock()
    first, second = clock.now(), clock.now()
    assert second.monotonic_us >= first.monotonic_us
    assert abs(first.offset_us - second.offset_us) < STEP_US
    assert clock.host_boot() == clock.host_boot() != ""
    assert clock.synchronised() in (True, False, None)

"""The watchdog is fed by progress: a stuck loop stops the pings."""

from __future__ import annotations

import itertools

import pytest

from flowlog.daemon.watchdog import Watchdog

LOOPS = ("reader", "pipeline", "writer")
S = 1_000_000


def pings(
    watchdog: Watchdog, until_s: int, stuck: str | None = None, since_s: int = 0
) -> list[int]:
    """Run second by second; the seconds at which a ping went out."""
    sent = []
    for second in range(1, until_s):
        for loop in LOOPS:
            if loop != stuck or second < since_s:
                watchdog.tick(loop, second * S)
        if watchdog.ping_due(second * S):
            sent.append(second)
    return sent


def test_as_long_as_all_loops_come_round_it_pings_four_times_a_period():
    sent = pings(Watchdog(LOOPS, 60.0, 0), 600)
    assert all(b - a == 15 for a, b in itertools.pairwise(sent))
    assert len(sent) == 40


@pytest.mark.parametrize("stuck", LOOPS)
def test_one_stuck_loop_stops_the_pings_before_the_period_is_over(stuck):
    sent = pings(Watchdog(LOOPS, 60.0, 0), 600, stuck=stuck, since_s=100)
    assert sent
    assert sent[-1] <= 100 + 30


@pytest.mark.parametrize("stuck", LOOPS)
def test_it_names_the_loop_that_is_stuck(stuck):
    watchdog = Watchdog(LOOPS, 60.0, 0)
    pings(watchdog, 100, stuck=stuck, since_s=10)
    assert watchdog.stuck(99 * S) == [stuck]


def test_a_loop_that_comes_round_again_starts_the_pings_again():
    watchdog = Watchdog(LOOPS, 8.0, 0)
    for loop in LOOPS:
        watchdog.tick(loop, 1 * S)
    assert watchdog.ping_due(1 * S)
    assert not watchdog.ping_due(20 * S)
    for loop in LOOPS:
        watchdog.tick(loop, 20 * S)
    assert watchdog.ping_due(20 * S)

"""When a route ends and the next begins."""

from __future__ import annotations

import dataclasses

from flowlog.daemon.routes import UNUSED_PAUSE_S, RouteKeeper
from flowlog.monitor.outputs import Position, Reading

HOUR = 3600.0
PAUSE = 4 * HOUR
US = 1_000_000

OFF = Reading(
    at=Position(0, 0, 0),
    seconds=1.0,
    phase="off",
    pulses=0,
    volume_m3=0.0,
    area_m2=0.0,
    flow_m3_s=0.0,
    pressure_pa=0.0,
    pressure_min_pa=0.0,
    pressure_max_pa=0.0,
    rate_m3_m2=None,
    speed_m_s=1.0,
    conductance_share=None,
    tank_m3=None,
    samples=10,
    lost=0,
)
SPRAYING = dataclasses.replace(OFF, phase="spraying")


def hours(keeper: RouteKeeper, reading: Reading, count: float, start_h: float) -> float:
    """Feed readings of a minute each; the hour at which they end."""
    minute = dataclasses.replace(reading, seconds=60.0)
    for step in range(round(count * 60)):
        keeper.reading(minute, int((start_h * HOUR + (step + 1) * 60) * US))
    return start_h + count


def test_a_route_ends_when_nothing_was_sprayed_for_the_pause():
    keeper = RouteKeeper(PAUSE)
    now = hours(keeper, SPRAYING, 1, 0)
    now = hours(keeper, OFF, 3.9, now)
    assert not keeper.over(int(now * HOUR * US))
    now = hours(keeper, OFF, 0.2, now)
    assert keeper.over(int(now * HOUR * US))


def test_spraying_begins_the_pause_anew():
    keeper = RouteKeeper(PAUSE)
    now = hours(keeper, SPRAYING, 1, 0)
    now = hours(keeper, OFF, 3.9, now)
    now = hours(keeper, SPRAYING, 0.1, now)
    now = hours(keeper, OFF, 3.9, now)
    assert not keeper.over(int(now * HOUR * US))


def test_a_board_that_is_off_counts_as_a_pause_though_no_reading_comes():
    keeper = RouteKeeper(PAUSE)
    now = hours(keeper, SPRAYING, 1, 0)
    assert not keeper.over(int((now + 3.9) * HOUR * US))
    assert keeper.over(int((now + 4.1) * HOUR * US))


def test_a_route_without_spraying_ends_only_after_a_day():
    keeper = RouteKeeper(PAUSE)
    now = hours(keeper, OFF, 23.5, 0)
    assert not keeper.over(int(now * HOUR * US))
    now = hours(keeper, OFF, 1, now)
    assert keeper.over(int(now * HOUR * US))
    assert UNUSED_PAUSE_S == 24 * HOUR


def test_at_start_up_a_young_route_goes_on_and_an_old_one_does_not():
    assert RouteKeeper(PAUSE).continues(0, int(3.9 * HOUR * US))
    assert not RouteKeeper(PAUSE).continues(0, int(4.1 * HOUR * US))


def test_a_host_that_believes_an_earlier_time_than_its_data_goes_on_with_the_route():
    assert RouteKeeper(PAUSE).continues(int(100 * HOUR * US), 0)


def test_time_away_and_idle_time_add_up():
    keeper = RouteKeeper(PAUSE)
    assert keeper.continues(0, int(2 * HOUR * US))
    keeper.reading(SPRAYING, None)
    keeper.reading(dataclasses.replace(OFF, seconds=1.5 * HOUR), None)
    assert not keeper.over(0)
    now = hours(keeper, OFF, 0.6, 0)
    assert keeper.over(int(now * HOUR * US))


def test_a_clock_that_is_set_later_reveals_the_night_that_lay_between():
    keeper = RouteKeeper(PAUSE)
    keeper.reading(SPRAYING, None)
    assert keeper.continues(0, 10 * US)
    assert not keeper.over(0)
    keeper.stepped(12 * HOUR)
    assert keeper.over(0)


def test_a_clock_that_is_set_while_spraying_ends_no_route():
    keeper = RouteKeeper(PAUSE)
    assert keeper.continues(0, 10 * US)
    keeper.reading(SPRAYING, 0)
    keeper.stepped(3 * 365 * 24 * HOUR)
    assert not keeper.over(0)

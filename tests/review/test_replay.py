"""A recording and a stored route through the monitor again."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from stored import RIG, store_scenario

from flowlog.monitor.outputs import Position
from flowlog.review.load import load_route
from flowlog.review.replay import Elapsed, Replayed, replay, review_replayed
from flowlog.simulator.run import simulate
from flowlog.simulator.scenario import find_scenario, read_scenario
from flowlog.store.archive import Archive

ITEMS = simulate(read_scenario(find_scenario("morning"))).items


def test_a_replay_says_what_was_said_live(tmp_path):
    store_scenario(tmp_path)
    with Archive.open(tmp_path) as archive:
        live = load_route(archive, "last")
        again = replay((item for _, item in archive.stream(live.route.id)), RIG, Replayed())
    assert [event.text for event in again.events] == [row.event.text for row in live.events]
    figures = review_replayed(again, RIG, 0).summary.figures
    assert figures == live.summary.figures


def test_events_are_told_in_order_with_the_time_since_the_beginning():
    told = []
    replayed = replay(ITEMS, RIG, Replayed(), lambda event, at_s: told.append((event.code, at_s)))
    assert replayed.samples == 8570
    assert replayed.samples_per_s > 0
    times = [at_s for _, at_s in told]
    assert times == sorted(times)
    # The scenario clogs the tip at 490 s.
    assert 490 <= dict(reversed(told))["tip_blocked"] <= 500


def test_nothing_replayed_is_an_empty_result():
    replayed = replay([], RIG, Replayed())
    assert (replayed.samples, replayed.readings, replayed.board_s) == (0, [], 0.0)
    assert review_replayed(replayed, RIG, 0).summary.stops == ()


def test_time_goes_on_over_a_reset_of_the_board():

    monitor_readings = replay(ITEMS, RIG, Replayed()).readings[:3]
    elapsed = Elapsed()
    for reading in monitor_readings:
        elapsed.reading(reading)
    before = elapsed.of(monitor_readings[-1].at)
    restarted = replace(monitor_readings[0], at=Position(1, 9, 1_000_000), seconds=1.0)
    elapsed.reading(restarted)
    assert elapsed.of(restarted.at) == before + 1.0
    assert elapsed.of(Position(0, 0, 0)) == before

"""When the host's clock is set, what this power-up stored moves with it, and once."""

from __future__ import annotations

from pathlib import Path

from support.storing import second_batch

from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder

YEAR_US = 365 * 86_400 * 1_000_000


def walls(folder: Path, route_id: int) -> dict[str, list[int | None]]:
    with Archive.open(folder) as archive:
        route = archive.route(route_id)
        return {
            "readings": [int(w) for w in archive.readings(route_id)["wall_us"]],
            "events": [
                w for row in archive.events(route_id) for w in (row.wall_us, row.since_wall_us)
            ],
            "stops": [stop.wall_us for stop in archive.stops(route_id)],
            "clock": [point.wall_us for point in archive.clock(route_id)],
            "began": [route.began_wall_us],
            "ended": [route.ended_wall_us],
        }


def moved(walls: dict[str, list[int | None]], step: int) -> dict[str, list[int | None]]:
    return {k: [None if w is None else w + step for w in v] for k, v in walls.items()}


def test_a_step_moves_all_of_this_power_up_and_nothing_of_an_earlier_one(
    recorder: Recorder, tmp_path: Path
) -> None:
    run = recorder.begin_run("yesterday", 5, 6)
    old = recorder.begin_route(10)
    for second in range(31):
        recorder.commit(second_batch(old.id, second, run))
    recorder.end_route(old.id, 50)
    before_old = walls(tmp_path, old.id)
    routes = []
    for began in (7, 8):  # the daemon was restarted within this power-up
        run = recorder.begin_run("today", 60, began)
        route = recorder.begin_route(70)
        for second in range(100, 131):
            batch = second_batch(route.id, second, run)
            for row in batch.events:
                object.__setattr__(row, "uid", f"{route.id}-{row.uid}")
            recorder.commit(batch)
        recorder.end_route(route.id, 90)
        routes.append(route)
    before = [walls(tmp_path, route.id) for route in routes]
    assert recorder.shift_wall("today", YEAR_US, 1234)
    assert walls(tmp_path, old.id) == before_old
    assert [walls(tmp_path, route.id) for route in routes] == [moved(b, YEAR_US) for b in before]
    with Archive.open(tmp_path) as archive:
        assert [run.began_wall_us for run in archive.runs()] == [5, 60 + YEAR_US, 60 + YEAR_US]


def test_a_route_that_goes_on_after_a_power_cut_is_moved_only_from_there_on(
    recorder: Recorder, tmp_path: Path
) -> None:
    run = recorder.begin_run("morning", 5, 6)
    route = recorder.begin_route(10)
    recorder.commit(second_batch(route.id, 1, run))
    run = recorder.begin_run("noon", 5, 6)
    recorder.commit(second_batch(route.id, 2, run))
    before = walls(tmp_path, route.id)
    recorder.shift_wall("noon", 1000, 1)
    after = walls(tmp_path, route.id)
    assert after["began"] == before["began"]
    assert after["readings"] == [before["readings"][0], before["readings"][1] + 1000]  # type: ignore[operator]


def test_the_same_step_a_second_time_changes_nothing(recorder: Recorder, tmp_path: Path) -> None:
    run = recorder.begin_run("today", 5, 6)
    route = recorder.begin_route(10)
    recorder.commit(second_batch(route.id, 0, run))
    assert recorder.shift_wall("today", 1000, 1)
    once = walls(tmp_path, route.id)
    assert not recorder.shift_wall("today", 1000, 1)
    assert walls(tmp_path, route.id) == once
    assert recorder.shift_wall("today", -300, 2)
    assert walls(tmp_path, route.id) == moved(once, -300)

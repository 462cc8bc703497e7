"""What the store knows of the tank."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from support.storing import RIG, board_samples, reading

from flowlog.monitor.stream import TankFill
from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, StreamMark, TankRow


def tank(folder: Path, slug: str = RIG.slug) -> TankRow | None:
    with Archive.open(folder) as archive:
        return archive.tank(slug)


def second(route_id: int, number: int, *fills: tuple[int, TankFill], **changes) -> Batch:
    """A second of samples, its reading, and fills before the samples of these ordinals."""
    return Batch(
        route_id,
        first_ordinal=number * 10,
        samples=board_samples(10, first=number * 10),
        readings=[(dataclasses.replace(reading(number), **changes), 1000 + number)],
        items=[StreamMark(at, at, fill) for at, fill in fills],
    )


def test_nothing_is_known_of_the_tank_of_a_new_store_or_of_another_rig(recorder, tmp_path):
    assert tank(tmp_path) is None
    recorder.commit(second(recorder.begin_route(1).id, 0))
    assert tank(tmp_path) is not None
    assert tank(tmp_path, "another-rig") is None


def test_the_newest_reading_says_what_is_left_and_the_newest_spraying_when(recorder, tmp_path):
    route = recorder.begin_route(1).id
    recorder.commit(second(route, 0))
    recorder.commit(second(route, 1, phase="off", tank_m3=0.123))
    recorder.end_route(route, 2000)
    assert tank(tmp_path) == TankRow(0.123, 1000)
    recorder.commit(second(recorder.begin_route(3000).id, 0, phase="off", tank_m3=0.12))
    assert tank(tmp_path) == TankRow(0.12, 1000)


def test_a_fill_behind_the_last_sample_counts_and_one_before_it_is_in_the_reading(
    recorder: Recorder, tmp_path: Path
):
    route = recorder.begin_route(1).id
    recorder.commit(second(route, 0, (4, TankFill(0.19)), tank_m3=0.18))
    assert tank(tmp_path) == TankRow(0.18, 1000)
    recorder.commit(Batch(route, first_ordinal=10, items=[StreamMark(7, 10, TankFill(0.15))]))
    assert tank(tmp_path) == TankRow(0.15, None)


def test_a_route_that_only_began_knows_what_was_carried_into_it(recorder, tmp_path):
    recorder.commit(second(recorder.begin_route(1).id, 0))
    new = recorder.begin_route(2000).id
    carried = TankFill(0.11, carried=True)
    recorder.commit(Batch(new, items=[StreamMark(0, 0, carried)]))
    assert tank(tmp_path) == TankRow(0.11, 1000)
    with Archive.open(tmp_path) as archive:
        assert list(archive.stream(new)) == [(0, carried)]


def test_a_rig_without_a_tank_leaves_nothing(recorder, tmp_path):
    recorder.commit(second(recorder.begin_route(1).id, 0, tank_m3=None))
    assert tank(tmp_path) is None


def test_a_fill_as_it_was_stored_before_levels_were_carried_over_is_still_read(recorder, tmp_path):
    route = recorder.begin_route(1).id
    recorder.commit(second(route, 0, (4, TankFill(0.19))))
    with recorder._transaction() as connection:
        connection.exec_driver_sql("UPDATE stream_items SET item = '{\"volume_m3\": 0.19}'")
    with Archive.open(tmp_path) as archive:
        items = [item for _, item in archive.stream(route) if isinstance(item, TankFill)]
    assert items == [TankFill(0.19)]


def test_once_its_raw_samples_are_deleted_a_route_is_known_by_its_readings(recorder, tmp_path):
    route = recorder.begin_route(1).id
    recorder.commit(second(route, 0, (4, TankFill(0.19)), tank_m3=0.18))
    recorder.end_route(route, 2000)
    assert recorder.prune_raw(route) == 10
    assert tank(tmp_path) == TankRow(0.18, 1000)

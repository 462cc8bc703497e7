"""What was committed comes back; a second commit of the same changes nothing."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.storing import (
    HELLO,
    RIG,
    RIG_TEXT,
    board_samples,
    event_row,
    message,
    reading,
    second_batch,
)

from flowlog.monitor.stream import StreamItem, TankFill
from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, StreamMark
from flowlog.wire.samples import Samples


def flat(stream: list[tuple[int, StreamItem]]) -> list[object]:
    """A stream as single samples and items, so that block borders do not matter."""
    out: list[object] = []
    for ordinal, item in stream:
        if isinstance(item, Samples):
            out += [(ordinal + i, tuple(row)) for i, row in enumerate(item.table.tolist())]
        else:
            out.append((ordinal, item))
    return out


def dump(folder: Path) -> list[str]:
    with sqlite3.connect(folder / "flowlog.db") as db:
        return [line for line in db.iterdump() if "sqlite_sequence" not in line]


def test_a_route_comes_back_as_it_was_committed(recorder: Recorder, tmp_path: Path) -> None:
    run = recorder.begin_run("boot-1", 5, 6)
    route = recorder.begin_route(10_000_000)
    batches = [second_batch(route.id, second, run) for second in range(130)]
    for batch in batches:
        recorder.commit(batch)
    with Archive.open(tmp_path) as archive:
        assert archive.raw(route.id) == Samples.join([b.samples for b in batches])
        assert archive.events(route.id) == [row for b in batches for row in b.events]
        assert archive.clock(route.id) == [point for b in batches for point in b.clock]
        assert archive.stops(route.id) == batches[0].stops
        assert archive.hello(route.id, 0) == HELLO
        assert archive.routes() == [route] == [archive.route(route.id)]
        latest = archive.latest()
        assert latest is not None
        assert (latest.reading, latest.wall_us) == batches[-1].readings[0]
        columns = archive.readings(route.id)
        assert list(columns["seq"]) == [b.readings[0][0].at.seq for b in batches]
        assert np.isnan(columns["pressure_pa"][3])
        assert columns["pressure_pa"][4] == 276e3 + 4
        assert np.isnan(columns["conductance_share"]).all()
        assert set(columns["phase"]) == {"spraying"}


def test_readings_after_a_known_one_are_only_the_new_ones(
    recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    for second in range(5):
        recorder.commit(second_batch(route.id, second))
    recorder.commit(Batch(route.id, readings=[(reading(0, segment=1), 99)]))
    with Archive.open(tmp_path) as archive:
        assert list(archive.readings(route.id, after=(0, 29))["seq"]) == [39, 49, 9]
        assert list(archive.readings(route.id, after=(0, 29), limit=1)["seq"]) == [39]
        nothing = archive.readings(route.id, after=(1, 9))
        assert all(len(column) == 0 for column in nothing.values())


pieces = st.lists(
    st.one_of(
        st.integers(1, 260).map(lambda n: ("samples", n)),
        st.sampled_from([("hello", 0), ("fill", 50), ("fill", 60)]),
    ),
    max_size=14,
)


@settings(
    deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(parts=pieces, data=st.data())
def test_any_stream_committed_in_any_batches_some_twice_comes_back_once_and_in_order(
    parts: list[tuple[str, int]], data: st.DataObject, recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    expected: list[object] = []
    waiting = Batch(route.id)
    ordinal = number = 0
    for kind, size in parts:
        if kind == "samples":
            samples = board_samples(size, first=ordinal)
            expected += flat([(ordinal, samples)])
            waiting.samples = Samples.join([waiting.samples, samples])
            ordinal += size
        else:
            item = HELLO if kind == "hello" else TankFill(float(size))
            expected.append((ordinal, item))
            waiting.items.append(StreamMark(number, ordinal, item))
            number += 1
        what = data.draw(st.sampled_from(["wait", "commit", "commit, answer lost", "commit, seal"]))
        if what != "wait":
            recorder.commit(waiting)
        if what == "commit, seal":
            recorder.seal()
        if what in {"commit", "commit, seal"}:
            waiting = Batch(route.id, first_ordinal=ordinal)
    recorder.commit(waiting)
    tally = recorder.tally(route.id)
    assert (tally.next_ordinal, tally.next_mark) == (ordinal, number)
    with Archive.open(tmp_path) as archive:
        assert flat(list(archive.stream(route.id))) == expected


def test_the_same_batches_a_second_time_change_nothing(recorder: Recorder, tmp_path: Path) -> None:
    run = recorder.begin_run("boot-1", 5, 6)
    route = recorder.begin_route(1)
    batches = [second_batch(route.id, second, run) for second in range(100)]
    for batch in batches:
        recorder.commit(batch)
    once = dump(tmp_path)
    for batch in batches:
        recorder.commit(batch)
    assert dump(tmp_path) == once


def test_a_stream_that_is_being_read_ends_where_it_ended_when_the_reading_began(
    recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    for second in range(130):
        recorder.commit(second_batch(route.id, second))
    with Archive.open(tmp_path) as archive:
        stream = archive.stream(route.id)
        seen = [next(stream)]
        for second in range(130, 250):
            recorder.commit(second_batch(route.id, second))
        recorder.seal()
        seen += list(stream)
    samples = [item for _, item in seen if isinstance(item, Samples)]
    assert Samples.join(samples) == Samples.join([second_batch(0, s).samples for s in range(130)])


def test_a_minute_of_tail_becomes_one_block(recorder: Recorder, tmp_path: Path) -> None:
    route = recorder.begin_route(1)
    for second in range(130):
        recorder.commit(second_batch(route.id, second))
    with sqlite3.connect(tmp_path / "flowlog.db") as db:
        blocks = db.execute("SELECT first_ordinal, count FROM raw_blocks ORDER BY 1").fetchall()
        tail = db.execute("SELECT count(*), sum(count) FROM raw_tail").fetchone()
    assert blocks == [(0, 600), (600, 600)]
    assert tail == (10, 100)


def test_ten_minutes_become_one_block_and_the_rest_follows_when_the_route_ends(
    recorder: Recorder, tmp_path: Path
) -> None:
    def counts() -> list[int]:
        with sqlite3.connect(tmp_path / "flowlog.db") as db:
            rows = db.execute("SELECT count FROM raw_blocks ORDER BY first_ordinal").fetchall()
        return [row[0] for row in rows]

    route = recorder.begin_route(1)
    whole = board_samples(8_030)
    for first in range(0, 8_030, 100):
        recorder.commit(Batch(route.id, first, whole[first : first + 100]))
        if first == 5_900:
            assert counts() == [6000]
    assert counts() == [6000, 600, 600, 600]
    recorder.end_route(route.id, 2)
    assert counts() == [6000, 2030]
    with Archive.open(tmp_path) as archive:
        assert archive.raw(route.id) == whole


def test_samples_that_were_dropped_leave_a_hole_and_nothing_else(
    recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    before, after = board_samples(20), board_samples(30, first=50)
    recorder.commit(Batch(route.id, 0, before))
    recorder.commit(Batch(route.id, 50, after))
    recorder.seal()
    with Archive.open(tmp_path) as archive:
        assert list(archive.stream(route.id)) == [(0, before), (50, after)]


def test_the_newest_route_that_has_not_ended_is_open(recorder: Recorder) -> None:
    assert recorder.open_route() is None
    first = recorder.begin_route(1, uid="r1")
    assert recorder.begin_route(1, uid="r1") == first
    assert recorder.open_route() == first
    recorder.end_route(first.id, 9)
    assert recorder.open_route() is None
    second = recorder.begin_route(20)
    recorder.name_route(second.id, "Tuesday, north")
    assert recorder.open_route() == replace(second, name="Tuesday, north")


def test_a_route_that_has_ended_keeps_its_end(recorder: Recorder, tmp_path: Path) -> None:
    route = recorder.begin_route(1)
    recorder.end_route(route.id, 9)
    recorder.end_route(route.id, 11)
    with Archive.open(tmp_path) as archive:
        assert archive.route(route.id).ended_wall_us == 9


def test_open_alerts_are_those_whose_last_change_is_no_clearing(
    recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    said = [
        event_row("a", "opened", 1),
        event_row("b", "opened", 2),
        event_row("n", "noted", 3),
        event_row("b", "grew", 4),
        event_row("a", "cleared", 5),
    ]
    recorder.commit(Batch(route.id, events=said))
    with Archive.open(tmp_path) as archive:
        assert archive.open_alerts(route.id) == [said[3].event]


def test_an_alert_that_was_named_otherwise_stays_in_its_place_among_the_open_ones(
    recorder: Recorder, tmp_path: Path
) -> None:
    """One alert, known by its name, whatever it is called by now."""
    route = recorder.begin_route(1)
    renamed = event_row("a", "grew", 3)
    renamed = replace(renamed, event=replace(renamed.event, code="air_drawn"))
    said = [event_row("a", "opened", 1), event_row("b", "opened", 2), renamed]
    recorder.commit(Batch(route.id, events=said))
    with Archive.open(tmp_path) as archive:
        assert archive.open_alerts(route.id) == [renamed.event, said[1].event]


def test_events_need_no_route(recorder: Recorder, tmp_path: Path) -> None:
    row = event_row("port")
    recorder.commit(Batch(None, events=[row], outbox=[message(1)]))
    with Archive.open(tmp_path) as archive:
        assert archive.events() == [row]
    with pytest.raises(ValueError, match="without a route"):
        recorder.commit(Batch(None, samples=board_samples(1)))


def test_the_board_is_what_it_last_said_before_a_sample(recorder: Recorder, tmp_path: Path) -> None:
    route, other = recorder.begin_route(1), recorder.begin_route(2)
    second, third = replace(HELLO, adc_bits=12), replace(HELLO, adc_bits=16)
    items = [(10, HELLO), (20, TankFill(0.1)), (30, second), (30, third)]
    marks = [StreamMark(number, at, item) for number, (at, item) in enumerate(items)]
    recorder.commit(Batch(route.id, items=marks))
    with Archive.open(tmp_path) as archive:
        found = [archive.hello(route.id, ordinal) for ordinal in (0, 10, 29, 30, 999)]
        assert found == [HELLO, HELLO, HELLO, third, third]
        assert archive.hello(other.id, 0) is None


def test_the_rig_file_is_kept_once_for_each_text_and_without_its_password(tmp_path: Path) -> None:
    for text in (RIG_TEXT, RIG_TEXT, RIG_TEXT + "# changed\n"):
        Recorder.open(tmp_path, RIG, text, wall_us=7).close()
    with Archive.open(tmp_path) as archive:
        rig = archive.rig()
        assert (rig.slug, rig.name, rig.units) == ("cart-3", "Cart 3", "us")
        assert rig.text.endswith("# changed\n")
        assert archive.rig_file(rig.sha256) == rig
    with sqlite3.connect(tmp_path / "flowlog.db") as db:
        assert db.execute("SELECT count(*) FROM rig_files").fetchone() == (2,)
    for file in tmp_path.iterdir():
        assert b"s3cret" not in file.read_bytes(), file
        assert b"shed" not in file.read_bytes(), file


def test_raw_samples_are_pruned_only_from_a_route_that_has_ended(
    recorder: Recorder, tmp_path: Path
) -> None:
    routes = [recorder.begin_route(1) for _ in range(3)]
    for route in routes:
        recorder.commit(second_batch(route.id, 0))
    recorder.end_route(routes[0].id, 100)
    recorder.end_route(routes[1].id, 200)
    assert recorder.prune_raw(routes[0].id) == 10
    assert recorder.prune_raw(routes[0].id) == 0
    assert recorder.prune_raw(routes[2].id) == 0
    assert recorder.prune_raw(99) == 0
    with Archive.open(tmp_path) as archive:
        assert [len(archive.raw(route.id)) for route in routes] == [0, 10, 10]
        assert [archive.raw_gone(route.id) for route in routes] == [True, False, False]
        assert not archive.raw_gone(99), "nothing was ever there"
        assert len(archive.readings(routes[0].id)["seq"]) == 1

"""Calibrations are added and never changed; a route remembers which ones it began with."""

from __future__ import annotations

import dataclasses
import sqlite3
from pathlib import Path

import pytest
from support.storing import RIG, RIG_TEXT, board_samples

from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, CalibrationRow

COURSE = CalibrationRow(
    "c1" * 8, "course", 5, "Ann", {"speed_m_s": 1.36}, {"seconds": [33.6, 33.4]}, {"speed": {}}
)


def numbered(number: int, kind: str = "course", wall_us: int = 5) -> CalibrationRow:
    return dataclasses.replace(COURSE, uid=f"{number:016d}", kind=kind, made_wall_us=wall_us)


@pytest.fixture
def recorder(tmp_path: Path):
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
    yield recorder
    recorder.close()


def test_what_was_stored_comes_back_whole(recorder: Recorder, tmp_path: Path) -> None:
    stored = recorder.add_calibration(COURSE)
    assert stored.row == COURSE
    with Archive.open(tmp_path) as archive:
        assert archive.calibrations() == [stored]
        assert archive.calibrations("catch") == []
        assert archive.calibrations(slug="another-rig") == []


def test_the_same_calibration_is_stored_once(recorder: Recorder, tmp_path: Path) -> None:
    again = dataclasses.replace(COURSE, made_by="Bob")
    assert recorder.add_calibration(COURSE) == recorder.add_calibration(again)
    recorder.commit(Batch(None, calibrations=[again]))
    with Archive.open(tmp_path) as archive:
        assert [found.row.made_by for found in archive.calibrations()] == ["Ann"]


def test_the_newest_is_the_one_stored_last_whatever_the_clock_said(
    recorder: Recorder, tmp_path: Path
) -> None:
    recorder.commit(Batch(None, calibrations=[numbered(1, wall_us=900), numbered(2, "meter")]))
    recorder.add_calibration(numbered(3, wall_us=1))
    with Archive.open(tmp_path) as archive:
        newest = archive.newest_calibrations(RIG.slug)
    assert {kind: found.row.uid[-1] for kind, found in newest.items()} == {
        "course": "3",
        "meter": "2",
    }


def test_a_route_remembers_what_it_began_with(recorder: Recorder, tmp_path: Path) -> None:
    first = recorder.add_calibration(numbered(1))
    meter = recorder.add_calibration(numbered(2, "meter"))
    route = recorder.begin_route(1, "r1", [first.id, meter.id])
    recorder.add_calibration(numbered(3))
    assert recorder.begin_route(1, "r1", [first.id, meter.id]) == route
    other = recorder.begin_route(2, "r2")
    with Archive.open(tmp_path) as archive:
        assert archive.route_calibrations(route.id) == [first, meter]
        assert archive.route_calibrations(other.id) == []


def test_the_database_itself_refuses_to_change_one(recorder: Recorder, tmp_path: Path) -> None:
    recorder.add_calibration(COURSE)
    recorder.close()
    with sqlite3.connect(tmp_path / "flowlog.db") as db:
        for sql in ("UPDATE calibrations SET made_by = 'x'", "DELETE FROM calibrations"):
            with pytest.raises(sqlite3.IntegrityError, match="make a new one"):
                db.execute(sql)
    db.close()


def test_a_stream_can_be_read_from_its_middle(recorder: Recorder, tmp_path: Path) -> None:
    route = recorder.begin_route(1)
    for first in range(0, 1500, 100):
        recorder.commit(Batch(route.id, first, board_samples(100, first=first)))
    with Archive.open(tmp_path) as archive:
        assert archive.next_ordinal(route.id) == 1500
        parts = list(archive.stream(route.id, 1234))
        assert parts[0][0] == 1234
        assert sum(len(item) for _, item in parts) == 266

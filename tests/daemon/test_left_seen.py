"""Word that an alert was seen: left for the daemon, kept in the store."""

from __future__ import annotations

import json
import sqlite3

import pytest
from support.storing import RIG, RIG_TEXT

from flowlog.daemon.left_seen import leave_seen, understand_seen, waiting_seen
from flowlog.daemon.letterbox import MarkError
from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, SeenRow, StopMark

ROW = SeenRow("0123456789abcdef", "route-1", "tip_blocked.0.1234", 1_780_000_000_000_000)


def test_the_word_is_understood_as_it_was_left(tmp_path):
    assert understand_seen(leave_seen(tmp_path, ROW)) == ROW
    assert [path.suffix for path in waiting_seen(tmp_path)] == [".seen"]


@pytest.mark.parametrize(
    "change",
    [
        {"alert": ""},
        {"alert": "x" * 201},
        {"alert": "a\nb"},
        {"alert": 7},
        {"uid": None},
        {"wall_us": True},
        {"wall_us": 2**63},
        {"more": 1},
    ],
)
def test_what_is_no_word_of_an_alert_is_refused_by_name(tmp_path, change):
    path = leave_seen(tmp_path, ROW)
    path.write_text(json.dumps({**json.loads(path.read_text()), **change}))
    with pytest.raises(MarkError, match=path.name):
        understand_seen(path)


def test_the_store_keeps_it_once_and_beside_it_the_area_of_a_marked_stop(tmp_path):
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT, wall_us=1)
    try:
        recorder.begin_run("boot", 1, 0)
        route = recorder.begin_route(1)
        row = SeenRow(ROW.uid, route.uid, ROW.alert, 5)
        mark = StopMark("lawn", "begin", 5, 0, 0, "stop-uid-1", area_m2=1200.5)
        for _ in range(2):
            recorder.commit(Batch(route.id, stops=[mark], seen=[row]))
        with Archive.open(tmp_path) as archive:
            assert archive.seen(route.uid) == {ROW.alert}
            assert archive.seen("another route") == set()
            assert archive.stops(route.id) == [mark]
        # The clock was found wrong: what was noted by it moves with all else.
        recorder.shift_wall("boot", 1_000_000, 9)
        with Archive.open(tmp_path) as archive:
            assert archive.stops(route.id)[0].wall_us == 1_000_005
        with sqlite3.connect(f"file:{tmp_path}/flowlog.db?mode=ro", uri=True) as db:
            assert db.execute("SELECT wall_us FROM alerts_seen").fetchall() == [(1_000_005,)]
        db.close()
    finally:
        recorder.close()

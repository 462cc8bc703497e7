"""Application records left for the daemon."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import asdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.daemon.inbox import waiting
from flowlog.daemon.left_records import leave_record, understand_record, waiting_records
from flowlog.daemon.letterbox import FOLDER, MarkError
from flowlog.daemon.pending import Piece, Route
from flowlog.store.rows import RecordRow

ROW = RecordRow(
    *("uid1", "record1", "route1", 2, 1_780_000_000_000_000),
    *("somebody", "", "strict", "draft", None, {"site": "lawn"}),
)
plain = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
rows = st.builds(
    RecordRow,
    uid=st.uuids().map(lambda uid: uid.hex),
    record_uid=st.uuids().map(lambda uid: uid.hex),
    route_uid=texts,
    stop_number=st.none() | st.integers(1, 99),
    made_wall_us=st.integers(0, 2**60),
    made_by=texts,
    reason=texts,
    form=texts,
    state=st.sampled_from(["draft", "complete"]),
    supersedes=st.none() | texts,
    fields=st.dictionaries(st.text(st.characters(exclude_categories=["Cs"])), plain, max_size=4),
)


@given(rows)
def test_a_record_is_understood_as_it_was_left(tmp_path_factory, row):
    folder = tmp_path_factory.mktemp("rig")
    path = leave_record(folder, row)
    assert waiting_records(folder) == [path]
    assert understand_record(path) == row


def test_a_record_is_no_mark_for_a_daemon_that_knows_only_marks(tmp_path):
    leave_record(tmp_path, ROW)
    assert waiting(tmp_path) == []


@pytest.mark.parametrize(
    "wrong",
    [
        {"uid": ""},
        {"uid": 5},
        {"made_by": "\ud800"},
        {"stop_number": 0},
        {"stop_number": True},
        {"made_wall_us": None},
        {"made_wall_us": 2**70},
        {"fields": []},
        {"supersedes": 3},
        {"surplus": 1},
    ],
)
def test_what_the_store_could_not_hold_is_refused(tmp_path, wrong):
    (tmp_path / FOLDER).mkdir()
    path = tmp_path / FOLDER / "1-x.record"
    path.write_text(json.dumps({**asdict(ROW), **wrong}))
    with pytest.raises(MarkError):
        understand_record(path)


@pytest.mark.parametrize("text", ["", "[]", "{", "{}", "[" * 100_000, '"' + "x" * 300_000 + '"'])
def test_what_is_no_record_is_refused(tmp_path, text):
    path = tmp_path / "1-x.record"
    path.write_text(text)
    with pytest.raises(MarkError):
        understand_record(path)


def test_a_record_stays_when_samples_must_go():
    piece = Piece(Route("uid", 0, id=1), records=[ROW])
    assert piece.without_bulk().batch(1, []).records == [ROW]
    other = Piece(piece.route)
    other.add(piece)
    assert other.batch(1, []).records == [ROW]


def test_the_running_daemon_takes_a_record_and_sets_nonsense_aside(
    board, daemon, make_scenario, wait_for
):
    board(make_scenario(4, 60, 10)).start()
    running = daemon()
    wait_for(lambda: running.count("readings") > 5)
    inbox = running.folder / FOLDER
    inbox.mkdir(exist_ok=True)
    (inbox / "0-x.record").write_text("nonsense")
    (route,) = running.rows("SELECT id, uid FROM routes")
    row = dataclasses.replace(ROW, route_uid=route[1])
    leave_record(running.folder, row)
    wait_for(lambda: running.count("application_records"))
    assert running.rows("SELECT uid, revision, route_id FROM application_records") == [
        ("uid1", 1, route[0])
    ]
    wait_for(lambda: not waiting_records(running.folder))
    assert [path.name for path in (inbox / "refused").iterdir()] == ["0-x.record"]
    leave_record(running.folder, dataclasses.replace(row, made_wall_us=row.made_wall_us + 1))
    wait_for(lambda: not waiting_records(running.folder))
    assert running.count("application_records") == 1
    running.stop()

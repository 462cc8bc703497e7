"""Corrections left for the daemon: in any order, more than once, and across its death."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import asdict

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowlog.daemon.inbox import waiting
from flowlog.daemon.left_corrections import (
    leave_correction,
    understand_correction,
    waiting_corrections,
)
from flowlog.daemon.letterbox import FOLDER, MarkError
from flowlog.daemon.pending import Piece, Route
from flowlog.store.archive import Archive
from flowlog.store.correction import (
    GiveArea,
    Merge,
    NewTips,
    Place,
    Rename,
    Split,
    Undo,
    UseCalibrations,
    body_of,
    kind_of,
    said_in,
)
from flowlog.store.rows import CorrectionRow

words = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Zs", "Zl", "Zp", "Cn", "Co", "Cf"]),
    min_size=1,
    max_size=40,
)
places = st.builds(Place, st.integers(0, 9), st.integers(0, 2**62))
sayings = st.one_of(
    st.builds(Rename, places, st.none() | words),
    st.builds(GiveArea, places, st.none() | st.floats(0.1, 1e7)),
    st.builds(Split, places),
    st.builds(Merge, places),
    st.builds(UseCalibrations, st.none() | st.lists(words, max_size=5).map(tuple)),
    st.builds(NewTips, words),
    st.builds(Undo, words),
)


def correction(said, *, uid="c1", route_uid="route1", turn=1) -> CorrectionRow:
    wall_us = 1_780_000_000_000_000
    return CorrectionRow(
        uid, route_uid, turn, kind_of(said), wall_us, "somebody", "", body_of(said)
    )


ROW = correction(Rename(Place(0, 5_000_000), "north lawn"))


@settings(deadline=None)
@given(sayings, st.uuids(), st.integers(1, 2**40))
def test_a_correction_is_understood_as_it_was_left(tmp_path_factory, said, uid, turn):
    folder = tmp_path_factory.mktemp("rig")
    row = correction(said, uid=uid.hex, turn=turn)
    path = leave_correction(folder, row)
    assert waiting_corrections(folder) == [path]
    assert understand_correction(path) == row
    assert said_in(understand_correction(path)) == said


def test_a_correction_is_no_mark_for_a_daemon_that_knows_only_marks(tmp_path):
    leave_correction(tmp_path, ROW)
    assert waiting(tmp_path) == []


@pytest.mark.parametrize(
    "wrong",
    [
        {"uid": ""},
        {"uid": "x" * 65},
        {"route_uid": None},
        {"made_by": "\ud800"},
        {"reason": "two\nlines"},
        {"turn": 0},
        {"turn": True},
        {"made_wall_us": None},
        {"made_wall_us": 2**70},
        {"kind": "repaint"},
        {"body": []},
        {"body": {}},
        {"body": {"at": {"segment": 0, "t_us": -1}, "name": "x"}},
        {"body": {"at": {"segment": 0, "t_us": 1}, "name": "  "}},
        {"body": {"at": {"segment": 0, "t_us": 1}, "name": "x" * 121}},
        {"kind": "area", "body": {"at": {"segment": 0, "t_us": 1}, "area_m2": 0}},
        {"kind": "area", "body": {"at": {"segment": 0, "t_us": 1}, "area_m2": True}},
        {"kind": "calibrations", "body": {"uids": ["a"] * 21}},
        {"surplus": 1},
    ],
)
def test_what_the_store_could_not_hold_or_nobody_could_apply_is_refused(tmp_path, wrong):
    (tmp_path / FOLDER).mkdir()
    path = tmp_path / FOLDER / "1-x.correction"
    path.write_text(json.dumps({**asdict(ROW), **wrong}))
    with pytest.raises(MarkError):
        understand_correction(path)


@pytest.mark.parametrize("text", ["", "[]", "{", "{}", "[" * 20_000, '"' + "x" * 20_000 + '"'])
def test_what_is_no_correction_is_refused(tmp_path, text):
    path = tmp_path / "1-x.correction"
    path.write_text(text)
    with pytest.raises(MarkError):
        understand_correction(path)


def test_a_correction_stays_when_samples_must_go():
    piece = Piece(Route("uid", 0, id=1), corrections=[ROW])
    assert piece.without_bulk().batch(1, []).corrections == [ROW]
    other = Piece(piece.route)
    other.add(piece)
    assert other.batch(1, []).corrections == [ROW]


def test_the_running_daemon_takes_a_correction_once_also_after_it_was_killed(
    board, daemon, make_scenario, wait_for
):
    board(make_scenario(4, 60, 10)).start()
    running = daemon()
    wait_for(lambda: running.count("readings") > 5)
    inbox = running.folder / FOLDER
    inbox.mkdir(exist_ok=True)
    (inbox / "0-x.correction").write_text("nonsense")
    (route,) = running.rows("SELECT id, uid FROM routes")
    row = dataclasses.replace(ROW, route_uid=route[1])
    leave_correction(running.folder, row)
    wait_for(lambda: running.count("corrections"))
    assert running.rows("SELECT uid, turn, route_id FROM corrections") == [("c1", 1, route[0])]
    wait_for(lambda: not waiting_corrections(running.folder))
    assert [path.name for path in (inbox / "refused").iterdir()] == ["0-x.correction"]

    running.kill()
    # As a cut of power between commit and deletion would leave it, and a later one beside it.
    leave_correction(running.folder, row)
    leave_correction(running.folder, dataclasses.replace(row, uid="c2", turn=2))
    again = daemon()
    wait_for(lambda: not waiting_corrections(again.folder))
    with Archive.open(again.folder) as archive:
        assert [found.uid for found in archive.corrections(route[1])] == ["c1", "c2"]
    again.stop()

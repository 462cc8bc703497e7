"""Marks left by other commands."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.daemon.inbox import (
    LARGEST_AREA_M2,
    LONGEST_NAME,
    Mark,
    leave,
    new_uid,
    understand,
    waiting,
)
from flowlog.daemon.letterbox import MarkError, remove, set_aside

WALL = 1_780_000_000_000_000

names = st.text(min_size=1, max_size=LONGEST_NAME).filter(lambda t: t.strip() == t != "")
marks = st.one_of(
    st.builds(
        Mark,
        what=st.just("stop"),
        wall_us=st.integers(0, 2**60),
        uid=st.uuids().map(lambda u: u.hex),
        kind=st.sampled_from(["begin", "end", "name"]),
        name=names,
        area_m2=st.none() | st.floats(0, LARGEST_AREA_M2),
    ),
    st.builds(
        Mark,
        what=st.just("fill"),
        wall_us=st.integers(0, 2**60),
        uid=st.uuids().map(lambda u: u.hex),
        volume_m3=st.none() | st.floats(0, 1000),
    ),
)


@given(marks)
def test_a_mark_is_understood_as_it_was_left(tmp_path_factory, mark):
    folder = tmp_path_factory.mktemp("rig")
    assert understand(leave(folder, mark)) == mark


def test_marks_come_oldest_first(tmp_path):
    for wall in (WALL + 5, WALL, WALL + 2):
        leave(tmp_path, Mark("fill", wall, new_uid()))
    assert [understand(path).wall_us for path in waiting(tmp_path)] == [WALL, WALL + 2, WALL + 5]


def test_half_a_mark_is_never_seen(tmp_path):
    leave(tmp_path, Mark("fill", WALL, new_uid()))
    (tmp_path / "inbox" / "x.part").write_text('{"what": "fi')
    assert len(waiting(tmp_path)) == 1


def test_a_folder_that_is_not_there_holds_no_marks(tmp_path):
    assert waiting(tmp_path / "none") == []


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        "{}",
        '{"what": "stop"}',
        '{"what": "dance", "wall_us": 1, "uid": "abcdefgh"}',
        '{"what": "fill", "wall_us": "now", "uid": "abcdefgh"}',
        '{"what": "fill", "wall_us": true, "uid": "abcdefgh"}',
        '{"what": "fill", "wall_us": 1, "uid": "../../etc/x"}',
        '{"what": "fill", "wall_us": 1, "uid": "abcdefgh", "volume_m3": -1}',
        '{"what": "fill", "wall_us": 1, "uid": "abcdefgh", "volume_m3": NaN}',
        '{"what": "fill", "wall_us": 1, "uid": "abcdefgh", "volume_m3": "60 gal"}',
        '{"what": "fill", "wall_us": 99999999999999999999, "uid": "abcdefgh"}',
        '{"what": "stop", "wall_us": 1, "uid": "abcdefgh", "kind": "name"}',
        '{"what": "stop", "wall_us": 1, "uid": "abcdefgh", "kind": "begin", "name": " "}',
        '{"what": "stop", "wall_us": 1, "uid": "abcdefgh", "kind": "begin", "name": 7}',
        "[" * 3000,
        json.dumps({"what": "stop", "name": "x" * 5000}),
    ],
)
def test_what_is_no_mark_is_refused_in_one_line_and_set_aside(tmp_path, text):
    (tmp_path / "inbox").mkdir()
    path = tmp_path / "inbox" / "a.json"
    path.write_text(text)
    with pytest.raises(MarkError) as caught:
        understand(path)
    assert str(caught.value).startswith("a.json: ")
    assert "\n" not in str(caught.value)
    set_aside(path)
    assert waiting(tmp_path) == []
    assert (tmp_path / "inbox" / "refused" / "a.json").read_text() == text


@given(st.binary(max_size=200))
def test_no_file_can_do_harm(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("rig") / "a.json"
    path.write_bytes(data)
    with pytest.raises(MarkError):
        understand(path)


def test_deleting_a_mark_twice_is_no_fault(tmp_path):
    path = leave(tmp_path, Mark("fill", WALL, new_uid()))
    remove(path)
    remove(path)
    assert waiting(tmp_path) == []


def test_a_folder_that_cannot_be_made_is_said_in_words(tmp_path):
    (tmp_path / "rig").write_text("a file, not a folder")
    with pytest.raises(MarkError, match="cannot leave a mark there"):
        leave(tmp_path / "rig", Mark("fill", WALL, new_uid()))

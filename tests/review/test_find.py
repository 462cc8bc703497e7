"""Which folder and which route a person means; and files that are whole or not there."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from stored import store_items

from flowlog.review.files import WriteError, write_whole
from flowlog.review.find import NotFoundError, choose_folder, choose_route, rig_folders
from flowlog.store.lock import FolderLock
from flowlog.store.rows import RouteRow

ROUTES = [
    RouteRow(7, "ab12", "North", 0, 1, ""),
    RouteRow(8, "ab34", None, 0, 1, ""),
    RouteRow(9, "cd56", "3", 0, None, ""),
]


@pytest.mark.parametrize(
    ("wanted", "index"),
    [("last", 2), ("1", 0), ("3", 2), ("ab1", 0), ("AB3", 1), ("north", 0), ("cd56", 2)],
)
def test_a_route_is_meant_by_last_number_uid_or_name(wanted, index):
    assert choose_route(ROUTES, wanted) == index


@pytest.mark.parametrize("wanted", ["0", "4", "x", "", "²", "-1", "ab"])
def test_what_means_no_route_or_several_is_refused_with_what_would_be_right(wanted):
    with pytest.raises(NotFoundError, match="give"):
        choose_route(ROUTES, wanted)


def test_a_short_number_without_a_route_is_not_taken_for_the_beginning_of_a_uid():
    routes = [*ROUTES, RouteRow(10, "7812345e", None, 0, None, "")]
    with pytest.raises(NotFoundError, match="give"):
        choose_route(routes, "7")
    assert choose_route(routes, "781234") == 3


def test_without_any_route_it_says_how_to_get_one():
    with pytest.raises(NotFoundError, match="flowlog run"):
        choose_route([], "last")


def test_a_missing_data_folder_is_told_in_one_line(tmp_path):
    with pytest.raises(NotFoundError, match=r"not even such a folder .*flowlog run") as told:
        choose_folder(None, tmp_path / "none")
    assert "\n" not in str(told.value)


def test_the_only_rig_is_found_in_its_folder_or_in_the_one_above(tmp_path):
    store_items(tmp_path / "cart", [])
    assert choose_folder(None, tmp_path) == tmp_path / "cart"
    assert choose_folder(None, tmp_path / "cart") == tmp_path / "cart"


def test_the_data_root_of_the_machine_is_looked_at_by_default(tmp_path, monkeypatch):
    store_items(tmp_path / "cart", [])
    monkeypatch.setenv("FLOWLOG_DATA", str(tmp_path))
    assert choose_folder(None, None) == tmp_path / "cart"


def test_of_several_rigs_the_running_one_is_meant_or_all_are_named(tmp_path):
    store_items(tmp_path / "a", [])
    store_items(tmp_path / "b", [])
    assert rig_folders(tmp_path) == [tmp_path / "a", tmp_path / "b"]
    with pytest.raises(NotFoundError, match=r"a, b \(name one"):
        choose_folder(None, tmp_path)
    lock = FolderLock(tmp_path / "b")
    try:
        assert choose_folder(None, tmp_path) == tmp_path / "b"
    finally:
        lock.release()


def test_a_file_is_written_whole_or_not_at_all(tmp_path):
    path = tmp_path / "out.csv"
    path.write_text("old")

    def fails(out):
        out.write("half")
        raise OSError(28, "No space left on device")

    with pytest.raises(WriteError, match=r"out\.csv: cannot be written: No space"):
        write_whole(path, fails)
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]
    write_whole(path, lambda out: out.write("new"))
    assert path.read_text() == "new"


def test_a_file_in_a_missing_folder_is_refused(tmp_path):
    with pytest.raises(WriteError, match="cannot be written"):
        write_whole(tmp_path / "none" / "out.csv", lambda out: out.write("x"))

"""Application records in the store: revisions are only ever added."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.storing import RIG, RIG_TEXT

from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, RecordRow

FIRST = RecordRow(
    uid="a1",
    record_uid="r1",
    route_uid="nowhere",
    stop_number=2,
    made_wall_us=1_780_000_000_000_000,
    made_by="somebody",
    reason="",
    form="strict",
    state="draft",
    supersedes=None,
    fields={"site": "north lawn", "wind": 1.5, "none": None, "ümlaut": ["ß"]},
)
SECOND = replace(FIRST, uid="a2", supersedes="a1", reason="wind was missing", state="complete")


def add(folder: Path, *rows: RecordRow) -> None:
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    try:
        recorder.commit(Batch(None, records=list(rows)))
    finally:
        recorder.close()


def records(folder: Path):
    with Archive.open(folder) as archive:
        return archive.records()


def test_a_revision_comes_back_as_it_went_in(tmp_path):
    add(tmp_path, FIRST)
    (found,) = records(tmp_path)
    assert found.row == FIRST
    assert (found.number, found.revision, found.route_id) == (1, 1, None)


def test_an_amendment_is_added_and_the_former_revision_stays(tmp_path):
    add(tmp_path, FIRST)
    add(tmp_path, SECOND)
    assert [found.row for found in records(tmp_path)] == [FIRST, SECOND]
    assert [found.revision for found in records(tmp_path)] == [1, 2]


def test_the_same_revision_again_is_passed_over_even_if_it_says_something_else(tmp_path):
    add(tmp_path, FIRST)
    add(tmp_path, replace(FIRST, fields={"site": "elsewhere"}), FIRST)
    assert [found.row for found in records(tmp_path)] == [FIRST]


def test_two_amendments_of_one_revision_are_both_kept_and_show_it(tmp_path):
    add(tmp_path, FIRST, SECOND, replace(SECOND, uid="a3"))
    assert [found.revision for found in records(tmp_path)] == [1, 2, 3]
    assert [found.row.supersedes for found in records(tmp_path)] == [None, "a1", "a1"]


def test_a_record_finds_its_route_by_uid(tmp_path):
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
    route = recorder.begin_route(FIRST.made_wall_us)
    recorder.commit(Batch(None, records=[replace(FIRST, route_uid=route.uid)]))
    recorder.close()
    assert records(tmp_path)[0].route_id == route.id


@pytest.mark.parametrize(
    "sql", ["UPDATE application_records SET state = 'x'", "DELETE FROM application_records"]
)
def test_the_database_itself_refuses_to_change_a_record(tmp_path, sql):
    add(tmp_path, FIRST)
    db = sqlite3.connect(tmp_path / "flowlog.db")
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        db.execute(sql)
    db.close()
    assert [found.row for found in records(tmp_path)] == [FIRST]


@given(
    order=st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 5)), min_size=1, max_size=15)
)
def test_whatever_is_added_what_was_there_stays_first_and_unchanged(tmp_path_factory, order):
    folder = tmp_path_factory.mktemp("rig")
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    known: list[RecordRow] = []
    try:
        with Archive.open(folder) as archive:
            for place, (record, number) in enumerate(order):
                row = replace(FIRST, uid=f"{record}{number}", record_uid=record, made_wall_us=place)
                recorder.commit(Batch(None, records=[row]))
                if row.uid not in {old.uid for old in known}:
                    known.append(row)
                found = archive.records()
                assert [stored.row for stored in found] == known
    finally:
        recorder.close()
    for record in "abc":
        revisions = [stored.revision for stored in found if stored.row.record_uid == record]
        assert revisions == list(range(1, len(revisions) + 1))

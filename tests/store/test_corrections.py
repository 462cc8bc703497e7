"""Corrections in the store: only ever added, and in one order however they came."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.storing import RIG, RIG_TEXT

from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, CorrectionRow

AT = {"at": {"segment": 0, "t_us": 7_000_000}}
ROW = CorrectionRow(
    *("c1", "nowhere", 1, "rename", 1_780_000_000_000_000, "somebody", ""),
    {**AT, "name": "ümlaut"},
)


def add(folder: Path, *rows: CorrectionRow) -> None:
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    try:
        recorder.commit(Batch(None, corrections=list(rows)))
    finally:
        recorder.close()


def stored(folder: Path, route_uid: str | None = None) -> list[CorrectionRow]:
    with Archive.open(folder) as archive:
        return archive.corrections(route_uid)


def test_a_correction_comes_back_as_it_went_in(tmp_path):
    add(tmp_path, ROW)
    assert stored(tmp_path) == [ROW]
    assert stored(tmp_path, "nowhere") == [ROW]
    assert stored(tmp_path, "elsewhere") == []


def test_the_same_correction_again_is_passed_over_even_if_it_says_something_else(tmp_path):
    add(tmp_path, ROW)
    add(tmp_path, replace(ROW, turn=9, body={**AT, "name": "other"}), ROW)
    assert stored(tmp_path) == [ROW]


def test_a_correction_finds_its_route(tmp_path):
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
    route = recorder.begin_route(ROW.made_wall_us)
    recorder.commit(Batch(route.id, corrections=[replace(ROW, route_uid=route.uid)]))
    recorder.close()
    db = sqlite3.connect(tmp_path / "flowlog.db")
    assert db.execute("SELECT route_id FROM corrections").fetchall() == [(route.id,)]
    db.close()


@pytest.mark.parametrize("sql", ["UPDATE corrections SET turn = 2", "DELETE FROM corrections"])
def test_the_database_itself_refuses_to_change_a_correction(tmp_path, sql):
    add(tmp_path, ROW)
    db = sqlite3.connect(tmp_path / "flowlog.db")
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        db.execute(sql)
    db.close()
    assert stored(tmp_path) == [ROW]


@settings(deadline=None)
@given(
    said=st.lists(
        st.tuples(st.integers(1, 4), st.sampled_from("abcdef")),
        unique_by=lambda one: one[1],
        min_size=1,
    ),
    data=st.data(),
)
def test_the_order_does_not_depend_on_that_of_the_post_nor_on_clocks(tmp_path_factory, said, data):
    rows = [
        replace(ROW, turn=turn, uid=uid, made_wall_us=data.draw(st.integers(0, 9)))
        for turn, uid in said
    ]
    first, second = tmp_path_factory.mktemp("first"), tmp_path_factory.mktemp("second")
    for row in rows:
        add(first, row)
    add(second, *data.draw(st.permutations([*rows, *rows])))
    assert stored(first) == stored(second) == sorted(rows, key=lambda row: (row.turn, row.uid))

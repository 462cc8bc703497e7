"""A stamp tells whether anything of a route has changed."""

from __future__ import annotations

import pytest
from support.storing import RIG, RIG_TEXT, event_row, reading

from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, CorrectionRow, StopMark


def _reading(recorder, one):
    recorder.commit(Batch(one.id, readings=[(reading(9), 20_000_000)]))


def _event(recorder, one):
    recorder.commit(Batch(one.id, events=[event_row("late")]))


def _mark(recorder, one):
    recorder.commit(Batch(one.id, stops=[StopMark("lawn", "name", 1, 0, 5, "mark-1")]))


def _correction(recorder, one):
    row = CorrectionRow("c", one.uid, 1, "tips", 0, "Ann", "", {"note": "new"})
    recorder.commit(Batch(None, corrections=[row]))


def _name(recorder, one):
    recorder.name_route(one.id, "morning")


def _end(recorder, one):
    recorder.end_route(one.id, 30_000_000)


def _shift(recorder, one):
    recorder.shift_wall("boot", 5_000_000, 77)


def _nothing(recorder, one):
    recorder.commit(Batch(None))


@pytest.mark.parametrize("change", [_reading, _event, _mark, _correction, _name, _end, _shift])
def test_any_change_of_a_route_changes_its_stamp_and_no_other(tmp_path, change):
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
    # Not of this power-up: a correction of the clock does not reach it.
    recorder.begin_run("boot before", 5, 5)
    other = recorder.begin_route(5_000_000)
    recorder.commit(Batch(other.id, readings=[(reading(0), 6_000_000)]))
    recorder.end_route(other.id, 7_000_000)
    recorder.begin_run("boot", 10, 10)
    one = recorder.begin_route(10_000_000)
    recorder.commit(Batch(one.id, readings=[(reading(0), 11_000_000)]))
    with Archive.open(tmp_path) as archive:
        before = archive.stamps()
        _nothing(recorder, one)
        assert archive.stamps() == before
        change(recorder, one)
        after = archive.stamps()
    recorder.close()
    assert after[one.id] != before[one.id]
    assert after[other.id] == before[other.id]


def test_a_route_without_readings_has_a_stamp_too(tmp_path):
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
    one = recorder.begin_route(5_000_000)
    recorder.close()
    with Archive.open(tmp_path) as archive:
        assert list(archive.stamps()) == [one.id]

"""A route derived anew stands beside what was logged, and changes nothing of it."""

from __future__ import annotations

import dataclasses
import io
import shutil
import sqlite3
import sys
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

sys.path.insert(0, str(Path(__file__).parent))

from stored import RIG, RIG_TEXT, store_scenario

from flowlog.calibrating.rows import Noted, row_of
from flowlog.calibration.meter import meter
from flowlog.calibration.meter_runs import MeterRun
from flowlog.review import derived
from flowlog.review.explain_load import explain_stored
from flowlog.review.export_json import summary_dict
from flowlog.review.fine import fine
from flowlog.review.load import load_numbered, load_route
from flowlog.review.route import RAW_GONE
from flowlog.review.shelf import Shelf
from flowlog.review.text import route_view
from flowlog.store.archive import Archive
from flowlog.store.correction import Undo, UseCalibrations, body_of, kind_of
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, CorrectionRow

SHARE = 1.04


def found_meter(share: float):
    """A meter that was found to give this many times the pulses of the rig file's."""
    per_m3 = RIG.meter.pulses_per_m3 * share
    runs = [MeterRun(per_m3 * 0.02, 80.0, volume_m3=0.02) for _ in range(3)]
    return row_of(meter(runs, rig_meter=RIG.meter), RIG, Noted("Ann"))


@pytest.fixture(scope="module")
def morning(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rig")
    store_scenario(folder)
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    recorder.add_calibration(dataclasses.replace(found_meter(SHARE), uid="better"))
    recorder.close()
    return folder


@pytest.fixture
def folder(morning, tmp_path):
    shutil.copytree(morning, tmp_path / "rig")
    return tmp_path / "rig"


def say(folder, said, turn=1):
    with Archive.open(folder) as archive:
        route = archive.routes()[0]
    row = CorrectionRow(f"c{turn}", route.uid, turn, kind_of(said), 0, "Ann", "", body_of(said))
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    recorder.commit(Batch(None, corrections=[row]))
    recorder.close()


def reviewed(folder, **options):
    with Archive.open(folder) as archive:
        return load_numbered(archive, 1, archive.routes()[0], **options)


def test_with_what_it_was_watched_with_the_very_same_comes_out(folder):
    before = reviewed(folder)
    say(folder, UseCalibrations(()))
    after = reviewed(folder)
    assert after.derived
    for name, column in before.columns.items():
        assert np.array_equal(column, after.columns[name], equal_nan=column.dtype.kind == "f"), name
    assert [row.event for row in after.events] == [row.event for row in before.events]
    assert [row.wall_us for row in after.events] == [row.wall_us for row in before.events]


def test_another_meter_gives_other_volumes_and_the_log_stays(folder):
    before = reviewed(folder)
    say(folder, UseCalibrations(("better",)))
    told: list[float] = []
    after = reviewed(folder, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert after.derived
    assert "meter number 1" in after.calibrations[0]
    ratio = after.summary.figures.volume_m3 / before.summary.figures.volume_m3
    assert ratio == pytest.approx(1 / SHARE, rel=1e-9)
    assert after.summary.figures.area_m2 == before.summary.figures.area_m2
    assert np.array_equal(after.columns["wall_us"], before.columns["wall_us"])
    with Archive.open(folder) as archive:
        assert archive.readings(1)["volume_m3"].sum() == before.columns["volume_m3"].sum()


def test_it_is_derived_once_and_then_read_until_the_choice_is_undone(folder):
    say(folder, UseCalibrations(("better",)))
    first = reviewed(folder)
    again: list[float] = []
    second = reviewed(folder, progress=again.append)
    assert again == []
    assert second.summary == first.summary
    say(folder, Undo("c1"), 2)
    assert not reviewed(folder).derived


def test_who_does_not_want_to_wait_gets_what_was_logged_and_is_told(folder):
    before = reviewed(folder)
    say(folder, UseCalibrations(("better",)))
    waiting = reviewed(folder, derive=False)
    assert not waiting.derived
    assert waiting.underived == "it is not derived yet"
    assert waiting.summary.figures == before.summary.figures
    assert reviewed(folder).underived == ""


def test_half_a_file_is_derived_again(folder):
    say(folder, UseCalibrations(("better",)))
    first = reviewed(folder)
    (kept,) = (folder / derived.FOLDER).iterdir()
    kept.write_bytes(kept.read_bytes()[:1000])
    assert reviewed(folder).summary == first.summary
    kept.write_bytes(b"")
    assert reviewed(folder).summary == first.summary


def test_where_it_cannot_be_kept_it_is_derived_each_time(folder):
    say(folder, UseCalibrations(("better",)))
    (folder / derived.FOLDER).write_text("in the way")
    assert reviewed(folder).derived
    assert reviewed(folder).derived


def test_a_route_whose_samples_were_deleted_says_so_and_shows_what_was_logged(folder):
    say(folder, UseCalibrations(("better",)))
    with sqlite3.connect(folder / "flowlog.db") as db:
        db.execute("DELETE FROM raw_blocks")
        db.execute("DELETE FROM raw_tail")
    db.close()
    found = reviewed(folder)
    assert not found.derived
    assert "deleted" in found.underived
    assert found.summary.stops


def test_an_open_route_is_derived_only_when_it_has_ended(tmp_path):
    store_scenario(tmp_path, ended=False)
    say(tmp_path, UseCalibrations(()))
    with Archive.open(tmp_path) as archive:
        assert "still open" in load_route(archive, "last").underived


def test_a_calibration_that_this_store_does_not_have_is_passed_over(folder):
    before = reviewed(folder)
    say(folder, UseCalibrations(("lost",)))
    assert reviewed(folder).summary.figures == before.summary.figures


def test_a_route_whose_raw_samples_were_deleted_says_so_and_stays_as_it_was_logged(folder):
    before = reviewed(folder)
    assert not before.raw_gone
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    assert recorder.prune_raw(before.route.id) > 0
    recorder.close()
    after = reviewed(folder)
    assert after.raw_gone
    assert after.summary == before.summary
    assert summary_dict(after)["raw_samples_gone"]
    assert not summary_dict(before)["raw_samples_gone"]
    console = Console(file=io.StringIO(), width=200)
    console.print(route_view(after))
    assert RAW_GONE in console.file.getvalue()
    with Archive.open(folder) as archive:
        assert fine(archive, after, 10.0, 40.0) is None
        assert fine(archive, before, 10.0, 40.0) is None
        assert explain_stored(archive, "last", "1").gone
    say(folder, UseCalibrations(("better",)))
    assert "deleted" in reviewed(folder).underived


def test_pages_notice_that_raw_samples_were_deleted_though_they_know_the_route(folder):
    shelf = Shelf()
    with Archive.open(folder) as archive:
        assert not shelf.review(archive, 1).raw_gone
        recorder = Recorder.open(folder, RIG, RIG_TEXT)
        recorder.prune_raw(archive.routes()[0].id)
        recorder.close()
        assert shelf.review(archive, 1).raw_gone

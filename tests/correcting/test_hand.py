"""A correction takes effect at once, and is never lost."""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from stored import RIG, RIG_TEXT, store_scenario

from flowlog.calibrating.rows import Noted, row_of
from flowlog.calibration.meter import meter
from flowlog.calibration.meter_runs import MeterRun
from flowlog.correcting import hand
from flowlog.correcting.child import Deriving
from flowlog.daemon.left_corrections import leave_correction, waiting_corrections
from flowlog.daemon.letterbox import FOLDER
from flowlog.review.load import load_numbered
from flowlog.store.archive import Archive
from flowlog.store.correction import NewTips, UseCalibrations, body_of, kind_of
from flowlog.store.errors import StoreFullError
from flowlog.store.recorder import Recorder
from flowlog.store.rows import CorrectionRow


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("rig")
    store_scenario(made)
    return made


def row(said, uid, turn=1):
    return CorrectionRow(uid, "nowhere", turn, kind_of(said), 0, "Ann", "", body_of(said))


def stored(folder):
    with Archive.open(folder) as archive:
        return {one.uid for one in archive.corrections()}


def test_where_no_daemon_runs_it_is_stored_when_this_returns(folder):
    assert hand.hand_over(folder, row(NewTips("new"), "alone"))
    assert "alone" in stored(folder)
    assert waiting_corrections(folder) == []


def test_what_was_left_before_is_stored_with_it(folder):
    leave_correction(folder, row(NewTips("new"), "earlier"))
    (folder / FOLDER / "0-x.correction").write_text("nonsense")
    assert hand.hand_over(folder, row(NewTips("new"), "later"))
    assert {"earlier", "later"} <= stored(folder)
    assert waiting_corrections(folder) == []
    assert (folder / FOLDER / "refused" / "0-x.correction").exists()


def test_while_another_writes_it_waits_and_is_not_lost(folder):
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    try:
        assert not hand.hand_over(folder, row(NewTips("new"), "patient"), patience_s=0.2)
        assert len(waiting_corrections(folder)) == 1
    finally:
        recorder.close()
    hand.take_waiting(folder)
    assert "patient" in stored(folder)


def test_a_store_that_fails_keeps_the_letter(folder, monkeypatch):
    def full(*_):
        raise StoreFullError("full")

    monkeypatch.setattr(Recorder, "commit", full)
    assert not hand.hand_over(folder, row(NewTips("new"), "later on"))
    monkeypatch.undo()
    assert len(waiting_corrections(folder)) == 1
    hand.take_waiting(folder)
    assert "later on" in stored(folder)


def wait_for(look, seconds=40):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        work = look()
        if work is not None and (work.done or work.failed):
            return work
        time.sleep(0.05)
    raise AssertionError("it never ended")


def test_a_process_of_its_own_derives_a_route_and_tells_how_far_it_is(folder):
    per_m3 = RIG.meter.pulses_per_m3 * 1.04
    runs = [MeterRun(per_m3 * 0.02, 80.0, volume_m3=0.02) for _ in range(3)]
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    better = recorder.add_calibration(
        row_of(meter(runs, rig_meter=RIG.meter), RIG, Noted("Ann"))
    ).row.uid
    recorder.close()
    with Archive.open(folder) as archive:
        route = archive.routes()[0]
    chosen = replace(row(UseCalibrations((better,)), "chosen"), route_uid=route.uid)
    assert hand.hand_over(folder, chosen)
    work = Deriving(folder)
    assert work.look(1) is None
    begun = work.start(1)
    assert begun is not None
    assert not begun.failed
    assert work.start(2) is None  # one at a time
    assert wait_for(lambda: work.look(1)).done
    with Archive.open(folder) as archive:
        assert load_numbered(archive, 1, route, derive=False).derived


def test_a_route_that_is_not_there_fails_in_a_sentence_without_a_path(folder):
    work = Deriving(folder)
    work.start(7)
    told = wait_for(lambda: work.look(7)).failed
    assert told == "the store cannot be read"

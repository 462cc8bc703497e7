"""The daemon watches a route with what it began with, and takes up newer ones with the next."""

from __future__ import annotations

import contextlib
import dataclasses
import sqlite3
import threading
import time
from pathlib import Path

import pytest
from support.scripted_calibration import calibrate

from flowlog.calibrating.rows import Noted, row_of
from flowlog.calibration.course import course
from flowlog.calibration.meter import meter
from flowlog.calibration.meter_runs import MeterRun
from flowlog.daemon.calibrated import TAKE_UP_US, Calibrations
from flowlog.daemon.left_calibrations import (
    leave_calibration,
    understand_calibration,
    waiting_calibrations,
)
from flowlog.daemon.letterbox import FOLDER, REFUSED_FOLDER, MarkError
from flowlog.daemon.service import Service
from flowlog.simulator.live import lines
from flowlog.simulator.run import simulate
from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder

NOTED = Noted("Ann")


def meter_of(rig, pulses_per_l: float):
    """A meter that was found to give so many pulses a litre."""
    runs = [MeterRun(pulses_per_l * 20, 80.0, volume_m3=0.020) for _ in range(3)]
    return meter(runs, rig_meter=rig.meter)


def keep(folder: Path, rig, rig_file: Path, result):
    recorder = Recorder.open(folder, rig, rig_file.read_text())
    try:
        return recorder.add_calibration(row_of(result, rig, NOTED))
    finally:
        recorder.close()


def ids_by_route(folder: Path) -> dict[int, list[int]]:
    with contextlib.closing(sqlite3.connect(folder / "flowlog.db")) as db:
        routes = [row[0] for row in db.execute("SELECT id FROM routes ORDER BY id")]
        pairs = db.execute("SELECT route_id, calibration_id FROM route_calibrations").fetchall()
    return {route: sorted(c for r, c in pairs if r == route) for route in routes}


@pytest.mark.slow
def test_volumes_come_from_the_calibrated_meter_and_a_restart_keeps_it(
    board, daemon, make_scenario, wait_for, rig, rig_file, tmp_path, true_pulses
) -> None:
    first = keep(tmp_path / "data", rig, rig_file, meter_of(rig, 468.0))
    scenario = make_scenario(2, 60.0, 20.0)
    held = board(scenario).start()
    one = daemon()
    wait_for(lambda: one.count("readings") > 60)
    one.kill()
    newer = keep(tmp_path / "data", rig, rig_file, meter_of(rig, 500.0))
    two = daemon("--until-idle", "2")
    wait_for(lambda: held.done, 30)
    two.process.wait(20)
    assert ids_by_route(tmp_path / "data") == {1: [first.id]}
    assert f"meter number {first.id} (468 pulse/L" in one.text()
    assert f"meter number {first.id} (468 pulse/L" in two.text()
    (volume, pulses) = two.rows("SELECT sum(volume_m3), sum(pulses) FROM readings")[0]
    assert volume == pytest.approx(pulses / 468e3, rel=1e-3)
    assert pulses == pytest.approx(true_pulses(scenario), rel=0.01)
    three = daemon("--until-idle", "1")
    three.process.wait(20)
    assert ids_by_route(tmp_path / "data") == {1: [first.id], 2: [newer.id]}


def test_newer_ones_are_due_half_a_minute_later_and_only_with_the_boom_shut(
    rig, rig_file, tmp_path
) -> None:
    calibrations = Calibrations(rig, tmp_path)
    assert calibrations.newest().used == ()
    assert not calibrations.due(10 * TAKE_UP_US, "off")
    calibrations.came(1_000_000)
    assert not calibrations.due(TAKE_UP_US, "off")
    assert not calibrations.due(10 * TAKE_UP_US, "spraying")
    assert not calibrations.due(10 * TAKE_UP_US, "settling")
    assert calibrations.due(1_000_000 + TAKE_UP_US, "off")
    keep(tmp_path, rig, rig_file, meter_of(rig, 470.0))
    assert calibrations.newest().rig.meter.pulses_per_m3 == pytest.approx(470e3)
    assert not calibrations.due(100 * TAKE_UP_US, "off")


class Lines:
    """A port that gives one line a read, and then nothing more."""

    name = "/dev/fake"
    ended = False

    def __init__(self, lines: list[bytes]) -> None:
        self._lines = iter(lines)

    def open(self) -> None: ...

    def read(self, timeout_s: float = 0.25) -> bytes:
        time.sleep(0.001)
        return next(self._lines, b"")

    def write(self, data: bytes) -> bool:
        return True

    def take_events(self) -> list:
        return []

    def close(self) -> None: ...


@pytest.mark.slow
def test_a_running_daemon_begins_a_route_with_what_was_left_for_it_once_the_boom_is_shut(
    make_scenario, wait_for, rig, rig_file, tmp_path, monkeypatch
) -> None:
    monkeypatch.setattr("flowlog.daemon.calibrated.TAKE_UP_US", 1_000_000)
    sent = [line for _, line in lines(simulate(make_scenario(1, 120.0, 40.0)))]
    service = Service(rig, rig_file.read_text(), tmp_path, Lines(sent))
    leave_calibration(tmp_path, row_of(meter_of(rig, 468.0), rig, NOTED))
    thread = threading.Thread(target=service.run)
    thread.start()
    try:
        wait_for(lambda: waiting_calibrations(tmp_path) == [], 15)
        wait_for(lambda: len(ids_by_route(tmp_path)) == 2, 15)
    finally:
        service.stop()
        thread.join(15)
    assert ids_by_route(tmp_path) == {1: [], 2: [1]}
    with Archive.open(tmp_path) as archive:
        # The whole pass is in the first route: nothing changed while the boom was open.
        phases = archive.readings(1)["phase"]
        assert "spraying" in phases
        assert phases[-1] in ("off", "draining")
        assert "spraying" not in archive.readings(2)["phase"]


def test_after_a_restart_newer_ones_wait_for_the_next_route(rig, rig_file, tmp_path) -> None:
    old = keep(tmp_path, rig, rig_file, meter_of(rig, 460.0))
    recorder = Recorder.open(tmp_path, rig, rig_file.read_text())
    route = recorder.begin_route(1, "r1", [old.id])
    recorder.close()
    calibrations = Calibrations(rig, tmp_path)
    assert calibrations.of_route(route.id, 0).ids == (old.id,)
    assert not calibrations.due(10 * TAKE_UP_US, "off")
    keep(tmp_path, rig, rig_file, meter_of(rig, 470.0))
    assert calibrations.of_route(route.id, 0).rig.meter.pulses_per_m3 == pytest.approx(460e3)
    assert calibrations.due(10 * TAKE_UP_US, "off")


@pytest.mark.slow
def test_a_calibration_left_in_the_inbox_is_stored_once(
    board, daemon, make_scenario, wait_for, rig, tmp_path
) -> None:
    board(make_scenario(5, 60.0, 20.0)).start()
    running = daemon()
    wait_for(lambda: running.count("readings") > 5)
    row = row_of(course(4.0, 45.7, [33.0, 33.3]), rig, NOTED)
    leave_calibration(tmp_path / "data", row)
    wait_for(lambda: running.count("calibrations") == 1)
    wait_for(lambda: not waiting_calibrations(tmp_path / "data"))
    leave_calibration(tmp_path / "data", dataclasses.replace(row, made_wall_us=7))
    wait_for(lambda: not waiting_calibrations(tmp_path / "data"))
    running.stop()
    assert running.count("calibrations") == 1
    assert "the course was calibrated by Ann" in running.text()


def test_what_is_no_calibration_is_refused_in_one_line(rig, tmp_path) -> None:
    good = leave_calibration(tmp_path, row_of(calibrate(1).gauge, rig, NOTED))
    text = good.read_text()
    assert understand_calibration(good).kind == "gauge"
    for number, bad in enumerate(
        (
            "", "{", "[]", "{}",
            text.replace('"gauge"', '"gouge"'), text.replace('"values"', '"v"'),
            text.replace('"made_by": "Ann"', '"made_by": 3'), '{"a": "' + "x" * 600_000 + '"}',
        )
    ):  # fmt: skip
        path = tmp_path / f"{number}.calibration"
        path.write_text(bad)
        with pytest.raises(MarkError) as caught:
            understand_calibration(path)
        assert "\n" not in str(caught.value)
    assert FOLDER != REFUSED_FOLDER

"""The real daemon, a simulated board on a pseudo-terminal, and what is in the store afterwards."""

from __future__ import annotations

import contextlib
import os
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from flowlog.simulator.plan import Fault
from flowlog.store.archive import Archive
from flowlog.wire.records import Alarm


def readings_volume(folder) -> float:
    with Archive.open(folder) as archive:
        return sum(
            float(archive.readings(route.id)["volume_m3"].sum()) for route in archive.routes()
        )


def codes(folder, *changes: str) -> list[str]:
    with Archive.open(folder) as archive:
        return [
            row.event.code for row in archive.events() if not changes or row.event.change in changes
        ]


def test_a_route_comes_through_whole(board, daemon, make_scenario, true_pulses, rig):
    scenario = make_scenario(3, 40, 10)
    source = board(scenario)
    running = daemon("--until-idle", "2")
    source.start()
    assert running.process.wait(30) == 0, running.text()
    with Archive.open(running.folder) as archive:
        (route,) = archive.routes()
        assert route.ended_wall_us is not None
        readings = archive.readings(route.id)
        assert len(archive.raw(route.id)) == len(source.board.run.samples)
    assert int(readings["pulses"].sum()) == true_pulses(scenario)
    true_m3 = source.board.run.truth.total_volume_m3
    assert float(readings["volume_m3"].sum()) == pytest.approx(true_m3, rel=1e-3)
    assert codes(running.folder) == []


def test_a_time_in_which_the_computer_slept_is_not_taken_for_a_board_that_fell_silent(
    board, daemon, make_scenario, wait_for
):
    source = board(make_scenario(6, 40, 10)).start()
    running = daemon("--until-idle", "2")
    wait_for(lambda: running.count("readings") > 20)
    source.hold()
    running.process.send_signal(signal.SIGSTOP)
    time.sleep(3.0)
    running.process.send_signal(signal.SIGCONT)
    time.sleep(0.5)
    assert running.process.poll() is None, running.text()
    source.go_on()
    assert running.process.wait(40) == 0, running.text()
    assert source.done


def test_a_blocked_tip_is_stored_logged_and_shown_on_the_lamp(
    board, daemon, make_scenario, wait_for
):
    source = board(make_scenario(4, 60, 10, Fault("tip blocked", 100.0, tip=3))).start()
    running = daemon()
    wait_for(lambda: running.rows("SELECT 1 FROM events WHERE code = 'tip_blocked'"))
    wait_for(lambda: Alarm(2, 2) in source.heard)
    assert "Tip blocked: " in running.text()
    running.stop()


def test_stopping_takes_less_than_five_seconds_and_loses_nothing(
    board, daemon, make_scenario, wait_for
):
    source = board(make_scenario(4, 60, 10)).start()
    running = daemon()
    wait_for(lambda: running.count("readings") > 20)
    source.hold()
    time.sleep(0.3)
    assert running.stop() < 5.0
    with Archive.open(running.folder) as archive:
        (route,) = archive.routes()
        stored = archive.raw(route.id)
        (run,) = archive.runs()
    # Everything that the board had said before it was held.
    sent = source.board.run.samples.column("seq")
    due = int((source.board.run.t_s <= source.board.now_s + 1e-9).sum())
    assert list(stored.column("seq"))[-1] == sent[due - 1]
    assert run.ended_wall_us is not None
    assert "error" not in running.text().lower()


def test_a_second_signal_ends_at_once(board, daemon, make_scenario, wait_for):
    board(make_scenario(4, 60, 10)).start()
    running = daemon()
    wait_for(lambda: running.count("readings") > 10)
    # The first one would wait for the locked database.
    with contextlib.closing(
        sqlite3.connect(running.folder / "flowlog.db", isolation_level=None)
    ) as locker:
        locker.execute("BEGIN IMMEDIATE")
        time.sleep(1.2)
        running.process.send_signal(signal.SIGTERM)
        time.sleep(0.5)
        assert running.process.poll() is None
        running.process.send_signal(signal.SIGINT)
        assert running.process.wait(1.0) == 1


@pytest.mark.slow
def test_unplugging_and_replugging_the_board_is_one_alert_and_no_volume_lost(
    board, daemon, make_scenario, wait_for
):
    scenario = make_scenario(8, 50, 10)
    source = board(scenario, speed=25).start()
    running = daemon("--until-idle", "9")
    wait_for(lambda: running.count("readings") > 50)
    source.unplug()
    wait_for(lambda: running.rows("SELECT 1 FROM events WHERE code = 'port_lost'"))
    source.plug()
    assert running.process.wait(60) == 0, running.text()
    true_m3 = source.board.run.truth.total_volume_m3
    assert readings_volume(running.folder) == pytest.approx(true_m3, rel=1e-3)
    found = codes(running.folder, "opened", "cleared")
    assert found.count("port_lost") == 2
    assert not {"tip_blocked", "boom_leak", "rate_low", "pressure_low"} & set(found)
    assert running.text().count("Board not connected") <= 3


def test_damaged_and_lost_lines_cost_no_volume_and_raise_no_false_alert(
    board, daemon, make_scenario
):
    scenario = make_scenario(
        4, 50, 10, Fault("corrupt lines", 0, size=0.05), Fault("lost lines", 0, size=0.02)
    )
    source = board(scenario)
    running = daemon("--until-idle", "2")
    source.start()
    assert running.process.wait(40) == 0, running.text()
    true_m3 = source.board.run.truth.total_volume_m3
    assert readings_volume(running.folder) == pytest.approx(true_m3, rel=1e-3)
    assert set(codes(running.folder, "opened")) <= {"lines_lost"}


def test_a_board_that_resets_on_the_way_costs_only_the_time_of_its_start(
    board, daemon, make_scenario, true_pulses
):
    scenario = make_scenario(4, 50, 10, Fault("board reset", 100.0, size=1.5))
    source = board(scenario)
    running = daemon("--until-idle", "2")
    source.start()
    assert running.process.wait(40) == 0, running.text()
    with Archive.open(running.folder) as archive:
        (route,) = archive.routes()
        readings = archive.readings(route.id)
    assert set(readings["segment"]) == {0, 1}
    assert int(readings["pulses"].sum()) == pytest.approx(true_pulses(scenario), abs=2)
    found = codes(running.folder)
    assert "board_reset" in found
    assert set(found) <= {"board_reset", "data_gap"}


def test_a_port_that_is_not_there_is_waited_for(board, daemon, make_scenario, wait_for):
    running = daemon()
    wait_for(lambda: running.rows("SELECT 1 FROM events WHERE code = 'port_lost'"))
    assert "no such port" in running.text()
    lines = running.text().count("\n")
    source = board(make_scenario(2, 30, 5)).start()
    wait_for(lambda: running.count("readings") > 10)
    wait_for(lambda: running.rows("SELECT 1 FROM events WHERE change = 'cleared'"))
    assert running.text().count("\n") - lines <= 2
    assert source.heard
    running.stop()


def test_a_port_that_is_a_file_is_said_in_one_line(tmp_path, daemon, wait_for):
    (tmp_path / "notes.txt").write_text("not a port")
    running = daemon(port=tmp_path / "notes.txt")
    wait_for(lambda: "not a serial port" in running.text())
    running.stop()
    assert "Traceback" not in running.text()


def test_a_port_without_permission_says_which_group_to_join():
    """Root may open any port, so a root that runs this steps down to nobody first."""
    script = """
import os, sys
from flowlog.link.errors import LinkError
from flowlog.link.port import Port
try:
    Port(sys.argv[1]).open()
except LinkError:
    pass  # everything is loaded now, while this is still allowed
if os.geteuid() == 0:
    os.setresgid(65534, 65534, 65534)
    os.setresuid(65534, 65534, 65534)
try:
    Port(sys.argv[2]).open()
except LinkError as error:
    print(error)
"""
    ours, theirs = os.openpty()
    try:
        name = os.ttyname(theirs)
        Path(name).chmod(0o000)
        done = subprocess.run(
            [sys.executable, "-c", script, "/dev/no-such-port", name],
            env={**os.environ, "PYTHONPATH": ":".join(sys.path)},
            capture_output=True,
            text=True,
            check=True,
        )
    finally:
        os.close(ours)
        os.close(theirs)
    assert "no permission" in done.stdout
    assert "dialout" in done.stdout or "group" in done.stdout
    assert done.stdout.count("\n") == 1


def test_a_second_daemon_for_the_same_folder_is_refused_in_one_line(daemon, wait_for):
    first = daemon()
    wait_for(lambda: first.count("routes") > 0)
    second = daemon()
    assert second.process.wait(20) == 2
    assert "already logs into this folder" in second.text()
    assert second.text().count("\n") == 1
    first.stop()


def test_a_rig_file_that_is_wrong_ends_with_its_faults(tmp_path, daemon):
    wrong = tmp_path / "rig.toml"
    wrong.write_text("[rig]\nname = 7\n")
    running = daemon(rig=wrong)
    assert running.process.wait(20) == 2
    assert "rig.toml" in running.text()
    assert "Traceback" not in running.text()


@pytest.mark.slow
def test_a_database_locked_by_another_process_for_ten_seconds_loses_nothing(
    board, daemon, make_scenario, wait_for
):
    scenario = make_scenario(8, 50, 10)
    source = board(scenario, speed=25).start()
    running = daemon("--until-idle", "3")
    wait_for(lambda: running.count("readings") > 20)
    locker = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import sqlite3, sys, time; db = sqlite3.connect(sys.argv[1], isolation_level=None);"
            "db.execute('BEGIN IMMEDIATE'); time.sleep(10)",
            str(running.folder / "flowlog.db"),
        ]
    )
    assert running.process.wait(60) == 0, running.text()
    locker.wait(20)
    with Archive.open(running.folder) as archive:
        (route,) = archive.routes()
        assert len(archive.raw(route.id)) == len(source.board.run.samples)
    assert "writing again: nothing was lost" in running.text()
    assert {"tip_blocked", "rate_low"}.isdisjoint(codes(running.folder))


def test_no_password_is_ever_written_anywhere(tmp_path, rig_file, daemon, wait_for):
    with_broker = tmp_path / "secret.toml"
    with_broker.write_text(
        rig_file.read_text()
        + '\n[broker]\nhost = "127.0.0.1"\nport = 1\nuser = "kim"\npassword = "hunter2secret"\n'
    )
    running = daemon("-v", rig=with_broker)
    wait_for(lambda: "127.0.0.1:1" in running.text())
    running.stop()
    assert "hunter2secret" not in running.text()
    for path in running.folder.rglob("*"):
        if path.is_file():
            assert b"hunter2secret" not in path.read_bytes()

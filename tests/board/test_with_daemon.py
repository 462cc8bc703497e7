"""The whole chain: plant, pins, the firmware that is flashed, a serial line, the real daemon, its
database and a real broker; and back to the lamp and the buzzer.
"""

from __future__ import annotations

import contextlib
import re
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from support.bench_scenes import noise_between_pulses, work
from support.emulated_board import EmulatedBoard, pin
from support.emulated_line import EmulatedLine
from support.plant_on_pins import put_on_pins

from flowlog.simulator.plan import Fault
from flowlog.simulator.scenario import find_scenario
from flowlog.wire.encode import encode_alarm

HEALTHY = find_scenario("healthy")
SPEED = 25.0
IN_TIME_S = 5.0
"""Within so long after it happened a blocked tip must be said."""


@contextlib.contextmanager
def flowlog_run(rig: Path, folder: Path, port: Path) -> Iterator[subprocess.Popen[bytes]]:
    """`flowlog run` as a process, until the board has said nothing for three seconds."""
    words = ["run", rig, "--data", folder, "--port", port, "--until-idle", "3"]
    with (folder.parent / "log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "flowlog", *map(str, words)],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
        )
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
            process.wait(10)


def rows(folder: Path, query: str) -> list[tuple]:
    try:
        with contextlib.closing(
            sqlite3.connect(f"file:{folder / 'flowlog.db'}?mode=ro", uri=True)
        ) as db:
            return db.execute(query).fetchall()
    except sqlite3.OperationalError:
        return []


def wait_for(reached: Callable[[], object], seconds: float, what: str) -> None:
    end = time.monotonic() + seconds
    while not reached():
        assert time.monotonic() < end, f"waited {seconds} s for {what}"
        time.sleep(0.02)


@pytest.fixture
def line(tmp_path):
    """`line(board, until_s, patient=)`: its time begins when the daemon has opened the port."""
    lines: list[EmulatedLine] = []

    def make(board: EmulatedBoard, until_s: float, *, patient: bool) -> EmulatedLine:
        lines.append(EmulatedLine(board, tmp_path / "board", SPEED, until_s, patient=patient))
        return lines[-1]

    yield make
    for each in lines:
        each.close()


@pytest.mark.broker
@pytest.mark.slow
@pytest.mark.timeout(240)
def test_a_blocked_tip_goes_from_the_pins_to_database_broker_and_buzzer_in_time(
    power_on, line, start_broker, listen, tmp_path
):
    at_s, until_s = 100.0, 135.0
    scenario = work(60.0, Fault("tip blocked", at_s, tip=3), count=2)
    broker = start_broker()
    office = listen(broker)
    rig = tmp_path / "rig.toml"
    rig.write_text(
        HEALTHY.with_name("rig.toml").read_text()
        + f'\n[broker]\nhost = "127.0.0.1"\nport = {broker.port}\n'
    )
    board, folder = power_on(), tmp_path / "data"
    driven = put_on_pins(board, scenario)
    emulated = line(board, until_s, patient=True)
    with flowlog_run(rig, folder, tmp_path / "board") as daemon:
        office.wait(
            lambda: [m for m in office.payloads("alert") if m["code"] == "tip_blocked"], 60.0
        )
        assert daemon.wait(60) == 0
    assert emulated.done
    assert emulated.lost == 0

    ((said_us,),) = rows(
        folder, "SELECT t_us FROM events WHERE code = 'tip_blocked' AND change = 'opened'"
    )
    delay_s = said_us / 1e6 - at_s
    print(f"said {delay_s:.1f} s after the tip was blocked")
    assert 0.0 < delay_s <= IN_TIME_S

    # Every pulse on the pin until the last sample is in the database.
    ((counted,),) = rows(folder, "SELECT sum(pulses) FROM readings")
    assert counted == pytest.approx(np.sum(driven.falls_s < until_s - 0.1), abs=15)

    # Lamp and buzzer: fast, the urgent pattern, on the pins, from the word of the daemon on.
    assert encode_alarm(2, 2) in bytes(emulated.heard)
    for output in ("LAMP", "BUZZER"):
        on = [at for at, level in board.heard.pin(pin(output)) if level]
        assert at_s < on[0] < at_s + 20.0
        assert 1.0 / np.diff(on[:20]).mean() == pytest.approx(4.0, rel=0.1)


@pytest.mark.slow
@pytest.mark.timeout(240)
def test_the_daemon_says_what_happened_to_a_board_in_trouble_and_every_pulse_is_counted(
    power_on, line, tmp_path
):
    until_s = 310.0
    scenario = work(until_s - 15.0)
    stuck_s, noisy_s = (50.0, 65.0), (80.0, 90.0)
    brown_out_s, jam_s = 110.0025, 140.0
    board, folder = power_on(), tmp_path / "data"
    driven = put_on_pins(board, scenario, stuck_s=stuck_s)
    assert noise_between_pulses(board, driven, *noisy_s) > 1000
    board.reset("brownout", brown_out_s, held_s=0.2)
    board.jam(jam_s)
    emulated = line(board, until_s, patient=False)
    with flowlog_run(HEALTHY.with_name("rig.toml"), folder, tmp_path / "board") as daemon:
        for begin_s, seconds in ((170.0, 10.0), (190.0, 60.0)):
            # The computer is busy with something else.
            wait_for(lambda at=begin_s: emulated.now_s >= at, 60, f"{begin_s} s")
            lost = emulated.lost
            daemon.send_signal(signal.SIGSTOP)
            wait_for(lambda at=begin_s + seconds: emulated.now_s >= at, 60, "its time")
            daemon.send_signal(signal.SIGCONT)
            # Ten seconds fit into what the line holds, a minute does not.
            assert (emulated.lost > lost) == (seconds > 10.0)
        wait_for(lambda: emulated.now_s >= 270.0, 60, "270 s")
        emulated.say(bytes(np.random.default_rng(1).integers(0, 256, 4000, dtype=np.uint8)))
        assert daemon.wait(60) == 0
    assert emulated.done

    log = (tmp_path / "log").read_text()
    told = rows(folder, "SELECT code, change, text FROM events ORDER BY rowid")
    resets = [text for code, _, text in told if code == "board_reset"]
    assert len(resets) == 2, told
    assert "brownout" in resets[0]
    assert "watchdog" in resets[1]
    assert [(code, change) for code, change, _ in told if code == "meter_silent"] == [
        ("meter_silent", "opened"),
        ("meter_silent", "cleared"),
    ]
    opened = {code for code, change, _ in told if change == "opened"}
    assert not opened & {"tip_blocked", "boom_leak", "meter_implausible", "meter_double"}, told
    for cause in ("brownout", "watchdog"):
        assert re.search(rf"board-1 says hello: .* started by {cause}", log)

    # Every pulse but those of the two outages is in the readings, whatever else there was.
    (restarted_s,) = board.heard.watchdog_s
    down = (driven.falls_s > brown_out_s - 0.11) & (driven.falls_s < brown_out_s + 0.21)
    down |= (driven.falls_s > jam_s - 0.11) & (driven.falls_s < restarted_s + 0.01)
    ((counted,),) = rows(folder, "SELECT sum(pulses) FROM readings")
    truly = len(driven.falls_s)
    assert truly - np.count_nonzero(down) <= counted <= truly

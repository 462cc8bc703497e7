"""A simulated board on a pseudo-terminal, and the real daemon as a process of its own."""

from __future__ import annotations

import contextlib
import dataclasses
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from flowlog.link.terminal import Terminal
from flowlog.rig.reader import read_rig
from flowlog.simulator.live import LiveBoard
from flowlog.simulator.plan import Fault, Scenario, passes
from flowlog.simulator.run import simulate
from flowlog.simulator.scenario import find_scenario, read_scenario
from flowlog.wire.records import Alarm, HelloRequest

SPEED = 40.0


def wait_for(what: Callable[[], object], seconds: float = 20.0, pause: float = 0.02) -> object:
    """Wait until `what` gives something true, and give it back; fail if it never does."""
    end = time.monotonic() + seconds
    while True:
        found = what()
        if found:
            return found
        if time.monotonic() > end:
            pytest.fail(f"waited {seconds} s for {what}")
        time.sleep(pause)


class PacedBoard:
    """A scenario's board behind a pseudo-terminal, `speed` times as fast as real time."""

    def __init__(self, scenario: Scenario, link: Path, speed: float = SPEED) -> None:
        self.board = LiveBoard(scenario)
        self.link = link
        self.speed = speed
        self.heard: list[Alarm | HelloRequest] = []
        self.terminal: Terminal | None = Terminal(link)
        self._lock = threading.Lock()
        self._hold = threading.Event()
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> PacedBoard:
        """Run; the board's time begins when somebody listens and has asked for its hello."""
        self._thread.start()
        return self

    def _run(self) -> None:
        board_s, last = 0.0, time.monotonic()
        while not self._end.is_set():
            time.sleep(0.01)
            now = time.monotonic()
            if self.heard and not self._hold.is_set():
                board_s += (now - last) * self.speed
            last = now
            data = b"" if self._hold.is_set() else self.board.due(board_s)
            with self._lock:
                if self.terminal is not None:
                    self.heard += self.board.hear(self.terminal.read())
                    self.terminal.write(data)

    @property
    def done(self) -> bool:
        return self.board.done

    def hold(self) -> None:
        """Stop the board's time."""
        self._hold.set()

    def go_on(self) -> None:
        self._hold.clear()

    def unplug(self) -> None:
        """The device goes away, and its name with it; the board has power and runs on."""
        with self._lock:
            if self.terminal is not None:
                self.terminal.close()
            self.terminal = None

    def plug(self) -> None:
        """It comes back: another device, the same by-id name."""
        with self._lock:
            self.terminal = Terminal(self.link)

    def close(self) -> None:
        self._end.set()
        if self._thread.ident is not None:
            self._thread.join(5)
        self.unplug()


class Daemon:
    """`flowlog run` as a process."""

    def __init__(self, rig: Path, folder: Path, port: Path | str, *options: str, **environ: str):
        self.folder = folder
        self.log = folder.parent / f"log-{time.monotonic_ns()}"
        with self.log.open("wb") as out:
            self.process = subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    "flowlog",
                    "run",
                    str(rig),
                    "--data",
                    str(folder),
                    "--port",
                    str(port),
                    *options,
                ],
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                env={**os.environ, "PYTHONFAULTHANDLER": "1", **environ},
            )

    def text(self) -> str:
        return self.log.read_text(encoding="utf-8")

    def kill(self) -> None:
        self.process.kill()
        self.process.wait(10)

    def stop(self) -> float:
        """SIGTERM; the seconds until it had ended, with exit code 0."""
        began = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        assert self.process.wait(10) == 0, self.text()
        return time.monotonic() - began

    def rows(self, query: str) -> list[tuple]:
        """Ask its database; empty while there is none yet."""
        path = self.folder / "flowlog.db"
        try:
            with contextlib.closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
                return db.execute(query).fetchall()
        except sqlite3.OperationalError:
            return []

    def count(self, table: str) -> int:
        found = self.rows(f"SELECT count(*) FROM {table}")
        return found[0][0] if found else 0


@pytest.fixture
def rig_file() -> Path:
    return find_scenario("healthy").with_name("rig.toml")


@pytest.fixture
def rig(rig_file):
    return read_rig(rig_file)


@pytest.fixture
def make_scenario():
    """`make_scenario(passes, spray_s, pause_s, *faults)`: the shipped healthy rig at work.

    Its flow sensor is exact unless `exact_meter=False`, so that the volume in the store can be
    held against the plant's: what differs is then the daemon's doing.
    """

    def make(
        count: int, spray_s: float, pause_s: float, *faults: Fault, exact_meter: bool = True
    ) -> Scenario:
        healthy = read_scenario(find_scenario("healthy"))
        exact = {"count_share": 0.0, "vane_share": 0.0, "swirl_share": 0.0} if exact_meter else {}
        return dataclasses.replace(
            healthy,
            legs=passes(count, spray_s, pause_s, "Stop"),
            faults=tuple(faults),
            noise=dataclasses.replace(healthy.noise, **exact),
        )

    return make


@pytest.fixture
def board(tmp_path):
    boards: list[PacedBoard] = []

    def make(scenario: Scenario, speed: float = SPEED) -> PacedBoard:
        boards.append(PacedBoard(scenario, tmp_path / "board", speed))
        return boards[-1]

    yield make
    for each in boards:
        each.close()


@pytest.fixture
def daemon(tmp_path, rig_file):
    daemons: list[Daemon] = []

    def make(*options: str, port: Path | str | None = None, rig: Path | None = None, **environ):
        daemons.append(
            Daemon(
                rig or rig_file,
                tmp_path / "data",
                port if port is not None else tmp_path / "board",
                *options,
                **environ,
            )
        )
        return daemons[-1]

    yield make
    for each in daemons:
        if each.process.poll() is None:
            each.kill()


def true_pulses(scenario: Scenario) -> int:
    """Pulses from the first to the last sample that the board sends in all its boots."""
    run = simulate(scenario)
    table = run.samples.table
    resets = np.flatnonzero(np.diff(table[:, 0]) != 0) + 1
    return sum(
        int(part[-1, 3]) - (int(part[0, 3]) if number == 0 else 0)
        for number, part in enumerate(np.split(table, resets))
    )


@pytest.fixture(name="true_pulses")
def _true_pulses():
    return true_pulses


@pytest.fixture(name="wait_for")
def _wait_for():
    return wait_for

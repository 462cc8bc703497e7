"""A simulated rig with everything that runs on it, each part a process of its own.

simulated board -> pseudo-terminal -> flowlog run -> store -> flowlog serve. Each part can be
stopped, paused and started again, as happens on a machine; all are ended by their own pids.
"""

from __future__ import annotations

import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import tomlkit

from flowlog.simulator.scenario import find_scenario

ROUTE = """
[scenario]
rig = "rig.toml"
seed = 20

[pump]
family = "roller"

[tank]
start = "{tank} gal"

[[stop]]
name = "Mill Lane 4"
passes = 5
spray = "50 s"
pause = "8 s"

[[stop]]
name = "Mill Lane 9"
travel = "75 s"
passes = 40
spray = "90 s"
pause = "6 s"

[[fault]]
kind = "tip blocked"
tip = 3
at = "{clog} s"
over = "1 s"
until = "{clean} s"
"""
"""A short first stop, in which the healthy boom is learnt; then a long one. Invented."""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_until(reached: Callable[[], Any], seconds: float, what: str) -> Any:
    end = time.monotonic() + seconds
    while not (value := reached()):
        if time.monotonic() > end:
            raise AssertionError(f"waited {seconds} s for {what}")
        time.sleep(0.05)
    return value


class LiveRig:
    """One rig in one folder.

    Args:
        folder: an empty folder.
        clog_s, clean_s: when the tip clogs and is clean again, seconds of the scenario.
        tank_gal: large, so that it does not run low in the middle of a test.
    """

    def __init__(
        self, folder: Path, clog_s: float = 380, clean_s: float = 3000, tank_gal: int = 200
    ) -> None:
        self.folder = folder
        self.data = folder / "data"
        self.rig_file = folder / "rig.toml"
        self.web_port = free_port()
        self._port = folder / "board"
        self._processes: dict[str, subprocess.Popen[bytes]] = {}
        rig = tomlkit.parse(find_scenario("morning").with_name("rig.toml").read_text("utf-8"))
        rig["board"]["port"] = str(self._port)
        rig["rig"]["data_folder"] = str(self.data)
        rig["tank"]["volume"] = f"{tank_gal} gal"
        self.rig_file.write_text(tomlkit.dumps(rig), encoding="utf-8")
        self._scenario = folder / "route.toml"
        self._scenario.write_text(
            ROUTE.format(clog=clog_s, clean=clean_s, tank=tank_gal), encoding="utf-8"
        )

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.web_port}"

    def _flowlog(self, name: str, *words: str | float | Path) -> None:
        with (self.folder / f"{name}.log").open("ab") as log:
            self._processes[name] = subprocess.Popen(
                [sys.executable, "-m", "flowlog", *map(str, words)],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )

    def start_board(self, pace: float) -> None:
        self._flowlog(
            "board", "simulate", self._scenario, "--to", "pty", "--link", self._port,
            "--pace", pace, "--wait", "--hold", "--truth", self.folder / "truth.json",
        )  # fmt: skip
        wait_until(self._port.exists, 20, "the simulated board's port")

    def start_daemon(self) -> None:
        self._flowlog("daemon", "run", self.rig_file)

    def start_server(self, host: str = "127.0.0.1") -> None:
        """On 0.0.0.0 it asks for a code, which `code` gives."""
        self._flowlog("server", "serve", self.rig_file, "--listen", f"{host}:{self.web_port}")
        wait_until(self._answers, 30, "flowlog serve to answer")

    def _answers(self) -> bool:
        if self._processes["server"].poll() is not None:
            raise AssertionError(self.log("server"))
        try:
            with socket.create_connection(("127.0.0.1", self.web_port), 1):
                return True
        except OSError:
            return False

    def start(self, pace: float = 25) -> None:
        self.start_board(pace)
        self.start_daemon()
        wait_until(lambda: self.count("readings") > 0, 30, "the first reading in the store")
        self.start_server()

    def code(self) -> str:
        """The access code as `flowlog serve` prints it."""
        found = wait_until(
            lambda: re.search(r"Access code: +(\S.*\S)", self.log("server")), 10, "the access code"
        )
        return str(found[1])

    def log(self, name: str) -> str:
        return (self.folder / f"{name}.log").read_text("utf-8", errors="replace")

    def signal(self, name: str, number: signal.Signals) -> None:
        self._processes[name].send_signal(number)

    def pause(self, name: str) -> None:
        """The process is there and does nothing: as a cable pulled, or a network gone."""
        self.signal(name, signal.SIGSTOP)

    def go_on(self, name: str) -> None:
        self.signal(name, signal.SIGCONT)

    def stop(self, name: str) -> None:
        """Ask it to end, and wait until it has."""
        self.signal(name, signal.SIGTERM)
        self._processes[name].wait(15)

    def kill(self, name: str) -> None:
        self.signal(name, signal.SIGKILL)
        self._processes[name].wait(10)

    def query(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        """Rows from the store, read-only; none while there is no store yet."""
        try:
            read = sqlite3.connect(f"file:{self.data / 'flowlog.db'}?mode=ro", uri=True)
        except sqlite3.OperationalError:
            return []
        try:
            return read.execute(sql, values).fetchall()
        except sqlite3.OperationalError:
            return []
        finally:
            read.close()

    def count(self, table: str) -> int:
        rows = self.query(f"SELECT count(*) FROM {table}")
        return int(rows[0][0]) if rows else 0

    def end(self) -> None:
        for process in self._processes.values():
            if process.poll() is None:
                process.send_signal(signal.SIGCONT)
                process.terminate()
        for process in self._processes.values():
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

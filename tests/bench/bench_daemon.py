"""What the daemon costs: share of a core, memory, what it writes, and how long a restart takes.

Run `PYTHONPATH=. python tests/bench/bench_daemon.py [seconds] [hours]`. A simulated board speaks
in real time, ten samples a second, through a pseudo-terminal to `flowlog run` in a process of its
own. Then a route of some hours is stored, and the time from a start until the replay of that
route is through is taken.
"""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from flowlog.daemon.clock import SystemClock
from flowlog.daemon.session import Session
from flowlog.daemon.watch import new_route
from flowlog.link.terminal import Terminal
from flowlog.rig.reader import read_rig
from flowlog.simulator.live import LiveBoard
from flowlog.simulator.plan import passes, varied_passes
from flowlog.simulator.run import simulate
from flowlog.simulator.scenario import find_scenario, read_scenario
from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, StreamMark
from flowlog.wire.samples import Samples

CPU_AIM = 0.02
RSS_AIM_MB = 80


def cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def status(pid: int, key: str) -> float:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith(key + ":"):
            return float(line.split()[1]) / 1024
    return float("nan")


def written(pid: int) -> int:
    for line in Path(f"/proc/{pid}/io").read_text().splitlines():
        if line.startswith("write_bytes:"):
            return int(line.split()[1])
    return 0


def speak(board: LiveBoard, terminal: Terminal, end: threading.Event) -> None:
    began = time.monotonic()
    while not end.wait(0.02):
        board.hear(terminal.read())
        terminal.write(board.due(time.monotonic() - began))


def steady(folder: Path, seconds: float, commit_every_s: float) -> None:
    scenario_file = find_scenario("healthy")
    scenario = dataclasses.replace(
        read_scenario(scenario_file), legs=passes(int(seconds / 30) + 2, 25, 5)
    )
    board, end = LiveBoard(scenario), threading.Event()
    terminal = Terminal(folder / "board")
    threading.Thread(target=speak, args=(board, terminal, end), daemon=True).start()
    began = time.monotonic()
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "flowlog", "run"),
            str(scenario_file.with_name("rig.toml")),
            *("--data", str(folder / "data"), "--port", str(folder / "board")),
            *("--commit-every", str(commit_every_s)),
        ],
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    try:
        while not (folder / "data" / "flowlog.db").exists():
            time.sleep(0.02)
        ready_s = time.monotonic() - began
        time.sleep(5.0)
        cpu, wrote, at = cpu_s(process.pid), written(process.pid), time.monotonic()
        time.sleep(seconds)
        span = time.monotonic() - at
        share = (cpu_s(process.pid) - cpu) / span
        rss = status(process.pid, "VmRSS")
        kb_s = (written(process.pid) - wrote) / span / 1000
        threads = len(list(Path(f"/proc/{process.pid}/task").iterdir()))
    finally:
        process.terminate()
        process.wait(10)
        end.set()
        time.sleep(0.1)
        terminal.close()
    print(f"committing every {commit_every_s:g} s:")
    print(f"from start to the open store {ready_s:.2f} s")
    print(f"share of a core {share:.2%} over {span:.0f} s (aim below {CPU_AIM:.0%})")
    print(f"memory {rss:.1f} MB in {threads} threads (aim below {RSS_AIM_MB} MB)")
    print(f"written {kb_s:.1f} kB/s, {kb_s * 3.6:.0f} MB/h")


def restart(folder: Path, hours: float) -> None:
    scenario_file = find_scenario("healthy")
    rig_file = scenario_file.with_name("rig.toml")
    rig = read_rig(rig_file)
    scenario = dataclasses.replace(
        read_scenario(scenario_file), legs=varied_passes(hours * 3600, 3), tank_m3=None
    )
    run = simulate(scenario)
    recorder = Recorder.open(folder, rig, rig_file.read_text())
    route = recorder.begin_route(0)
    ordinal, number = 0, 0
    for item in run.items:
        batch = Batch(route.id, first_ordinal=ordinal)
        if isinstance(item, Samples):
            batch.samples = item
            ordinal += len(item)
        else:
            batch.items.append(StreamMark(number, ordinal, item))
            number += 1
        recorder.commit(batch)
    recorder.seal()
    recorder.close()
    began = time.monotonic()
    session = Session(rig, new_route(SystemClock().now()))
    with Archive.open(folder) as archive:
        session.replay((item for _, item in archive.stream(route.id)), set(), None)
    took = time.monotonic() - began
    print(
        f"replay of {hours:g} h ({session.samples} samples) at a restart {took:.1f} s, "
        f"{took / session.samples * 1e6:.1f} us a sample"
    )


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    hours = float(sys.argv[2]) if len(sys.argv) > 2 else 2.0
    for commit_every_s in (1.0, 5.0):
        with tempfile.TemporaryDirectory() as folder:
            steady(Path(folder), seconds, commit_every_s)
    with tempfile.TemporaryDirectory() as folder:
        restart(Path(folder) / "long", hours)


if __name__ == "__main__":
    main()

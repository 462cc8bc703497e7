"""What the pages cost beside the daemon: memory, idle processor, and a season's answers.

Run `PYTHONPATH=.:tests python tests/bench/bench_web.py [readings] [routes]`. A store of 2,000,000
readings in 100 routes is made in a temporary folder, `flowlog serve` runs as a process of its own,
and one client follows the live stream. Figures only; what they must hold to is printed beside.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import httpx2
from support.pages import Server, Stream, wait_for
from support.season_store import RIG, RIG_TEXT, day_of_readings, season

from flowlog.monitor.outputs import Position, Reading
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch

WATCHED_S = 30.0
TIMES = 9
LAST_DAY = 36_000
"""Ten hours; the other days share the rest."""


class Daemon:
    """Writes one reading a second behind those of the open route, as the daemon does."""

    def __init__(self, folder: Path) -> None:
        self._recorder = Recorder.open(folder, RIG, RIG_TEXT)
        self._recorder.begin_run("now", time.time_ns() // 1000, 1)
        route = self._recorder.open_route()
        assert route is not None
        self._route = route
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        columns = day_of_readings(100, 1)
        number = 0
        while not self._end.wait(1.0):
            second = LAST_DAY + number
            at = Position(0, second * 10 + 9, (second + 1) * 1_000_000)
            row = {name: column[number % 60 + 5].item() for name, column in columns.items()}
            values = {k: v for k, v in row.items() if k not in {"segment", "seq", "t_us"}}
            reading = Reading(at=at, **values)
            self._recorder.commit(
                Batch(self._route.id, readings=[(reading, self._route.began_wall_us + at.t_us)])
            )
            number += 1

    def close(self) -> None:
        self._end.set()
        self._thread.join()
        self._recorder.close()


def watched(server: Server, what: str) -> None:
    """Processor and memory over some time with one client."""
    with_client = Stream(server.url)
    wait_for(lambda: with_client.events, 60)
    time.sleep(3)
    began_s, cpu_s = time.monotonic(), server.cpu_s()
    time.sleep(WATCHED_S)
    share = (server.cpu_s() - cpu_s) / (time.monotonic() - began_s)
    kinds = [kind for at, kind, *_ in with_client.events if at > began_s]
    print(
        f"{what}: {100 * share:.2f} % of one core (idle to stay under 1 %), "
        f"{server.memory_mb():.1f} MB (under 90 MB); "
        f"{kinds.count('state')} states and {kinds.count('beat')} beats in {WATCHED_S:.0f} s"
    )
    with_client.close()


def timed(ask: Callable[[], httpx2.Response], what: str, limit: str = "") -> None:
    took, answer = [], None
    for _ in range(TIMES):
        began = time.perf_counter()
        answer = ask()
        took.append(1000 * (time.perf_counter() - began))
    assert answer is not None
    print(
        f"{what}: first {took[0]:.0f} ms, median {statistics.median(took):.0f} ms, "
        f"longest {max(took):.0f} ms{limit}; {answer.status_code}, {len(answer.content)} bytes"
    )


def main(readings: int = 2_000_000, routes: int = 100) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "rig"
        began = time.monotonic()
        season(folder, routes, readings, LAST_DAY)
        size = sum(path.stat().st_size for path in folder.iterdir()) / 1e6
        print(
            f"{readings} readings in {routes} routes: {size:.0f} MB, "
            f"made in {time.monotonic() - began:.0f} s"
        )
        server = Server(folder)
        try:
            server.wait_until_open()
            print(f"started: {server.memory_mb():.1f} MB")
            watched(server, "one client, no daemon (idle)")
            daemon = Daemon(folder)
            try:
                watched(server, "one client, a reading a second, the tenth hour of a day")
            finally:
                daemon.close()
            with httpx2.Client(base_url=server.url, timeout=60) as client:
                under = " (under 300 ms)"
                newest = routes
                for path, limit in (
                    ("/api/routes", under),
                    ("/routes", under),
                    (f"/api/routes/{newest}/chart", under),
                    (f"/routes/{newest}", ""),
                    ("/api/season", ""),
                    ("/season", ""),
                    ("/", ""),
                ):
                    timed(lambda path=path: client.get(path), f"GET {path}", limit)
            print(f"afterwards: {server.memory_mb():.1f} MB (under 90 MB)")
        finally:
            server.close()


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))

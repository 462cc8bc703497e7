"""Helpers for tests of the pages: a client in this process, a server as a process of its own."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, TypeVar

import httpx2
from starlette.testclient import TestClient

from flowlog.simulator.scenario import find_scenario
from flowlog.web.access import Access
from flowlog.web.app import create_app
from flowlog.web.site import Site

RIG_FILE = find_scenario("healthy").with_name("rig.toml")
CODE = "K7QM3XRD"
SECRET = bytes(range(32))
T = TypeVar("T")


def loopback(folder: Path) -> TestClient:
    """Pages that only this machine can reach; use in a `with` block for the live state."""
    client = TestClient(
        create_app(Site(folder)), base_url="http://localhost", raise_server_exceptions=False
    )
    client.follow_redirects = False
    return client


def guarded(folder: Path, address: str = "192.168.4.7") -> TestClient:
    """Pages that the network can reach, asked for from `address` without the code."""
    access = Access(CODE, SECRET, "demo-cart")
    site = Site(folder, access, frozenset({"localhost", "cart", "cart.local"}), any_address=True)
    client = TestClient(
        create_app(site),
        base_url="http://192.168.4.1:8733",
        raise_server_exceptions=False,
        client=(address, 50000),
    )
    client.follow_redirects = False
    return client


def let_in(client: TestClient, code: str = CODE) -> httpx2.Response:
    """Give the code; the client keeps the cookie."""
    return client.post("/code", data={"code": code})


class Server:
    """`flowlog serve` as a process, on a free port.

    Args:
        folder: the rig's data folder.
        options: further options of the command.
    """

    def __init__(self, folder: Path, *options: str, rig_file: Path = RIG_FILE) -> None:
        self.log = folder.parent / f"serve-{time.monotonic_ns()}.log"
        listen = () if "--listen" in options else ("--listen", "127.0.0.1:0")
        with self.log.open("wb") as out:
            self.process = subprocess.Popen(
                [
                    sys.executable,
                    *("-m", "flowlog", "serve", str(rig_file), "--data", str(folder)),
                    *listen,
                    *options,
                ],
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
            )
        self.url = ""

    def text(self) -> str:
        return self.log.read_text(encoding="utf-8")

    def wait_until_open(self, seconds: float = 30.0) -> str:
        """Its address, once it answers."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.process.poll() is not None:
                raise AssertionError(f"ended with {self.process.returncode}: {self.text()}")
            found = re.search(r"http://\S+?:(\d+)/", self.text())
            if found is not None:
                self.url = f"http://127.0.0.1:{found[1]}"
                try:
                    httpx2.get(f"{self.url}/static/x/y", timeout=5)
                except httpx2.TransportError:
                    pass
                else:
                    return self.url
            time.sleep(0.05)
        raise AssertionError(f"not open after {seconds} s: {self.text()}")

    def memory_mb(self) -> float:
        status = Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii")
        found = re.search(r"VmRSS:\s+(\d+) kB", status)
        assert found is not None
        return int(found[1]) / 1024

    def cpu_s(self) -> float:
        """Seconds of processor that it has used."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text(encoding="ascii")
        user, system = fields.rpartition(")")[2].split()[11:13]
        return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")

    def stop(self) -> int:
        """SIGTERM; its exit code."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(10)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(10)


class Stream:
    """One client of the live stream, which keeps all that comes with the time of its arrival."""

    def __init__(self, url: str, **headers: str) -> None:
        self.events: list[tuple[float, str, str, str | None]] = []
        """Monotonic time, kind, data, id."""
        self._client = httpx2.Client(timeout=httpx2.Timeout(5, read=30))
        self._url = f"{url}/api/live/stream"
        self._headers = headers
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            with self._client.stream("GET", self._url, headers=self._headers) as answer:
                for kind, data, number in events_in(answer.iter_lines()):
                    self.events.append((time.monotonic(), kind, data, number))
                    if self._end.is_set():
                        return
        except (httpx2.TransportError, RuntimeError):
            return

    def close(self) -> None:
        self._end.set()
        self._thread.join(5)
        self._client.close()


def in_loop(scene: Coroutine[Any, Any, T]) -> T:
    """Run a coroutine to its end, also where a browser's driver keeps a loop in this thread."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, scene).result()


def events_in(lines: Iterator[str]) -> Iterator[tuple[str, str, str | None]]:
    """Server-sent events as their standard reads them: kind, data, id."""
    kind, data, number = "message", [], None
    for line in lines:
        if not line:
            if data:
                yield kind, "\n".join(data), number
            kind, data, number = "message", [], None
            continue
        name, _, value = line.partition(":")
        value = value.removeprefix(" ")
        if name == "event":
            kind = value
        elif name == "data":
            data.append(value)
        elif name == "id":
            number = value


def wait_for(what: Any, seconds: float = 20.0) -> Any:
    """Wait until `what()` gives something true, and give it back."""
    end = time.monotonic() + seconds
    while not (found := what()):
        if time.monotonic() > end:
            raise AssertionError(f"waited {seconds} s for {what}")
        time.sleep(0.02)
    return found

"""What every source of bytes must do, run over each of them."""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import threading
import time
import tty
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from flowlog.link.port import Port
from flowlog.link.recording import Recording, RecordingWriter
from flowlog.link.source import Source
from flowlog.link.terminal import Terminal

ALL_BYTES = bytes(range(256)) * 8


@dataclass
class Setup:
    """A source and its far end."""

    source: Source
    send: Callable[[bytes], None]
    heard: Callable[[], bytes] | None
    """What the far end has received since the last call; None if it cannot receive."""


@contextlib.contextmanager
def pseudo_terminal(folder: Path, need: Callable[[str], str]) -> Iterator[Setup]:
    with Terminal(folder / "board") as terminal:
        yield Setup(
            Port(terminal.path), lambda data: (terminal.write(data), None)[1], terminal.read
        )


@contextlib.contextmanager
def socat_pair(folder: Path, need: Callable[[str], str]) -> Iterator[Setup]:
    ends = [folder / "a", folder / "b"]
    process = subprocess.Popen([need("socat"), *(f"pty,raw,echo=0,link={end}" for end in ends)])
    try:
        wait_for(lambda: all(end.exists() for end in ends))
        far = os.open(ends[1], os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        tty.setraw(far)

        def heard() -> bytes:
            with contextlib.suppress(BlockingIOError):
                return os.read(far, 4096)
            return b""

        yield Setup(Port(str(ends[0])), lambda data: (os.write(far, data), None)[1], heard)
        os.close(far)
    finally:
        # A signal that comes while it is in a handler of its own may be lost on it.
        process.kill()
        process.wait(10)


@contextlib.contextmanager
def tcp_socket(folder: Path, need: Callable[[str], str]) -> Iterator[Setup]:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = Port(f"socket://127.0.0.1:{server.getsockname()[1]}")
        accepted: list[socket.socket] = []

        def far() -> socket.socket:
            if not accepted:
                connection, _ = server.accept()
                connection.setblocking(False)
                accepted.append(connection)
            return accepted[0]

        def heard() -> bytes:
            with contextlib.suppress(BlockingIOError):
                return far().recv(4096)
            return b""

        yield Setup(port, lambda data: far().sendall(data), heard)
        for connection in accepted:
            connection.close()


@contextlib.contextmanager
def recording(folder: Path, need: Callable[[str], str]) -> Iterator[Setup]:
    path = folder / "a.flog"
    with RecordingWriter(path, {"rig": "test"}) as writer:

        def send(data: bytes) -> None:
            writer.write(data)
            writer.close()

        yield Setup(Recording(path, chunk=100), send, None)


def wait_for(condition: Callable[[], bool], seconds: float = 10.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.005)


def read_until(source: Source, size: int, seconds: float = 10.0) -> bytes:
    data = b""
    end = time.monotonic() + seconds
    while len(data) < size and time.monotonic() < end:
        data += source.read(0.1)
    return data


@pytest.fixture(params=[pseudo_terminal, socat_pair, tcp_socket, recording])
def setup(request: pytest.FixtureRequest, tmp_path: Path, tool: Callable[[str], str]):
    with request.param(tmp_path, tool) as made:
        yield made
        made.source.close()


class TestEverySource:
    def test_follows_the_protocol_of_a_source(self, setup: Setup):
        assert isinstance(setup.source, Source)
        assert setup.source.name

    def test_hands_over_every_byte_value_unchanged_and_in_order(self, setup: Setup):
        if setup.heard is not None:
            setup.source.open()
        setup.send(ALL_BYTES)
        setup.source.open()
        assert read_until(setup.source, len(ALL_BYTES)) == ALL_BYTES

    def test_opening_twice_changes_nothing(self, setup: Setup):
        setup.send(b"") if setup.heard is None else None
        setup.source.open()
        setup.source.open()
        if setup.heard is not None:
            setup.send(b"abc")
            assert read_until(setup.source, 3) == b"abc"

    def test_without_bytes_a_read_gives_nothing(self, setup: Setup):
        setup.send(b"") if setup.heard is None else None
        setup.source.open()
        assert setup.source.read(0.01) == b""
        assert setup.source.ended == (setup.heard is None)

    def test_tells_whether_the_board_could_be_written_to(self, setup: Setup):
        setup.send(b"") if setup.heard is None else None
        setup.source.open()
        assert setup.source.write(b"Q*6E90\n") == (setup.heard is not None)
        if setup.heard is not None:
            data = bytearray()
            wait_for(lambda: data.extend(setup.heard()) or data.endswith(b"\n"))
            assert data == b"Q*6E90\n"

    def test_an_undisturbed_source_has_no_events(self, setup: Setup):
        setup.send(b"") if setup.heard is None else None
        setup.source.open()
        setup.source.read(0.01)
        assert setup.source.take_events() == []

    def test_may_be_closed_twice_and_has_then_ended(self, setup: Setup):
        setup.send(b"") if setup.heard is None else None
        setup.source.open()
        setup.source.close()
        setup.source.close()
        assert setup.source.ended

    def test_closing_from_another_thread_ends_a_read(self, setup: Setup):
        setup.send(b"") if setup.heard is None else None
        setup.source.open()
        reader = threading.Thread(target=setup.source.read, args=(30.0,))
        reader.start()
        setup.source.close()
        reader.join(5.0)
        assert not reader.is_alive()

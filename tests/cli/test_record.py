"""`flowlog record` as a user runs it: a process of its own, against a pseudo-terminal."""

from __future__ import annotations

import contextlib
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from flowlog.link.recording import read_recording
from flowlog.link.terminal import Terminal
from flowlog.wire.commands import CommandDecoder
from flowlog.wire.decode import Decoder
from flowlog.wire.encode import encode_hello, encode_sample
from flowlog.wire.records import Hello, HelloRequest


class Board(threading.Thread):
    """Says hello when asked, and sends numbered samples."""

    def __init__(self, terminal: Terminal, *, hello: bool = True) -> None:
        super().__init__(daemon=True)
        self.terminal = terminal
        self.sent = b""
        self._hello = hello
        self._commands = CommandDecoder()
        self._halt = threading.Event()

    def run(self) -> None:
        seq = 0
        while not self._halt.wait(0.01):
            for command in self._commands.feed(self.terminal.read()):
                if isinstance(command, HelloRequest) and self._hello:
                    self._send(
                        encode_hello(Hello(4, seq, 1, "2.1", "cart", "power", 100, 10, "FP"))
                    )
            t = seq * 100_000
            self._send(encode_sample([4, seq, t, 0, 0, 500, 1, 500, 500, -1, -1, -1]))
            seq += 1

    def _send(self, line: bytes) -> None:
        self.terminal.write(line)
        self.sent += line

    def stop(self) -> None:
        self._halt.set()
        self.join()


@contextlib.contextmanager
def board(path: Path, *, hello: bool = True) -> Iterator[Board]:
    with Terminal(path) as terminal:
        made = Board(terminal, hello=hello)
        made.start()
        try:
            yield made
        finally:
            made.stop()


def start(*args: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "flowlog", "record", *map(str, args)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def run(*args: object) -> tuple[int, str, str]:
    process = start(*args)
    try:
        out, err = process.communicate(timeout=60)
    finally:
        process.kill()
    return process.returncode, out, err


def wait_for(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + 30
    while not condition():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.02)


def test_records_the_bytes_as_sent_with_a_header_from_the_hello(tmp_path: Path):
    port, file = tmp_path / "board", tmp_path / "a.flog"
    with board(port) as sender:
        code, out, err = run(
            port, file, "--seconds", "1", "--rig", "Cart", "--place", "shed", "--notes", "new tips"
        )
    assert code == 0, err
    header, pieces = read_recording(file)
    data = b"".join(pieces)
    started = header.pop("started")
    assert started.endswith("Z")
    assert len(started) == 20
    assert header == {
        "rig": "Cart",
        "place": "shed",
        "notes": "new tips",
        "board": "cart",
        "firmware": "2.1",
    }
    assert len(data) > 1000
    assert data in sender.sent
    decoder = Decoder()
    decoder.feed(data)
    assert f"{decoder.counts.samples} samples, 1 hellos, {decoder.counts.faults} bad lines" in out
    assert "board cart, firmware 2.1, channels FP" in err


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_cleanly(tmp_path: Path, number: signal.Signals):
    port, file = tmp_path / "board", tmp_path / "a.flog"
    with board(port):
        process = start(port, file)
        try:
            wait_for(lambda: file.exists() and file.stat().st_size > 0)
            process.send_signal(number)
            out, err = process.communicate(timeout=30)
        finally:
            process.kill()
    assert process.returncode == 0, err
    assert "samples" in out
    assert "Traceback" not in err
    _, pieces = read_recording(file)
    assert b"S,4," in b"".join(pieces)


def test_a_board_that_does_not_say_hello_is_recorded_all_the_same(tmp_path: Path):
    port, file = tmp_path / "board", tmp_path / "a.flog"
    with board(port, hello=False) as sender:
        code, _, err = run(port, file, "--seconds", "2.5")
    assert code == 0
    assert "has not said hello" in err
    header, pieces = read_recording(file)
    assert set(header) == {"started"}
    data = b"".join(pieces)
    assert data in sender.sent
    assert data.count(b"\n") > 100


def test_an_unplugged_board_is_told_and_recorded_again_when_it_is_back(tmp_path: Path):
    port, file = tmp_path / "board", tmp_path / "a.flog"
    with board(port):
        process = start(port, file)
        wait_for(lambda: file.exists() and file.stat().st_size > 0)
    try:
        before = file.stat().st_size
        time.sleep(0.5)
        with board(port):
            wait_for(lambda: file.stat().st_size > before + 5000)
            process.send_signal(signal.SIGINT)
            _, err = process.communicate(timeout=30)
    finally:
        process.kill()
    assert err.count("the port went away") == 1
    assert err.count("the port is back") == 1


@pytest.mark.parametrize(
    ("port", "file", "says"),
    [
        ("nowhere", "a.flog", "nowhere: no such port; is the board plugged in?"),
        ("notes.txt", "a.flog", "notes.txt: this is not a serial port"),
        ("nowhere", "notes.txt", "notes.txt: exists already and is not overwritten"),
        ("nowhere", "no/a.flog", "there is no folder"),
    ],
)
def test_what_cannot_be_done_is_one_plain_line(tmp_path: Path, port: str, file: str, says: str):
    (tmp_path / "notes.txt").write_text("precious")
    code, out, err = run(tmp_path / port, tmp_path / file)
    assert (code, out) == (2, "")
    assert says in err
    assert len(err.splitlines()) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]
    assert (tmp_path / "notes.txt").read_text() == "precious"

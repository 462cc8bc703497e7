"""The port through plugging, unplugging and all the ways in which it cannot be opened."""

from __future__ import annotations

import errno
import fcntl
import logging
import os
import pty
import threading
import time
from itertools import pairwise
from pathlib import Path

import pytest
import serial

from flowlog.link import port as port_module
from flowlog.link.errors import (
    LinkError,
    PortAbsentError,
    PortBusyError,
    PortPermissionError,
    port_error,
)
from flowlog.link.port import Port
from flowlog.link.terminal import Terminal


def read_until(port: Port, size: int, seconds: float = 15.0) -> bytes:
    data = b""
    end = time.monotonic() + seconds
    while len(data) < size and time.monotonic() < end:
        data += port.read(0.05)
    return data


def changes(port: Port) -> list[str]:
    return [event.change for event in port.take_events()]


def test_an_outage_is_told_once_when_it_begins_and_once_when_it_ends(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
):
    caplog.set_level(logging.INFO, logger="flowlog.link")
    link = tmp_path / "board"
    port = Port(str(link))
    try:
        with Terminal(link) as first:
            port.open()
            first.write(b"one")
            assert read_until(port, 3) == b"one"
        assert read_until(port, 1, seconds=1.5) == b""
        assert not port.connected
        assert not port.write(b"Q\n")
        (lost,) = port.take_events()
        assert lost.change == "lost"
        assert str(link) in lost.text
        with Terminal(link) as second:
            sender = threading.Thread(target=_keep_sending, args=(second, port))
            sender.start()
            assert b"two" in read_until(port, 3)
            (back,) = port.take_events()
            assert back.change == "back"
            assert back.monotonic_s > lost.monotonic_s
            port.close()
            sender.join()
    finally:
        port.close()
    assert len(caplog.records) == 2


def _keep_sending(terminal: Terminal, port: Port) -> None:
    while not port.ended:
        terminal.write(b"two")
        time.sleep(0.02)


def test_a_port_that_is_not_there_yet_is_waited_for(tmp_path: Path):
    link = tmp_path / "board"
    port = Port(str(link))
    try:
        assert port.read(0.3) == b""
        with Terminal(link) as terminal:
            sender = threading.Thread(target=_keep_sending, args=(terminal, port))
            sender.start()
            assert b"two" in read_until(port, 3)
            assert changes(port) == ["lost", "back"]
            port.close()
            sender.join()
    finally:
        port.close()


def test_retries_become_rarer_up_to_a_limit(monkeypatch: pytest.MonkeyPatch):
    now = [0.0]
    tries: list[float] = []
    port = Port("/nowhere/port", monotonic=lambda: now[0])

    def refuse() -> serial.Serial:
        tries.append(now[0])
        raise FileNotFoundError(errno.ENOENT, "no")

    def sleep(seconds: float | None = None) -> bool:
        now[0] += seconds or 0
        return False

    monkeypatch.setattr(port, "_opened", refuse)
    monkeypatch.setattr(port._closed, "wait", sleep)
    while now[0] < 60:
        port.read(1.0)
    gaps = [round(b - a, 6) for a, b in pairwise(tries)]
    assert gaps == sorted(gaps)
    assert 0 < gaps[0] <= 0.2
    assert gaps[-1] == pytest.approx(3.0)
    assert changes(port) == ["lost"]


def test_a_port_that_does_not_exist_says_so_and_asks_for_the_plug(tmp_path: Path):
    with pytest.raises(PortAbsentError, match=r"ttyNone: no such port; is the board plugged in"):
        Port(str(tmp_path / "ttyNone")).open()


def test_a_dangling_link_is_absent_too(tmp_path: Path):
    link = tmp_path / "board"
    link.symlink_to(tmp_path / "gone")
    with pytest.raises(PortAbsentError, match="does not answer: No such file"):
        Port(str(link)).open()


def test_a_port_in_use_says_busy():
    with Terminal() as terminal:
        first, second = Port(terminal.path), Port(terminal.path)
        first.open()
        with pytest.raises(PortBusyError, match="another program uses it"):
            second.open()
        first.close()
        second.open()
        second.close()


def test_no_permission_says_which_group_to_join(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    def denied(*_: object, **__: object) -> int:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(os, "open", denied)
    with pytest.raises(PortPermissionError, match=r"group dialout \(sudo usermod -aG dialout"):
        Port(str(tmp_path / "tty")).open()


def test_a_plain_file_is_no_serial_port(tmp_path: Path):
    path = tmp_path / "notes.txt"
    path.write_text("no port")
    with pytest.raises(LinkError, match="not a serial port"):
        Port(str(path)).open()


def test_a_url_that_nobody_understands_is_no_port():
    with pytest.raises(LinkError, match="nosuch://x: not a port"):
        Port("nosuch://x").open()


def test_a_refused_network_port_does_not_answer():
    with pytest.raises(PortAbsentError, match="does not answer"):
        Port("socket://127.0.0.1:1").open()


def test_every_message_is_one_line(tmp_path: Path):
    for number in (errno.EACCES, errno.EBUSY, errno.ENOENT, errno.EIO, errno.ENOTTY, None):
        fault = OSError(number, "one\ntwo") if number else serial.SerialException("one\ntwo")
        assert "\n" not in str(port_error(str(tmp_path / "p"), fault))
        assert "\n" not in str(port_error("/dev/null", fault))


def test_the_reset_line_is_low_before_the_port_opens(monkeypatch: pytest.MonkeyPatch):
    seen: list[bool] = []

    def opened(self: serial.Serial) -> None:
        seen.append(self.dtr)
        raise OSError(errno.EIO, "enough")

    monkeypatch.setattr(serial.Serial, "open", opened)
    with pytest.raises(LinkError):
        Port("/dev/null").open()
    assert seen == [False]


@pytest.mark.parametrize("fault", port_module._FAULTS)
def test_any_fault_of_the_driver_is_an_outage_and_no_crash(
    fault: type[Exception], monkeypatch: pytest.MonkeyPatch
):
    with Terminal() as terminal:
        port = Port(terminal.path)
        port.open()

        def fail(*_: object) -> bytes:
            raise fault(5, "boom")

        monkeypatch.setattr(serial.Serial, "read", fail)
        assert port.read(0.01) == b""
        assert changes(port) == ["lost"]
        monkeypatch.undo()
        terminal.write(b"")
        end = time.monotonic() + 5
        while not port.connected and time.monotonic() < end:
            port.read(0.05)
        assert changes(port) == ["back"]
        port.close()


def test_a_host_that_cannot_send_is_told_so_and_not_held_up():
    with Terminal() as terminal:
        port = Port(terminal.path)
        port.open()
        assert not port.write(b"x" * 200_000)
        assert port.connected
        port.close()


def test_bytes_of_a_burst_come_in_large_pieces():
    master, slave = pty.openpty()
    with Terminal() as terminal:
        port = Port(terminal.path)
        port.open()
        terminal.write(b"x" * 4000)
        time.sleep(0.1)
        sizes = []
        while sum(sizes) < 4000:
            sizes.append(len(port.read(0.5)))
            assert sizes[-1] > 0
        assert len(sizes) <= 4
        port.close()
    os.close(master)
    os.close(slave)


def test_a_closed_port_lets_go_of_the_lock():
    with Terminal() as terminal:
        port = Port(terminal.path)
        port.open()
        port.close()
        descriptor = os.open(terminal.path, os.O_RDWR | os.O_NOCTTY)
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        os.close(descriptor)

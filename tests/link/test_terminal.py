"""The pseudo-terminal: raw, never waiting, and careful with names."""

from __future__ import annotations

import os
import termios
import time
from pathlib import Path

import pytest

from flowlog.link.errors import LinkError
from flowlog.link.terminal import Terminal


def drain(descriptor: int) -> bytes:
    data = b""
    while True:
        try:
            data += os.read(descriptor, 65_536)
        except BlockingIOError:
            return data


def opened(terminal: Terminal) -> int:
    return os.open(terminal.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)


def test_neither_echoes_nor_translates():
    with Terminal() as terminal:
        host = opened(terminal)
        os.write(host, b"a\r\n\x03\x04\x11\x13")
        time.sleep(0.02)
        assert terminal.read() == b"a\r\n\x03\x04\x11\x13"
        assert drain(host) == b"", "an echo came back"
        terminal.write(b"b\r\n")
        time.sleep(0.02)
        assert drain(host) == b"b\r\n"
        assert not termios.tcgetattr(host)[3] & termios.ECHO
        os.close(host)


def test_without_a_host_it_neither_waits_nor_fails_and_counts_what_is_dropped():
    with Terminal() as terminal:
        line = b"x" * 99 + b"\n"
        dropped = sum(terminal.write(line) for _ in range(1000))
        assert 0 < dropped < 100_000
        assert terminal.dropped == dropped
        assert terminal.read() == b""


def test_lines_are_dropped_whole():
    with Terminal() as terminal:
        host = opened(terminal)
        lines = [b"%07d" % i * 14 + b"\n" for i in range(1000)]
        taken = [line for line in lines if terminal.write(line) == 0]
        got = b""
        for _ in range(50):
            time.sleep(0.002)
            got += drain(host)
            terminal.write(b"")
        assert got.splitlines(keepends=True) == taken
        assert 0 < len(taken) < len(lines)
        os.close(host)


def test_a_host_may_come_and_go():
    with Terminal() as terminal:
        for word in (b"one", b"two"):
            host = opened(terminal)
            terminal.write(word)
            time.sleep(0.02)
            assert drain(host) == word
            os.close(host)


def test_the_link_is_there_while_open_and_gone_afterwards(tmp_path: Path):
    link = tmp_path / "board"
    terminal = Terminal(link)
    assert terminal.path == str(link)
    assert link.exists()
    terminal.close()
    terminal.close()
    assert not os.path.lexists(link)
    assert list(tmp_path.iterdir()) == []


def test_a_link_left_behind_is_replaced(tmp_path: Path):
    link = tmp_path / "board"
    link.symlink_to("/dev/pts/999999")
    with Terminal(link):
        assert link.exists()


def test_a_link_taken_over_by_another_one_is_left_alone(tmp_path: Path):
    link = tmp_path / "board"
    first = Terminal(link)
    with Terminal(link):
        first.close()
        assert link.exists()


def test_a_file_of_that_name_is_never_replaced(tmp_path: Path):
    path = tmp_path / "board"
    path.write_text("precious")
    with pytest.raises(LinkError, match="exists and is not a link"):
        Terminal(path)
    assert path.read_text() == "precious"


def test_a_link_to_something_else_is_never_replaced(tmp_path: Path):
    path = tmp_path / "board"
    path.symlink_to(tmp_path)
    with pytest.raises(LinkError, match="links to something else"):
        Terminal(path)


def test_a_folder_that_is_not_there_is_said(tmp_path: Path):
    with pytest.raises(LinkError, match="cannot be made: No such file"):
        Terminal(tmp_path / "no" / "board")

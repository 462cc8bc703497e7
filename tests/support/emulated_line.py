"""An emulated board behind a pseudo-terminal, faster than real time, for the real daemon."""

from __future__ import annotations

import fcntl
import os
import struct
import termios
import threading
import time
from pathlib import Path

from support.emulated_board import EmulatedBoard

from flowlog.link.terminal import Terminal

AT_ONCE_S = 0.5
"""Board time between two looks at the line."""
ENOUGH = 2000
"""Unread bytes from which on a patient board's time stands still; the line holds far more."""


class EmulatedLine:
    """Runs a board's time `speed` times as fast as the clock, from the first byte of a host on.

    Like any board it does not wait for the host: what the line does not take is lost. With
    `patient` its time stands still instead, so that a slow machine changes nothing.
    """

    def __init__(
        self, board: EmulatedBoard, link: Path, speed: float, until_s: float, *, patient: bool
    ) -> None:
        self.board = board
        self.terminal = Terminal(link)
        self._patient = patient
        self._ear = os.open(self.terminal.path, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        self.until_s = until_s
        self.heard = bytearray()
        """From the host."""
        self.lost = 0
        """Bytes that the line did not take."""
        self._speed = speed
        self._lock = threading.Lock()
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    @property
    def now_s(self) -> float:
        return self.board.now_s

    @property
    def done(self) -> bool:
        return self.board.now_s >= self.until_s

    def say(self, data: bytes) -> None:
        """Bytes that reach the board from the host's side, whoever made them."""
        with self._lock:
            self.board.send(data, self.board.now_s)

    def close(self) -> None:
        self._end.set()
        self._thread.join(10)
        os.close(self._ear)
        self.terminal.close()

    def _unread(self) -> int:
        """Bytes that the host has not taken yet."""
        answer = fcntl.ioctl(self._ear, termios.FIONREAD, bytes(4))
        return int(struct.unpack("i", answer)[0])

    def _run(self) -> None:
        due_s, last = 0.0, time.monotonic()
        while not self._end.wait(0.01) and not self.done:
            now = time.monotonic()
            if self.heard and not (self._patient and self._unread() > ENOUGH):
                # Where the emulator can't keep up, time goes slower; it is never caught up with.
                due_s = min(due_s + (now - last) * self._speed, self.now_s + AT_ONCE_S)
            last = now
            with self._lock:
                commands = self.terminal.read()
                self.heard += commands
                self.board.send(commands, self.board.now_s)
                if self.heard:
                    data = self.board.run_to(min(max(due_s, self.now_s), self.until_s))
                    self.lost += self.terminal.write(data)

"""The serial port: opened gently, read in chunks, and opened again whenever it went away."""

from __future__ import annotations

import logging
import termios
import threading
import time
from collections.abc import Callable
from typing import Final

import serial

from flowlog.link.errors import LinkError, port_error
from flowlog.link.source import LinkEvent

_log: Final = logging.getLogger(__name__)
_log.addHandler(logging.NullHandler())  # a command that sets up no log says it itself

# Flushing or asking a dead terminal raises termios.error, which is not an OSError; pyserial's own
# errors are OSErrors, but it also raises ValueError (bad URL) and TypeError (closed in a read).
_FAULTS: Final = (OSError, termios.error, serial.SerialException, ValueError, TypeError)

_SLICE_S: Final = 0.05  # longest sleep in one read of the driver
_FIRST_WAIT_S: Final = 0.1
_LONGEST_WAIT_S: Final = 3.0
_WRITE_TIMEOUT_S: Final = 0.5


class Port:
    """A serial port as a `Source`; also anything that pyserial opens by URL.

    Args:
        port: Device path (`/dev/serial/by-id/...` survives a replug) or a URL as `socket://`,
            `rfc2217://`, `loop://`.
        baud: Line speed, 8N1.
        monotonic: Clock for the events.
    """

    def __init__(
        self, port: str, baud: int = 115_200, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._port = port
        self._baud = baud
        self._now = monotonic
        self._handle: serial.Serial | None = None
        self._lock = threading.Lock()  # guards _handle and _events; never held while waiting
        self._events: list[LinkEvent] = []
        self._closed = threading.Event()
        self._out = False  # an outage has been told of
        self._wait_s = _FIRST_WAIT_S
        self._next_try = 0.0

    @property
    def name(self) -> str:
        return self._port

    @property
    def ended(self) -> bool:
        return self._closed.is_set()

    @property
    def connected(self) -> bool:
        """Whether the port is open now."""
        return self._handle is not None

    def open(self) -> None:
        """Open the port now.

        Raises:
            LinkError: absent, no permission, busy, or not a port. `read` goes on trying.
        """
        if self._handle is not None or self._closed.is_set():
            return
        try:
            handle = self._opened()
        except _FAULTS as fault:
            error = port_error(self._port, fault)
            self._lost(str(error))
            raise error from None
        with self._lock:
            self._handle = handle
        if self._closed.is_set():  # closed by another thread meanwhile
            self._drop_handle()
            return
        self._wait_s = _FIRST_WAIT_S
        if self._out:
            self._out = False
            self._tell("back", f"{self._port}: the port is back")

    def read(self, timeout_s: float = 0.25) -> bytes:
        """The bytes that are there; while the port is away, waits for it instead."""
        end = self._now() + timeout_s
        while not self._closed.is_set():
            data = self._read_once() if self._handle is not None else self._try_again(end)
            if data or self._now() >= end:
                return data
        return b""

    def write(self, data: bytes) -> bool:
        """Send to the board; False if the port is away or does not take it."""
        handle = self._handle
        if handle is None:
            return False
        try:
            handle.write(data)
        except serial.SerialTimeoutException:
            return False
        except _FAULTS:
            return False  # the reader meets the same fault and tells of it
        return True

    def take_events(self) -> list[LinkEvent]:
        with self._lock:
            events, self._events = self._events, []
        return events

    def close(self) -> None:
        self._closed.set()
        self._drop_handle()

    def _opened(self) -> serial.Serial:
        handle = serial.serial_for_url(
            self._port,
            do_not_open=True,
            baudrate=self._baud,
            timeout=_SLICE_S,
            write_timeout=_WRITE_TIMEOUT_S,
            exclusive=True,
        )
        # Many boards restart when this line is raised on opening. A board may restart
        # nevertheless; its hello and its boot count tell.
        handle.dtr = False
        handle.open()
        return handle

    def _read_once(self) -> bytes:
        handle = self._handle
        if handle is None:
            return b""
        try:
            # Sleep in the driver for the first byte, then take all that is there: never a call
            # a byte, as readline would.
            data: bytes = handle.read(handle.in_waiting or 1)
            if data:
                waiting = handle.in_waiting
                if waiting:
                    data += handle.read(waiting)
        except _FAULTS as fault:
            if not self._closed.is_set():
                self._drop_handle()
                self._next_try = self._now() + _FIRST_WAIT_S
                reason = str(fault).splitlines()[0] if str(fault) else type(fault).__name__
                self._lost(f"{self._port}: the port went away ({reason}); check plug and cable")
            return b""
        except (AttributeError, TypeError):
            # The library's own handle vanishes under a read that another thread's close() ends.
            if not self._closed.is_set():
                raise
            return b""
        return data

    def _try_again(self, end: float) -> bytes:
        pause = min(self._next_try, end) - self._now()
        if pause > 0:
            self._closed.wait(pause)
        if self._now() >= self._next_try:
            try:
                self.open()
            except LinkError:
                self._next_try = self._now() + self._wait_s
                self._wait_s = min(2 * self._wait_s, _LONGEST_WAIT_S)
        return b""

    def _drop_handle(self) -> None:
        with self._lock:
            handle, self._handle = self._handle, None
        if handle is not None:
            try:
                handle.close()
            except _FAULTS as fault:
                _log.debug("%s: closing a dead port: %s", self._port, fault)

    def _lost(self, text: str) -> None:
        if not self._out:
            self._out = True
            self._tell("lost", text)

    def _tell(self, change: str, text: str) -> None:
        """One event and one log line an outage and a return, not one a retry."""
        level = logging.WARNING if change == "lost" else logging.INFO
        _log.log(level, "%s", text)
        event = LinkEvent("lost" if change == "lost" else "back", self._now(), text)
        with self._lock:
            self._events.append(event)

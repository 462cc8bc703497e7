"""The thread that owns the board's port: open, read, and open again when it is gone."""

from __future__ import annotations

import logging
import queue
import termios
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Protocol

from flowlog.daemon.clock import Clock, Stamp
from flowlog.daemon.health import Facts
from flowlog.daemon.watch import Chunk
from flowlog.errors import FlowlogError

log = logging.getLogger(__name__)

FIRST_PAUSE_S: Final = 0.5
LONGEST_PAUSE_S: Final = 5.0
ROOM: Final = 2000
"""Chunks that may wait for the pipeline: minutes. When it is full the port waits too."""


class Source(Protocol):
    """An open port. Any method raises OSError or FlowlogError when it is gone."""

    def read(self) -> bytes:
        """What came, after a short wait at most; empty when nothing did."""
        ...

    def write(self, data: bytes) -> None: ...
    def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class Opening:
    """The port was opened; bytes that follow begin anew."""

    stamp: Stamp


GONE: Final = (OSError, FlowlogError, termios.error)
"""What a port raises when its device is pulled out; termios.error is no OSError."""


class PortReader:
    """Keeps the port open and puts what comes into a queue, stamped at its arrival."""

    def __init__(
        self,
        open_source: Callable[[], Source],
        facts: Facts,
        clock: Clock,
        tick: Callable[[], None],
    ) -> None:
        self._open_source = open_source
        self._facts = facts
        self._clock = clock
        self._tick = tick
        self._queue: queue.Queue[Chunk | Opening] = queue.Queue(ROOM)
        self._stopping = threading.Event()
        self._source: Source | None = None
        self._writing = threading.Lock()
        self._thread = threading.Thread(target=self._run, name="reader", daemon=True)
        self._outage = False

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Close the port. What has arrived stays in the queue."""
        self._stopping.set()
        if self._thread.ident is not None:
            self._thread.join(1.0)

    def get(self, wait_s: float) -> Chunk | Opening | None:
        """The next of what came, or None."""
        try:
            return self._queue.get(timeout=wait_s) if wait_s else self._queue.get_nowait()
        except queue.Empty:
            return None

    def send(self, data: bytes) -> bool:
        """Send to the board; False when the port is not there."""
        with self._writing:
            if self._source is None:
                return False
            try:
                self._source.write(data)
            except GONE as error:
                log.debug("cannot send to the board: %s", error)
                return False
            return True

    def _run(self) -> None:
        pause_s = FIRST_PAUSE_S
        while not self._stopping.is_set():
            self._tick()
            try:
                source = self._open_source()
            except GONE as error:
                self._lost(_why(error))
                # Waits on the flag, so that a stop is not held up.
                self._stopping.wait(pause_s)
                pause_s = min(LONGEST_PAUSE_S, pause_s * 1.5)
                continue
            got_bytes = self._read_until_gone(source)
            pause_s = FIRST_PAUSE_S if got_bytes else min(LONGEST_PAUSE_S, pause_s * 1.5)
            if not self._stopping.is_set():
                self._stopping.wait(pause_s)

    def _read_until_gone(self, source: Source) -> bool:
        now = self._clock.now()
        with self._writing:
            self._source = source
        self._facts.port_us, self._facts.port_open = now.monotonic_us, True
        self._facts.port_fault = ""
        self._put(Opening(now))
        if self._outage:
            log.info("port %s is open", self._facts.port)
            self._outage = False
        got_bytes = False
        try:
            while not self._stopping.is_set():
                data = source.read()
                self._tick()
                if data:
                    got_bytes = True
                    stamp = self._clock.now()
                    self._facts.bytes_us = stamp.monotonic_us
                    self._put(Chunk(data, stamp))
        except GONE as error:
            self._lost(_why(error))
        finally:
            with self._writing:
                self._source = None
            self._facts.port_open = False
            try:
                source.close()
            except GONE as error:
                log.debug("while closing the port: %s", error)
        return got_bytes

    def _put(self, found: Chunk | Opening) -> None:
        while True:
            try:
                self._queue.put(found, timeout=0.5)
            except queue.Full:
                # The pipeline does not keep up; the kernel holds what comes meanwhile, and the
                # counts are cumulative. The reader itself is well.
                self._tick()
                if self._stopping.is_set():
                    return
            else:
                return

    def _lost(self, why: str) -> None:
        self._facts.port_fault = why
        if not self._outage:
            self._outage = True
            log.warning("port %s: %s; waiting for it", self._facts.port, why)


def _why(error: BaseException) -> str:
    if isinstance(error, FlowlogError):
        return str(error)
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return str(error) or type(error).__name__

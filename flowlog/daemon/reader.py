"""The thread that owns the board's port: reads, stamps, and notes when the port is gone."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from flowlog.daemon.clock import Clock, Stamp
from flowlog.daemon.health import Facts
from flowlog.daemon.watch import Chunk
from flowlog.link.errors import LinkError
from flowlog.link.source import Source

ROOM: Final = 2000
"""Chunks that may wait for the pipeline: minutes. When it is full the port waits too."""
READ_S: Final = 0.25
_AFTER_END_S: Final = 0.25


@dataclass(frozen=True, slots=True)
class Opening:
    """The port was opened; bytes that follow begin anew."""

    stamp: Stamp


class PortReader:
    """Puts what comes from the port into a queue, stamped at its arrival.

    The source itself opens the port again when it went away.
    """

    def __init__(
        self, source: Source, facts: Facts, clock: Clock, tick: Callable[[], None]
    ) -> None:
        self._source = source
        self._facts = facts
        self._clock = clock
        self._tick = tick
        self._queue: queue.Queue[Chunk | Opening] = queue.Queue(ROOM)
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="reader", daemon=True)

    def start(self) -> None:
        self._thread.start()

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    def stop(self) -> None:
        """Close the port. What has arrived stays in the queue."""
        self._stopping.set()
        if self._thread.ident is not None:
            self._thread.join(1.0)
        self._source.close()

    def get(self, wait_s: float) -> Chunk | Opening | None:
        """The next of what came, or None."""
        try:
            return self._queue.get(timeout=wait_s) if wait_s else self._queue.get_nowait()
        except queue.Empty:
            return None

    def send(self, data: bytes) -> bool:
        """Send to the board; False when the port is not there or does not take it."""
        return self._facts.port_open and self._source.write(data)

    def _run(self) -> None:
        try:
            self._source.open()
        except LinkError as error:
            self._facts.port_fault = str(error)
        else:
            self._opened()
        while not self._stopping.is_set():
            data = self._source.read(READ_S)
            self._tick()
            for event in self._source.take_events():
                if event.change == "back":
                    self._opened()
                else:
                    self._facts.port_open, self._facts.port_fault = False, event.text
            if data:
                stamp = self._clock.now()
                self._facts.bytes_us = stamp.monotonic_us
                self._put(Chunk(data, stamp))
            elif self._source.ended:
                self._stopping.wait(_AFTER_END_S)

    def _opened(self) -> None:
        now = self._clock.now()
        self._facts.port_us, self._facts.port_open = now.monotonic_us, True
        self._facts.port_fault = ""
        self._put(Opening(now))

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

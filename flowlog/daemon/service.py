"""Ties it together: reader, pipeline and writer as three loops, from start to clean stop."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Final

from flowlog import __version__
from flowlog.daemon.announce import Announcer
from flowlog.daemon.calibrated import Calibrations
from flowlog.daemon.clock import Clock, SystemClock, quality
from flowlog.daemon.health import Facts
from flowlog.daemon.notify import Notifier
from flowlog.daemon.pending import Route
from flowlog.daemon.reader import Opening, PortReader
from flowlog.daemon.resume import catch_up, resume
from flowlog.daemon.retention import Retention
from flowlog.daemon.watch import Watch
from flowlog.daemon.watchdog import Watchdog
from flowlog.daemon.writer import Store, Writer
from flowlog.link.source import Source
from flowlog.publish.interface import AnyPublisher, NullPublisher
from flowlog.rig.model import Rig
from flowlog.store.rows import OutboxMessage
from flowlog.wire.encode import encode_alarm, encode_hello_request

log = logging.getLogger(__name__)

LOOK_US: Final = 250_000
_ASLEEP_US: Final = 1_000_000
"""The loop goes round ten times as often."""
STORE_OPEN_S: Final = 60.0
SETTLE_S: Final = 0.8
PUBLISHER_STOP_S: Final = 1.0


class DiedError(Exception):
    """A part of the daemon died: a fault of ours, for which the manager starts it again."""


class Service:
    """One daemon for one rig. `run` works until `stop` is called, from any thread or a signal.

    Args:
        source: the board's port; it is closed when `run` returns.
        commit_every_s: a cut of power loses so much at most; longer spares a flash card.
        until_idle_s: end by itself, and end the route too, when no byte came for so long.
        keep_raw_days: delete raw samples of routes that ended longer ago; None keeps all.
        open_store, publisher, clock: tests put their own in place.
    """

    def __init__(
        self,
        rig: Rig,
        rig_text: str,
        folder: Path,
        source: Source,
        *,
        clock: Clock | None = None,
        publisher: AnyPublisher | None = None,
        open_store: Callable[[], Store] | None = None,
        notifier: Notifier | None = None,
        commit_every_s: float = 1.0,
        until_idle_s: float | None = None,
        keep_raw_days: int | None = None,
    ) -> None:
        self._rig = rig
        self._rig_text = rig_text
        self._folder = folder
        self._clock = clock or SystemClock()
        self._notifier = notifier or Notifier()
        self._until_idle_s = until_idle_s
        self._awake_us = self._asked_us = 0
        self._stopping = threading.Event()
        now_us = self._now_us()
        self.facts = Facts(now_us, port=source.name)
        self.facts.store_patience_us = int(max(5.0, 3 * commit_every_s) * 1e6)
        self._publisher = publisher or _publisher_of(rig)
        used = self._publisher.enabled and rig.broker is not None
        self._announcer = Announcer(rig.broker, rig) if used and rig.broker else None
        self.facts.broker_used = used
        self._watchdog = Watchdog(
            ("reader", "pipeline", "writer"), self._notifier.watchdog_s, now_us
        )
        self._reader = PortReader(source, self.facts, self._clock, lambda: self._tick("reader"))
        self._writer = Writer(
            open_store or self._open_store,
            folder,
            self._publisher if used else None,
            self.facts,
            self._clock,
            lambda: self._tick("writer"),
            farewell=self._farewell if used else None,
            commit_every_s=commit_every_s,
            retention=Retention(folder, keep_raw_days, self._clock, self.facts)
            if keep_raw_days is not None
            else None,
        )
        self._watch: Watch | None = None
        self._said = ""

    def stop(self) -> None:
        """End `run` soon. Only sets a flag, so a signal handler may call it."""
        self._stopping.set()

    @property
    def stopping(self) -> bool:
        return self._stopping.is_set()

    def run(self) -> None:
        """Work until stopped.

        Raises:
            StoreBusyError: another daemon has the folder.
            DiedError: a part of this one died.
        """
        self._writer.start()
        end_us = self._now_us() + int(STORE_OPEN_S * 1e6)
        while not self._writer.first_try.wait(0.2):
            # A database that another program has locked may take its time; a stop may not.
            if self.stopping or self._now_us() > end_us:
                break
        if self._writer.fatal is not None:
            raise self._writer.fatal
        try:
            if not self.stopping:
                self._begin()
                self._loop()
        finally:
            self._end()

    def _begin(self) -> None:
        stamp = self._clock.now()
        calibrations = Calibrations(self._rig, self._folder)
        resumed = resume(
            self._writer.opened,
            self._folder,
            self._rig_text,
            stamp,
            self._rig.slug,
            self._writer.put,
            calibrations,
        )
        self._watch = Watch(
            self._rig,
            self._folder,
            self._clock,
            self.facts,
            self._writer.put,
            self._publisher,
            resumed,
            self._announcer,
            calibrations,
        )
        self._publisher.start()
        self._reader.start()
        log.info(
            "flowlog %s watches %s on %s and logs into %s",
            __version__,
            self._rig.name,
            self.facts.port,
            self._folder,
        )
        self._notifier.send("READY=1", "STATUS=Waiting for the board.")

    def _loop(self) -> None:
        watch = self._the_watch()
        looked_us = 0
        while not self._stopping.is_set():
            self._take(watch, wait_s=0.1)
            now_us = self._now_us()
            self._tick("pipeline")
            if now_us - looked_us >= LOOK_US:
                looked_us = now_us
                watch.look()
                self._say_how_it_is(watch, now_us)
                for loop in (self._writer, self._reader):
                    if not loop.alive:
                        raise DiedError("the reader or the writer has died; see the lines before")
            pattern = watch.pattern_due()
            if pattern is not None and self._reader.send(encode_alarm(*pattern)):
                watch.pattern_sent(pattern)
            if self._idle(now_us):
                log.info("nothing came for %g s: ending", self._until_idle_s)
                watch.end_route()
                return

    def _take(self, watch: Watch, wait_s: float) -> bool:
        found = self._reader.get(wait_s)
        if found is None:
            return False
        if isinstance(found, Opening):
            watch.reconnected()
            self._reader.send(encode_hello_request())
        else:
            watch.take(found)
        return True

    def _idle(self, now_us: int) -> bool:
        if self._until_idle_s is None:
            return False
        if now_us - self._asked_us > _ASLEEP_US:
            # The computer slept, or this process was stopped: what came is still to be read.
            self._awake_us = now_us
        self._asked_us = now_us
        since_us = max(self.facts.bytes_us or self.facts.started_us, self._awake_us)
        return now_us - since_us >= self._until_idle_s * 1e6

    def _say_how_it_is(self, watch: Watch, now_us: int) -> None:
        sentence = watch.health.sentence()
        if sentence != self._said:
            self._said = sentence
            self._notifier.send(f"STATUS={sentence}")
        if self._watchdog.ping_due(now_us):
            self._notifier.send("WATCHDOG=1")

    def _end(self) -> None:
        """Drain, commit, say goodbye: within five seconds, whatever is broken."""
        self._notifier.send("STOPPING=1", "STATUS=Writing what is left.")
        self._reader.stop()
        if self._watch is not None:
            while self._take(self._watch, wait_s=0.0):
                pass
        if self._publisher.enabled and not self.facts.store_fault:
            # What the last bytes said should still reach the broker; the outbox keeps it if not.
            self._writer.settle(SETTLE_S)
        stamp = self._clock.now()
        kind = quality(stamp.wall_us, self._clock.synchronised())
        told_us = None if kind == "none" else stamp.wall_us
        self._publisher.stop(PUBLISHER_STOP_S, wall_us=told_us, clock=kind)
        self._writer.stop()

    def _the_watch(self) -> Watch:
        if self._watch is None:
            raise AssertionError("begun before the loop")
        return self._watch

    def _tick(self, loop: str) -> None:
        self._watchdog.tick(loop, self._now_us())

    def _now_us(self) -> int:
        return self._clock.now().monotonic_us

    def _open_store(self) -> Store:
        from flowlog.store.recorder import Recorder

        wall_us = self._clock.now().wall_us
        store = Recorder.open(self._folder, self._rig, self._rig_text, wall_us=wall_us)
        try:
            catch_up(store, self._folder, self._clock)
        except BaseException:
            store.close()
            raise
        return store

    def _farewell(self, route: Route, ended_wall_us: int) -> OutboxMessage | None:
        if self._announcer is None:
            return None
        kind = quality(self._clock.now().wall_us, self._clock.synchronised())
        return self._announcer.route_ended(route, ended_wall_us, kind, self._folder)


def _publisher_of(rig: Rig) -> AnyPublisher:
    if rig.broker is None:
        return NullPublisher()
    from flowlog.publish.publisher import Publisher

    return Publisher(rig.broker, rig.slug)

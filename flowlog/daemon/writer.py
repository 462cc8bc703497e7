"""The thread that owns the store: commits each second, alerts at once, and never gives up.

It is the only one that writes the database. When the store fails, work waits in memory and is
tried again, monitoring goes on, and alerts go to the broker past the store.
"""

from __future__ import annotations

import logging
import queue
import shutil
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

from flowlog.daemon.clock import Clock
from flowlog.daemon.courier import Courier, OutboxStore, Outlet
from flowlog.daemon.health import Facts
from flowlog.daemon.letterbox import remove
from flowlog.daemon.logs import REPEATS
from flowlog.daemon.pending import EndRoute, Pending, Piece, Route, ShiftWall, Work
from flowlog.daemon.retention import Retention
from flowlog.errors import FlowlogError
from flowlog.store.errors import StoreBusyError, StoreError
from flowlog.store.rows import Batch, OutboxMessage, RouteRow, Tally

log = logging.getLogger(__name__)

WAIT_S: Final = 0.25
"""The writer comes round at least so often, so that the watchdog sees it alive."""
LONGEST_BACKOFF_S: Final = 15.0
STOP_S: Final = 2.5
"""After this the writer gives up what it cannot write: a stop takes at most five seconds."""
_HOUSEKEEPING_US: Final = 60_000_000
_FLOOR_US: Final = 5_000_000


class Store(OutboxStore, Protocol):
    """What the writer needs of `flowlog.store.Recorder`; tests put failing ones in its place."""

    def begin_run(self, host_boot: str, wall_us: int, monotonic_us: int) -> int: ...
    def end_run(self, run_id: int, wall_us: int) -> None: ...
    def open_route(self) -> RouteRow | None: ...
    def begin_route(
        self, wall_us: int, uid: str | None = None, calibration_ids: Sequence[int] = ()
    ) -> RouteRow: ...
    def end_route(self, route_id: int, wall_us: int) -> None: ...
    def tally(self, route_id: int) -> Tally: ...
    def commit(self, batch: Batch) -> None: ...
    def shift_wall(self, host_boot: str, step_us: int, at_monotonic_us: int) -> bool: ...
    def prune_raw(self, route_id: int) -> int: ...
    @property
    def space_low(self) -> bool: ...
    def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class Opened:
    """What the store said when it was opened."""

    run_id: int
    open_route: RouteRow | None
    tally: Tally | None


def space_floor_bytes(total_bytes: int) -> int:
    """Free space below which only events are kept: 20 MB, or 2 % of a small disk."""
    return min(20_000_000, total_bytes // 50)


class Writer:
    """See the module. `put` and `stop` may be called from any thread; the rest is the thread's.

    Args:
        open_store: opens the store; called in the writer's thread, again after a failure.
        outlet: takes the outbox's messages; None when the rig has no broker.
        farewell: makes the message that sums up a route, from what is stored of it; called in
            the writer's thread when all of the route is in the store.
        retention: deletes raw samples that were kept long enough.
        tick: called each time the writer comes round.
    """

    def __init__(
        self,
        open_store: Callable[[], Store],
        folder: Path,
        outlet: Outlet | None,
        facts: Facts,
        clock: Clock,
        tick: Callable[[], None],
        farewell: Callable[[Route, int], OutboxMessage | None] | None = None,
        commit_every_s: float = 1.0,
        pending: Pending | None = None,
        first_backoff_s: float = 0.5,
        retention: Retention | None = None,
    ) -> None:
        self._open_store = open_store
        self._folder = folder
        self._facts = facts
        self._clock = clock
        self._tick = tick
        self._farewell = farewell
        self._retention = retention
        self._every_us = int(commit_every_s * 1e6)
        self._inbound: queue.SimpleQueue[Work | threading.Event | None] = queue.SimpleQueue()
        self._pending = Pending() if pending is None else pending
        self._courier = Courier(outlet, facts, self._pending)
        self._store: Store | None = None
        self._run_id = 0
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)
        self.first_try = threading.Event()
        """Set when the store was opened or could not be."""
        self.opened: Opened | None = None
        self.fatal: FlowlogError | None = None
        """Another daemon writes this store: going on would help nobody."""
        self._urgent = False
        self._settling: list[threading.Event] = []
        self._due_us = 0
        self._retry_us = 0
        self._first_backoff_s = first_backoff_s
        self._backoff_s = 0.0
        self._housekeeping_us = 0
        self._floor_us = 0

    def start(self) -> None:
        self._thread.start()

    def put(self, work: Work) -> None:
        """Hand over work; it is committed within the second, alerts at once."""
        self._inbound.put(work)

    def settle(self, timeout_s: float) -> bool:
        """Wait until all that was put before is stored and its messages are with the outlet."""
        done = threading.Event()
        self._inbound.put(done)
        return done.wait(timeout_s)

    def stop(self) -> None:
        """Commit what there is and close the store. Returns when that is done or given up."""
        self._stopping.set()
        self._inbound.put(None)
        self._thread.join(STOP_S + 1.0)

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    # The thread.

    def _run(self) -> None:
        try:
            self._open()
            self.first_try.set()
            while not self._stopping.is_set() and self.fatal is None:
                self._tick()
                self._gather()
                self._work()
            self._finish()
        finally:
            self.first_try.set()

    def _now_us(self) -> int:
        return self._clock.now().monotonic_us

    def _open(self) -> None:
        try:
            store = self._open_store()
        except StoreBusyError as error:
            self.fatal = error
            return
        except StoreError as error:
            self._failed(error)
            return
        now = self._clock.now()
        try:
            run_id = store.begin_run(self._clock.host_boot(), now.wall_us, now.monotonic_us)
            row = store.open_route()
            if row is not None and self.first_try.is_set():
                # The store came back late: meanwhile a new route was begun without it.
                store.end_route(row.id, now.wall_us)
                row = None
            tally = store.tally(row.id) if row else None
        except StoreError as error:
            store.close()
            self._failed(error)
            return
        self._store, self._run_id = store, run_id
        self.opened = Opened(run_id, row, tally)
        self._succeeded()

    def _gather(self) -> None:
        """Wait for work, but not long; then take all there is."""
        wait_s = WAIT_S
        now_us = self._now_us()
        if len(self._pending):
            due_us = max(self._due_us, self._retry_us)
            wait_s = min(WAIT_S, max(0.0, (due_us - now_us) / 1e6))
        try:
            self._add(self._inbound.get(timeout=wait_s) if wait_s else self._inbound.get_nowait())
            while True:
                self._add(self._inbound.get_nowait())
        except queue.Empty:
            return

    def _add(self, work: Work | threading.Event | None) -> None:
        if work is None:
            return
        if isinstance(work, threading.Event):
            self._settling.append(work)
            self._urgent = True
            return
        if isinstance(work, Piece) and self._retry_us:
            self._courier.past_the_store([work])
        if not isinstance(work, Piece) or work.urgent:
            self._urgent = True
        dropped = self._pending.add(work)
        if dropped:
            self._facts.store_dropped = self._pending.dropped
            log.error(
                "the store has failed for so long that %d of the oldest samples in memory were "
                "dropped; alerts are kept",
                dropped,
                extra=REPEATS,
            )
        self._facts.store_held = self._pending.samples if self._retry_us else 0

    def _work(self) -> None:
        now_us = self._now_us()
        self._courier.collect()
        if now_us < self._retry_us:
            return
        if self._store is None:
            self._open()
            if self._store is None:
                return
        # After a failure an alert waits for the next try as everything else does.
        due = now_us >= self._due_us or (self._urgent and not self._retry_us) or self._retry_us
        if not due:
            return
        self._due_us = now_us + self._every_us
        self._urgent = False
        try:
            self._keep_floor(now_us)
            self._commit_all()
            self._courier.feed(self._the_store())
            self._housekeep(now_us)
        except StoreError as error:
            self._failed(error)
            return
        self._succeeded()
        while self._settling:
            self._settling.pop().set()

    def _commit_all(self) -> None:
        store = self._the_store()
        while (work := self._pending.take()) is not None or self._courier.acknowledged:
            self._tick()
            if work is None:
                store.commit(Batch(None, acknowledged=list(self._courier.acknowledged)))
                self._courier.acknowledged.clear()
                return
            self._do(store, work)
            self._pending.done()

    def _do(self, store: Store, work: Work) -> None:
        match work:
            case Piece(route=route):
                if route.id is None:
                    row = store.begin_route(route.began_wall_us, route.uid, route.calibration_ids)
                    route.id, route.name = row.id, row.name
                store.commit(work.batch(self._run_id, self._courier.acknowledged))
                work.committed()
                self._courier.acknowledged.clear()
                for path in work.marks:
                    remove(path)
            case EndRoute(route, wall_us):
                if route.id is None:
                    return
                message = self._say_farewell(route, wall_us)
                if message is not None:
                    # Before the end, so that a cut of power between the two says it twice under
                    # one key instead of never.
                    store.commit(Batch(None, outbox=[message]))
                store.end_route(route.id, wall_us)
            case ShiftWall(step_us, at_us):
                store.shift_wall(self._clock.host_boot(), step_us, at_us)

    def _say_farewell(self, route: Route, wall_us: int) -> OutboxMessage | None:
        if self._farewell is None:
            return None
        try:
            return self._farewell(route, wall_us)
        except StoreError:
            raise
        except Exception:
            # A summary that fails must not keep the route from ending, at each start again.
            log.exception("the route cannot be summed up for the broker")
            return None

    def _the_store(self) -> Store:
        if self._store is None:
            raise AssertionError("the store is open whenever there is a commit")
        return self._store

    # When it fails, and when it is well again.

    def _failed(self, error: StoreError) -> None:
        first = not self._facts.store_fault
        self._facts.store_fault = str(error)
        self._backoff_s = min(LONGEST_BACKOFF_S, max(self._first_backoff_s, self._backoff_s * 2))
        self._retry_us = self._now_us() + int(self._backoff_s * 1e6)
        self._facts.store_held = self._pending.samples
        if first:
            log.error("cannot write: %s; what comes is kept in memory and tried again", error)
            self._courier.past_the_store(self._pending.pieces())
        else:
            log.debug("still cannot write: %s", error)

    def _succeeded(self) -> None:
        if self._facts.store_fault:
            log.warning("writing again: %s", self._loss())
        self._facts.store_fault = ""
        self._facts.store_held = 0
        self._facts.store_us = self._now_us()
        self._retry_us = 0
        self._backoff_s = 0.0

    def _loss(self) -> str:
        dropped = self._pending.dropped
        return f"{dropped} samples were dropped meanwhile" if dropped else "nothing was lost"

    def _keep_floor(self, now_us: int) -> None:
        """Before the disk is full, stop the bulk, so that there is room for events."""
        if now_us - self._floor_us >= _FLOOR_US or not self._floor_us:
            self._floor_us = now_us
            try:
                usage = shutil.disk_usage(self._folder)
            except OSError:
                return
            low = usage.free < space_floor_bytes(usage.total)
            self._facts.disk_low = low or self._the_store().space_low
        if self._facts.disk_low:
            dropped = self._pending.strip()
            self._facts.store_dropped = self._pending.dropped
            if dropped:
                log.error(
                    "the disk is almost full: only events are kept, samples are dropped",
                    extra=REPEATS,
                )

    def _housekeep(self, now_us: int) -> None:
        if now_us - self._housekeeping_us < _HOUSEKEEPING_US:
            return
        self._housekeeping_us = now_us
        self._courier.tidy(self._the_store())
        if self._retention is not None:
            self._retention.tend(self._the_store())

    def _finish(self) -> None:
        """Drain, commit and close, within the time that a stop may take."""
        self._gather_rest()
        deadline_us = self._now_us() + int(STOP_S * 1e6)
        while self.fatal is None and len(self._pending):
            self._retry_us = 0
            self._due_us = 0
            self._work()
            if not self._facts.store_fault or self._now_us() > deadline_us:
                break
            threading.Event().wait(WAIT_S)
        if self._pending.samples:
            log.error("stopped with %d samples unwritten", self._pending.samples)
        if self._store is not None:
            try:
                self._courier.collect()
                if self._courier.acknowledged:
                    self._store.commit(Batch(None, acknowledged=list(self._courier.acknowledged)))
                self._store.end_run(self._run_id, self._clock.now().wall_us)
                self._store.close()
            except StoreError as error:
                log.warning("while closing the store: %s", error)

    def _gather_rest(self) -> None:
        while True:
            try:
                self._add(self._inbound.get_nowait())
            except queue.Empty:
                return

"""Follows a rig's store for all who look: one reader, however many phones.

While nobody looks nothing is read. While somebody does, the database's files are asked a few times
a second whether they changed, which costs no look into them; the store is read only when they did,
and once a second so that what grows old is seen to.
"""

from __future__ import annotations

import asyncio
import json
import logging
import time
from collections.abc import AsyncIterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from flowlog.daemon.codes import CODES as DAEMON_CODES
from flowlog.errors import FlowlogError
from flowlog.monitor.codes import CODES
from flowlog.review import words
from flowlog.review.live import LiveReader
from flowlog.store.engine import database
from flowlog.store.errors import StoreError, StoreMissingError
from flowlog.store.lock import is_locked
from flowlog.web.live_json import state_json

log = logging.getLogger(__name__)

LOOK_S: Final = 0.2
AT_LEAST_S: Final = 1.0
"""While data come, and until they are gone."""
QUIET_S: Final = 5.0
"""When nothing is written and the last value is gone already: only old alerts still fade."""
BEAT_S: Final = 2.0
MOST_CLIENTS: Final = 16

_Stamp = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class Seen:
    """What one look found."""

    number: int
    state: dict[str, Any] | None
    """None: there is nothing to show yet; `why` says so."""
    why: str = ""

    def text(self) -> str:
        found = self.state if self.state is not None else {"error": self.why}
        return json.dumps(found, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


class TooManyError(FlowlogError):
    """More clients follow than this computer should bear."""


class Follower:
    """See the module. Made and used within one event loop."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._reader: LiveReader | None = None
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="follow")
        self._seen = Seen(0, None, "not looked yet")
        self._seen_s = float("-inf")
        self._stamp: _Stamp = ()
        self._clients = 0
        self._changed = asyncio.Condition()
        self._one = asyncio.Lock()
        self._over = False
        self._looking: asyncio.Task[None] | None = None

    @property
    def clients(self) -> int:
        return self._clients

    async def now(self) -> Seen:
        """The state now, at most `LOOK_S` old."""
        async with self._one:
            # Phones that wake up together wait for one look, not for one each.
            if time.monotonic() - self._seen_s > LOOK_S:
                await self._look()
        return self._seen

    async def messages(self) -> AsyncIterator[bytes]:
        """Server-sent events for one client, without end.

        The whole state comes first, then again with every change: a client that slept or lost
        the network misses nothing by asking anew.

        Raises:
            TooManyError: at the first step.
        """
        if self._clients >= MOST_CLIENTS:
            raise TooManyError(f"{MOST_CLIENTS} screens follow already; close one of them")
        self._clients += 1
        try:
            if self._looking is None or self._looking.done():
                self._looking = asyncio.create_task(self._run())
            yield b"retry: 1000\n\n"
            seen = await self.now()
            while not self._over:
                yield _event("state", seen.text(), seen.number)
                last = seen.number
                while not self._over:
                    try:
                        async with asyncio.timeout(BEAT_S):
                            await self._next(last)
                        break
                    except TimeoutError:
                        yield _event("beat", json.dumps(self._beat()), None)
                seen = self._seen
        finally:
            self._clients -= 1

    async def finish(self) -> None:
        """End all streams in order; the clients come back when there is a server again."""
        async with self._changed:
            self._over = True
            self._changed.notify_all()

    async def close(self) -> None:
        if self._looking is not None:
            self._looking.cancel()
        self._worker.shutdown(wait=True)
        if self._reader is not None:
            self._reader.close()
            self._reader = None

    async def _next(self, last: int) -> None:
        async with self._changed:
            await self._changed.wait_for(lambda: self._over or self._seen.number != last)

    def _pause_s(self) -> float:
        state = self._seen.state
        return QUIET_S if state is None or state["freshness"] == "none" else AT_LEAST_S

    def _beat(self) -> dict[str, Any]:
        state = self._seen.state or {}
        age_s = state.get("age_s")
        if age_s is not None:
            age_s = round(age_s + time.monotonic() - self._seen_s, 2)
        clock = words.local_time(time.time_ns() // 1000)
        told = {"daemon": state.get("daemon"), "freshness": state.get("freshness")}
        return {"age_s": age_s, **told, "clock": clock}

    async def _run(self) -> None:
        while self._clients:
            try:
                due = time.monotonic() - self._seen_s >= self._pause_s()
                if due or _stamp(self._folder) != self._stamp:
                    async with self._one:
                        await self._look()
            except Exception:
                # A fault of ours in one look must not end the stream for good.
                log.exception("looking at the store failed")
                await asyncio.sleep(AT_LEAST_S)
            await asyncio.sleep(LOOK_S)

    async def _look(self) -> None:
        loop = asyncio.get_running_loop()
        # The stamp is taken before the look: what is written meanwhile is looked at again.
        stamp = _stamp(self._folder)
        state, why = await loop.run_in_executor(self._worker, self._read)
        self._stamp, self._seen_s = stamp, time.monotonic()
        if self._seen.number == 0 or _differs(self._seen.state, state) or self._seen.why != why:
            async with self._changed:
                self._seen = Seen(self._seen.number + 1, state, why)
                self._changed.notify_all()
        else:
            self._seen = Seen(self._seen.number, state, why)

    def _read(self) -> tuple[dict[str, Any] | None, str]:
        """In the worker's thread, the only one that touches the reader."""
        wall_us = time.time_ns() // 1000
        try:
            if self._reader is None:
                self._reader = LiveReader(self._folder, {**CODES, **DAEMON_CODES})
            state = self._reader.look_or_last(wall_us, time.monotonic(), _told)
        except StoreMissingError as error:
            log.debug("%s", error)
            return None, "Nothing has been logged for this rig yet."
        except FlowlogError as error:
            log.warning("%s", error)
            return None, "The rig's data cannot be read just now."
        return state_json(state, wall_us), ""


def _told(error: StoreError) -> str:
    """Where a file lies is for the log."""
    log.warning("%s", error)
    return "the rig's data cannot be read just now"


def _stamp(folder: Path) -> _Stamp:
    """Changes with every commit, with a change of files, and when a daemon begins or ends."""
    path = database(folder)
    found: list[object] = [is_locked(folder)]
    for name in (path, path.with_name(f"{path.name}-wal")):
        try:
            facts = name.stat()
        except OSError:
            found.append(None)
        else:
            found += [facts.st_ino, facts.st_mtime_ns, facts.st_size]
    return tuple(found)


_AGEING: Final = frozenset({"server", "age_s", "clock"})
"""Grow by themselves; the client's own clock counts them on."""


def _differs(old: Mapping[str, Any] | None, new: Mapping[str, Any] | None) -> bool:
    if old is None or new is None:
        return old is not new
    return _lasting(old) != _lasting(new)


def _lasting(state: Mapping[str, Any]) -> dict[str, Any]:
    kept = {name: value for name, value in state.items() if name not in _AGEING}
    kept["alerts"] = [
        {name: value for name, value in alert.items() if name != "since_s"}
        for alert in state["alerts"]
    ]
    kept["cleared"] = [one["id"] for one in state["cleared"]]
    # Its text ends with how long ago it was.
    kept["noted"] = state["noted"].partition(" (")[0]
    if state["mark"] is not None:
        kept["mark"] = {**state["mark"], "since_s": None}
    return kept


def _event(kind: str, data: str, number: int | None) -> bytes:
    """One event of a stream; the data is one line, since it is JSON."""
    head = "" if number is None else f"id: {number}\n"
    return f"{head}event: {kind}\ndata: {data}\n\n".encode()

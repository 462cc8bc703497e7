"""How long raw samples are kept, where the person said that they need not be kept for ever.

They are the largest part of the store, and the truth that all else can be derived from again. So
nothing is deleted unless it was asked for, and nothing that something still rests on.
"""

from __future__ import annotations

import logging
from pathlib import Path
from typing import Final, Protocol

from flowlog.daemon.clock import EARLIEST_PLAUSIBLE_US, Clock, quality
from flowlog.daemon.health import Facts
from flowlog.store.archive import Archive
from flowlog.store.rows import RouteRow

log = logging.getLogger(__name__)

_FIRST_US: Final = 600_000_000
"""After the start: time for the host's clock to be set, and for the first pass to be logged."""
_DAY_US: Final = 86_400_000_000


class _Pruning(Protocol):
    def prune_raw(self, route_id: int) -> int: ...


class Retention:
    """Once a day, one route at a time. The writer's thread calls it.

    Args:
        keep_days: raw samples of routes that ended longer ago are deleted.
    """

    def __init__(self, folder: Path, keep_days: int, clock: Clock, facts: Facts) -> None:
        self._folder = folder
        self._keep_us = keep_days * _DAY_US
        self._clock = clock
        self._facts = facts
        self._due_us = clock.now().monotonic_us + _FIRST_US
        self._doomed: list[tuple[int, RouteRow]] | None = None
        self._done: list[int] = []

    def tend(self, store: _Pruning) -> None:
        """Do what is due, at most one route; call about once a minute.

        Raises:
            StoreError: it will be tried again at the next call.
        """
        now = self._clock.now()
        if now.monotonic_us < self._due_us:
            return
        if self._doomed is None:
            if quality(now.wall_us, self._clock.synchronised()) != "synced":
                # A clock that is years ahead would delete everything, and nothing brings it back.
                log.debug("raw samples are kept: nobody confirms the computer's clock")
                return
            with Archive.open(self._folder) as archive:
                self._doomed = doomed(archive, now.wall_us - self._keep_us)
        if self._doomed:
            number, route = self._doomed[0]
            count = store.prune_raw(route.id)
            self._doomed.pop(0)
            self._done.append(number)
            log.info("route %d: its %d raw samples were kept long enough, deleted", number, count)
        if not self._doomed:
            self._doomed, self._due_us = None, now.monotonic_us + _DAY_US
            self._tell()

    def _tell(self) -> None:
        """Once for all routes of a day: who asks for it late has many old ones."""
        if not self._done:
            return
        first, last, n = self._done[0], self._done[-1], len(self._done)
        which = f"route {first}" if n == 1 else f"{n} routes, from {first} to {last},"
        text = (
            f"The raw samples of {which} were deleted after {self._keep_us // _DAY_US} days. "
            "Readings and alerts stay."
        )
        self._facts.raw_deleted.append(text)
        self._done.clear()


def doomed(archive: Archive, ended_before_wall_us: int) -> list[tuple[int, RouteRow]]:
    """Routes, with their numbers, whose raw samples may be deleted; oldest first.

    Kept are those of a route that is open, the newest one (the next one counts the tank on from
    it), one whose end is not known since the clock was never set, and all that something rests on:
    readings that a person wants derived with other calibrations (a new version derives them
    anew), a monitor that failed (its samples show why), and samples without any reading.
    """
    found = []
    for number, route in enumerate(archive.routes()[:-1], 1):
        ended_us = route.ended_wall_us
        if ended_us is None or not EARLIEST_PLAUSIBLE_US <= ended_us < ended_before_wall_us:
            continue
        if not archive.next_ordinal(route.id) or not _has_readings(archive, route.id):
            continue
        if any(row.kind == "calibrations" for row in archive.corrections(route.uid)):
            continue
        if any(row.event.code == "monitor_failed" for row in archive.events(route.id)):
            continue
        found.append((number, route))
    return found


def _has_readings(archive: Archive, route_id: int) -> bool:
    return len(archive.readings(route_id, limit=1, names=("seq",))["seq"]) > 0

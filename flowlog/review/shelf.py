"""What was read and summed up already, kept as long as the store does not change it.

Pages ask for the same route again and again while somebody zooms, and for all routes at once.
"""

from __future__ import annotations

import json
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from flowlog.review.kept_sums import keep_sums, load_sums
from flowlog.review.load import load_numbered
from flowlog.review.route import RouteReview
from flowlog.review.sums import RouteSums, sums_of
from flowlog.store.archive import Archive
from flowlog.store.rows import RouteRow

_REVIEWS: Final = 1
"""Kept whole: who zooms looks at one. A day takes about 4 MB."""


_AGAIN_S: Final = 2.0
"""How long a route counts as not derived yet before one looks again."""


class Shelf:
    """Of one rig's folder. May be used by several threads.

    Args:
        kept_at: a file in which the sums outlive the program; it may be deleted at any time.
    """

    def __init__(self, kept_at: Path | None = None) -> None:
        self._lock = threading.Lock()
        self.readings = 0
        """How many routes were read whole so far: who counts memory may want to know."""
        self._reviews: OrderedDict[int, tuple[Any, RouteReview]] = OrderedDict()
        self._kept_at = kept_at
        self._sums = {} if kept_at is None else load_sums(kept_at)
        self._logged: dict[int, tuple[str, RouteSums, float]] = {}
        """Sums of what was logged, where it is to be derived anew; with when to look again."""

    def review(self, archive: Archive, number: int) -> RouteReview | None:
        """The route with this number, counted from 1; None if there is none.

        What a correction wants derived anew is not derived here: that takes too long for a page.
        """
        routes = archive.routes()
        if not 1 <= number <= len(routes):
            return None
        route = routes[number - 1]
        # Raw samples are deleted without a stamp's change: nothing that was summed up changes.
        stamp = (archive.stamps().get(route.id), archive.raw_gone(route.id))
        with self._lock:
            found = self._reviews.get(route.id)
            if found is not None and found[0] == stamp:
                self._reviews.move_to_end(route.id)
                return replace(found[1], number=number)
        review = load_numbered(archive, number, route, derive=False)
        self.readings += 1
        if not review.underived:
            with self._lock:
                self._reviews[route.id] = (stamp, review)
                self._reviews.move_to_end(route.id)
                while len(self._reviews) > _REVIEWS:
                    self._reviews.popitem(last=False)
        return review

    def sums(self, archive: Archive, patience_s: float | None = None) -> list[RouteSums | None]:
        """All routes, oldest first; None where time did not suffice: ask again.

        Args:
            patience_s: begin with no further route after so long; None: sum up all.
        """
        routes = archive.routes()
        stamps = {key: json.dumps(stamp) for key, stamp in archive.stamps().items()}
        found: list[RouteSums | None] = [None] * len(routes)
        end = None if patience_s is None else time.monotonic() + patience_s
        # The newest first: they are what is looked at.
        for index in range(len(routes) - 1, -1, -1):
            route = routes[index]
            found[index] = self._known(route.id, stamps.get(route.id))
            if found[index] is not None:
                continue
            if end is None or time.monotonic() < end:
                found[index] = self._sum_up(archive, index + 1, route, stamps.get(route.id))
        return found

    def fill(
        self, open_archive: Callable[[], Archive], between: Callable[[], None] | None = None
    ) -> None:
        """Sum up all routes, one after another; then keep the sums.

        Args:
            between: done after each route.

        A fault of the store ends it: who asks next begins it again.
        """
        while True:
            begun_s = time.monotonic()
            with open_archive() as archive:
                if not self.sums(archive, patience_s=0.01).count(None):
                    break
            if between is not None:
                between()
            # Whoever looks at a page meanwhile goes first.
            time.sleep(min(time.monotonic() - begun_s, 0.2))
        self.keep()

    def keep(self) -> None:
        """Write the sums down, if there is where to; a folder that can't be written is no fault."""
        if self._kept_at is not None:
            with self._lock:
                known = dict(self._sums)
            keep_sums(self._kept_at, known)

    def _known(self, route_id: int, stamp: str | None) -> RouteSums | None:
        with self._lock:
            kept, logged = self._sums.get(route_id), self._logged.get(route_id)
        if kept is not None and kept[0] == stamp:
            return kept[1]
        if logged is not None and logged[0] == stamp and time.monotonic() < logged[2]:
            return logged[1]
        return None

    def _sum_up(
        self, archive: Archive, number: int, route: RouteRow, stamp: str | None
    ) -> RouteSums:
        sums = sums_of(archive, number, route)
        if stamp is not None:
            with self._lock:
                if sums.underived:
                    self._logged[route.id] = (stamp, sums, time.monotonic() + _AGAIN_S)
                else:
                    self._sums[route.id] = (stamp, sums)
        return sums

"""What was read and summed up already, kept as long as the store does not change it.

Pages ask for the same route again and again while somebody zooms, and for all routes at once.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

from flowlog.review.load import load_numbered
from flowlog.review.route import RouteReview
from flowlog.review.sums import RouteSums, sums_of
from flowlog.store.archive import Archive
from flowlog.store.rows import RouteRow

_REVIEWS: Final = 2
"""Kept whole: two may stand side by side. A day takes about 6 MB."""


class Shelf:
    """Of one rig's folder. May be used by several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._reviews: OrderedDict[int, tuple[Any, RouteReview]] = OrderedDict()
        self._sums: dict[int, tuple[Any, RouteSums]] = {}

    def review(self, archive: Archive, number: int) -> RouteReview | None:
        """The route with this number, counted from 1; None if there is none.

        What a correction wants derived anew is not derived here: that takes too long for a page.
        """
        routes = archive.routes()
        if not 1 <= number <= len(routes):
            return None
        route = routes[number - 1]
        stamp = archive.stamps().get(route.id)
        with self._lock:
            found = self._reviews.get(route.id)
            if found is not None and found[0] == stamp:
                self._reviews.move_to_end(route.id)
                return replace(found[1], number=number)
        review = load_numbered(archive, number, route, derive=False)
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
        end = None if patience_s is None else time.monotonic() + patience_s
        routes, stamps = archive.routes(), archive.stamps()
        found: list[RouteSums | None] = [None] * len(routes)
        # The newest first: they are what is looked at.
        for index in range(len(routes) - 1, -1, -1):
            route = routes[index]
            with self._lock:
                kept = self._sums.get(route.id)
            if kept is not None and kept[0] == stamps.get(route.id):
                found[index] = kept[1]
            elif end is None or time.monotonic() < end:
                found[index] = self._sum_up(archive, index + 1, route, stamps.get(route.id))
        return found

    def fill(self, open_archive: Callable[[], Archive], enough: Callable[[], bool]) -> None:
        """Sum up all routes, one after another, until done or `enough`."""
        while not enough():
            with open_archive() as archive:
                if None not in self.sums(archive, patience_s=0.05):
                    return
            # Others want the processor as well.
            time.sleep(0.02)

    def _sum_up(self, archive: Archive, number: int, route: RouteRow, stamp: Any) -> RouteSums:
        sums = sums_of(archive, number, route)
        if not sums.underived:
            with self._lock:
                self._sums[route.id] = (stamp, sums)
        return sums

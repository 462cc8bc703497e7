"""Everything that a report is made from, out of a rig's store."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from flowlog.calibrating.inuse import InUse
from flowlog.monitor.summary import Alert, Figures, Stop
from flowlog.record.history import Revision, latest, revisions_of
from flowlog.report.fingerprint import fingerprint
from flowlog.review.corrected import chosen_calibrations
from flowlog.review.derived import Progress
from flowlog.review.find import NotFoundError, choose_route
from flowlog.review.load import in_use_on, in_use_with, load_numbered
from flowlog.review.route import RouteReview
from flowlog.store.archive import Archive
from flowlog.store.rows import RouteRow, StoredRecord


@dataclass(frozen=True, slots=True)
class Source:
    """A route, and which part of it is reported."""

    review: RouteReview
    stop: Stop | None
    """None: the whole route."""
    in_use: InUse
    """The calibrations that its readings come from."""
    records: tuple[Revision, ...]
    """The newest revision of each application record of this part."""
    fingerprint: str
    """Of the whole route's data, whichever part is reported."""

    @property
    def figures(self) -> Figures:
        return self.review.summary.figures if self.stop is None else self.stop.figures

    @property
    def stops(self) -> Sequence[Stop]:
        return self.review.summary.stops if self.stop is None else (self.stop,)

    @property
    def alerts(self) -> Sequence[Alert]:
        return self.review.summary.alerts if self.stop is None else self.stop.alerts


def gather(
    archive: Archive,
    wanted: str,
    stop_number: int | None = None,
    progress: Progress | None = None,
) -> Source:
    """Read it from the store.

    Args:
        wanted: the route, as `flowlog.review.find.choose_route` takes it.
        stop_number: counts its stops from 1; None for the whole route.
        progress: told how far deriving anew is, where a correction wants that.

    Raises:
        NotFoundError: there is no such route or stop.
        StoreError: the store cannot be read.
    """
    routes = archive.routes()
    index = choose_route(routes, wanted)
    route = routes[index]
    review = load_numbered(archive, index + 1, route, progress)
    stop = None if stop_number is None else _stop(review, stop_number)
    in_use = _in_use(archive, review)
    stored = archive.records()
    return Source(
        review=review,
        stop=stop,
        in_use=in_use,
        records=tuple(
            revisions_of(stored, one.number)[-1]
            for one in latest(stored)
            if _belongs(one, route, stop_number)
        ),
        fingerprint=fingerprint(
            review.columns,
            {
                "route": [route],
                "events": review.events,
                "marks": archive.stops(route.id),
                "corrections": archive.corrections(route.uid),
                "rig": [archive.rig_file(route.rig_sha256).text],
                "calibrations": [one.row for one in in_use.used],
                "records": [one.row for one in stored if one.row.route_uid == route.uid],
            },
        ),
    )


def _in_use(archive: Archive, review: RouteReview) -> InUse:
    chosen = chosen_calibrations(review.corrections)
    if review.derived and chosen is not None:
        return in_use_with(archive, review.route, chosen)
    return in_use_on(archive, review.route)


def _belongs(record: StoredRecord, route: RouteRow, stop_number: int | None) -> bool:
    """A record of the whole route tells about each of its stops too."""
    own = record.row.stop_number
    return record.row.route_uid == route.uid and (
        stop_number is None or own is None or own == stop_number
    )


def _stop(review: RouteReview, number: int) -> Stop:
    for stop in review.summary.stops:
        if stop.number == number:
            return stop
    count = len(review.summary.stops)
    there = f"it has stops 1 to {count}" if count else "nothing was sprayed on it"
    raise NotFoundError(f"route {review.number} has no stop {number} ({there})")

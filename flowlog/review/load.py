"""Reviews out of a rig's store, through its read-only side."""

from __future__ import annotations

from pathlib import Path

from flowlog.calibrating.basis import basis_of
from flowlog.calibrating.inuse import InUse, choose
from flowlog.calibrating.words import line_of
from flowlog.review.find import choose_route
from flowlog.review.route import RouteReview, review_route
from flowlog.rig.model import Rig
from flowlog.rig.reader import parse_rig
from flowlog.store.archive import Archive
from flowlog.store.rows import RigRow, RouteRow


def rig_of(row: RigRow) -> Rig:
    """The rig from the text that the store keeps of its file."""
    return parse_rig(row.text, Path(f"{row.slug}.toml (as stored)"), {})


def load_route(archive: Archive, wanted: str) -> RouteReview:
    """The review of the route that `wanted` means, see `choose_route`."""
    routes = archive.routes()
    index = choose_route(routes, wanted)
    return load_numbered(archive, index + 1, routes[index])


def load_numbered(archive: Archive, number: int, route: RouteRow) -> RouteReview:
    """The review of a route whose number is known."""
    in_use = in_use_on(archive, route)
    return review_route(
        number,
        route,
        in_use.rig,
        archive.readings(route.id),
        archive.events(route.id),
        archive.stops(route.id),
        tuple(line_of(one, in_use.rig.units) for one in in_use.used),
        basis_of(in_use),
    )


def in_use_on(archive: Archive, route: RouteRow) -> InUse:
    """The rig of a route, with the calibrations that it began with."""
    rig = rig_of(archive.rig_file(route.rig_sha256))
    return choose(rig, archive.route_calibrations(route.id))

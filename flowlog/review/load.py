"""Reviews out of a rig's store, through its read-only side."""

from __future__ import annotations

import dataclasses
from functools import lru_cache
from pathlib import Path

from flowlog.calibrating.basis import basis_of
from flowlog.calibrating.inuse import InUse, choose
from flowlog.calibrating.words import line_of
from flowlog.review import derived
from flowlog.review.corrected import chosen_calibrations, held
from flowlog.review.find import choose_route
from flowlog.review.route import RouteReview, review_route
from flowlog.rig.model import Rig
from flowlog.rig.reader import parse_rig
from flowlog.store.archive import Archive
from flowlog.store.rows import RigRow, RouteRow


def rig_of(row: RigRow) -> Rig:
    """The rig from the text that the store keeps of its file."""
    return _rig(row.text, row.slug)


@lru_cache(maxsize=16)
def _rig(text: str, slug: str) -> Rig:
    """Reading a rig file takes as long as summing up an hour, and a season has few of them."""
    return parse_rig(text, Path(f"{slug}.toml (as stored)"), {})


def load_route(
    archive: Archive, wanted: str, progress: derived.Progress | None = None
) -> RouteReview:
    """The review of the route that `wanted` means, see `choose_route`."""
    routes = archive.routes()
    index = choose_route(routes, wanted)
    return load_numbered(archive, index + 1, routes[index], progress)


def load_numbered(
    archive: Archive,
    number: int,
    route: RouteRow,
    progress: derived.Progress | None = None,
    *,
    derive: bool = True,
) -> RouteReview:
    """The review of a route whose number is known, with all that was corrected.

    Args:
        progress: told how far it is with deriving anew, which may take seconds.
        derive: whether to derive anew if a correction wants it and nobody did so before; without,
            what was logged is shown, and `underived` says so.
    """
    corrections = held(archive.corrections(route.uid))
    in_use = in_use_on(archive, route)
    columns, events = archive.readings(route.id), archive.events(route.id)
    chosen, why = chosen_calibrations(corrections), ""
    other: derived.Derived | None = None
    if chosen is not None:
        anew = in_use_with(archive, route, chosen)
        try:
            other = _derived(archive, route, anew, progress, derive=derive)
            why = "" if other else "it is not derived yet"
        except derived.DeriveError as fault:
            why = str(fault)
        if other is not None:
            in_use = anew
            columns, events = derived.with_wall_times(other, columns, events, route.uid)
    review = review_route(
        number,
        route,
        in_use.rig,
        columns,
        events,
        archive.stops(route.id),
        tuple(line_of(one, in_use.rig.units) for one in in_use.used),
        basis_of(in_use),
        corrections,
        derived=other is not None,
        underived=why,
    )
    return dataclasses.replace(review, raw_gone=archive.raw_gone(route.id))


def _derived(
    archive: Archive,
    route: RouteRow,
    in_use: InUse,
    progress: derived.Progress | None,
    *,
    derive: bool,
) -> derived.Derived | None:
    path = derived.kept_at(archive.folder, route, tuple(one.row.uid for one in in_use.used))
    found = derived.load(path)
    if found is None and derive:
        found = derived.derive(archive, route, in_use, progress)
        derived.keep(path, found)
    return found


def in_use_with(archive: Archive, route: RouteRow, uids: tuple[str, ...]) -> InUse:
    """The rig of a route with the calibrations of these ids; `passed_over` says which do not fit.

    One that this store does not have (it was exchanged for another) is passed over, too.
    """
    rig = rig_of(archive.rig_file(route.rig_sha256))
    known = [one for one in archive.calibrations() if one.row.uid in uids]
    missing = set(uids) - {one.row.uid for one in known}
    found = choose(rig, known)
    lost = tuple(f"calibration {uid} is not in this store" for uid in sorted(missing))
    return dataclasses.replace(found, passed_over=found.passed_over + lost)


def in_use_on(archive: Archive, route: RouteRow) -> InUse:
    """The rig of a route, with the calibrations that it began with."""
    rig = rig_of(archive.rig_file(route.rig_sha256))
    return choose(rig, archive.route_calibrations(route.id))

"""How the boom changes over a season: tips wear and pass more, strainers fill and it passes less.

Time is counted in hours of spraying, since that is what wears: pauses of weeks take no room, and
a clock that was wrong once does no harm. Where the calibrations or the tips changed there is a
mark; across it a step may come from the change itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from flowlog.review.sums import Quarter, RouteSums
from flowlog.review.words import iso_times


@dataclass(frozen=True, slots=True)
class Point:
    """A quarter hour of one route."""

    route: int
    """Its number."""
    begin_h: float
    """Hours of spraying since the season's beginning."""
    quarter: Quarter


@dataclass(frozen=True, slots=True)
class Change:
    """Something was different from this route on."""

    route: int
    at_h: float
    what: str
    """calibrations, tips."""
    text: str


@dataclass(frozen=True, slots=True)
class Season:
    points: tuple[Point, ...]
    changes: tuple[Change, ...]
    starts: tuple[tuple[int, float, int | None], ...]
    """Number of each route, where it begins, and its wall time (None: its clock was not set)."""
    hours: float


def season(routes: Sequence[RouteSums]) -> Season:
    """Of these routes, in the order of their numbers."""
    points: list[Point] = []
    changes: list[Change] = []
    starts = []
    hours, before = 0.0, None
    for sums in sorted(routes, key=lambda one: one.number):
        known = None if sums.clock == "none" else sums.begin_wall_us
        starts.append((sums.number, hours, known))
        if before is not None:
            changes += _changes(before, sums, hours)
        changes += [Change(sums.number, hours, "tips", note) for note in sums.new_tips]
        for quarter in sums.quarters:
            points.append(Point(sums.number, hours, quarter))
            hours += quarter.seconds / 3600
        before = sums
    return Season(tuple(points), tuple(changes), tuple(starts), hours)


def _changes(before: RouteSums, now: RouteSums, hours: float) -> list[Change]:
    found = []
    if now.calibration_ids != before.calibration_ids:
        fresh = [name for name in now.calibration_names if name not in before.calibration_names]
        gone = [name for name in before.calibration_names if name not in now.calibration_names]
        text = f"calibrated: {', '.join(fresh)}" if fresh else f"no longer: {', '.join(gone)}"
        found.append(Change(now.number, hours, "calibrations", text))
    if now.tips != before.tips:
        one, other = before.tips, now.tips
        text = f"{other[0]} tips" if one[0] != other[0] else "other tips"
        found.append(Change(now.number, hours, "tips", f"{text} by the rig file"))
    return found


def season_dict(found: Season) -> dict[str, Any]:
    """As plain data in SI."""
    return {
        "hours": found.hours,
        "points": [
            {
                "route": point.route,
                "begin_h": point.begin_h,
                "begin_utc": iso_times(point.quarter.wall_us)[1],
                "seconds": point.quarter.seconds,
                "share_of_healthy": point.quarter.share,
                "log_conductance": point.quarter.log_conductance,
                "share_of_new_tips": point.quarter.of_new_tips,
            }
            for point in found.points
        ],
        "changes": [
            {"route": one.route, "at_h": one.at_h, "what": one.what, "text": one.text}
            for one in found.changes
        ],
    }

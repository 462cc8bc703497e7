"""Corrections in words, the same for terminal and page."""

from __future__ import annotations

from flowlog.review import words
from flowlog.review.corrected import Held
from flowlog.review.places import TimeLine, time_line
from flowlog.review.route import RouteReview
from flowlog.store.correction import (
    GiveArea,
    Merge,
    NewTips,
    Place,
    Rename,
    Split,
    Undo,
    UseCalibrations,
)


def correction_lines(review: RouteReview) -> list[str]:
    """The corrections of a route, oldest first, numbered from 1."""
    return [
        f"  {number}. {told}{' (undone)' if one.undone else ''}; {by_whom(one)}"
        for number, (one, told) in enumerate(
            zip(review.corrections, told_corrections(review), strict=True), 1
        )
    ]


def told_corrections(review: RouteReview) -> list[str]:
    """What each says, in the order of the route's corrections."""
    line = time_line(review.columns)
    numbers = {one.row.uid: number for number, one in enumerate(review.corrections, 1)}
    return [_told(one, review, line, numbers) for one in review.corrections]


def by_whom(one: Held) -> str:
    """By whom, when and why."""
    when = words.local_time(one.row.made_wall_us, with_date=True, second=False)
    reason = words.clean(one.row.reason)
    return f"{words.clean(one.row.made_by)}, {when}" + (f": {reason}" if reason else "")


def _told(one: Held, review: RouteReview, line: TimeLine, numbers: dict[str, int]) -> str:
    units = review.rig.units

    def when(at: Place) -> str:
        second = line.second_of(at.segment, at.t_us)
        wall = None if review.clock == "none" else line.wall_of(second)
        return words.local_time(wall) if wall is not None else f"+{words.clock_style(second)}"

    match one.said:
        case Rename(at, None):
            return f"the stop at {when(at)} has no name"
        case Rename(at, name):
            return f"the stop at {when(at)} is called '{words.clean(name or '')}'"
        case GiveArea(at, None):
            return f"the stop at {when(at)} has the area that was counted"
        case GiveArea(at, area_m2):
            return f"the stop at {when(at)} has {words.value(area_m2, 'area', units)}"
        case Split(at):
            return f"a stop begins at {when(at)}"
        case Merge(at):
            return f"the stop at {when(at)} belongs to the one before"
        case UseCalibrations(None):
            return "with the calibrations of its day"
        case UseCalibrations(()):
            return "derived anew with the rig file alone"
        case UseCalibrations(uids):
            count = len(uids or ())
            return f"derived anew with {count} other calibration{'' if count == 1 else 's'}"
        case NewTips(note):
            return f"tips before this route: {words.clean(note)}"
        case Undo(uid):
            return f"correction {numbers.get(uid, '?')} is undone"
    return f"of a newer flowlog ({words.clean(one.row.kind)}), passed over"

"""What a person says about a route, made into a correction that this route can hold."""

from __future__ import annotations

import re
import time
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from flowlog.calibrating.inuse import InUse
from flowlog.monitor.stops import Span, at_work
from flowlog.monitor.summary import Stop
from flowlog.review.corrected import applied, next_turn
from flowlog.review.places import TimeLine, time_line
from flowlog.review.route import RouteReview
from flowlog.review.words import utc
from flowlog.store.correction import (
    LONGEST_TEXT,
    Correction,
    CorrectionError,
    GiveArea,
    Merge,
    NewTips,
    Place,
    Rename,
    Split,
    Undo,
    UseCalibrations,
    body_of,
    kind_of,
)
from flowlog.store.rows import CorrectionRow, StoredCalibration
from flowlog.units import UnitError, parse

LONGEST_REASON: Final = 500
_CLOCK: Final = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?")


@dataclass(frozen=True, slots=True)
class Pause:
    """A place where a stop may be split: spraying begins again after so many seconds."""

    at: Place
    second: float
    """On the route's time line, of the new beginning."""
    wall_us: int | None
    seconds: float


def stop_numbered(review: RouteReview, number: int) -> Stop:
    """
    Raises:
        CorrectionError: the route has no such stop.
    """
    for stop in review.summary.stops:
        if stop.number == number:
            return stop
    count = len(review.summary.stops)
    raise CorrectionError(f"stop {number}: route {review.number} has stops 1 to {count}")


def place_of(stop: Stop) -> Place:
    """What a correction means the stop by: its beginning."""
    return Place(stop.begin.segment, stop.begin.t_us)


def renamed(stop: Stop, name: str) -> Rename:
    """The stop's name; none if nothing is written."""
    shown = _line(name, LONGEST_TEXT, "name")
    return Rename(place_of(stop), shown or None)


def with_area(stop: Stop, area: str) -> GiveArea:
    """The stop's area as a person writes it, `12000 ft2`; `counted` for what was counted."""
    if area.strip().casefold() in ("", "counted"):
        return GiveArea(place_of(stop), None)
    try:
        area_m2 = parse(area, "area")
    except UnitError as fault:
        raise CorrectionError(f"area: {fault}") from fault
    if not 0 < area_m2 <= 1e8:
        raise CorrectionError("area: this cannot be the area of a stop")
    return GiveArea(place_of(stop), area_m2)


def split(review: RouteReview, stop: Stop, when: str) -> Split:
    """In two, at a time of day `13:40:05` in the zone of this machine, or `+0:12:30` since the
    beginning of the route.

    Raises:
        CorrectionError: it is no time, or nothing was sprayed before or after it in this stop.
    """
    line = time_line(review.columns)
    second = _second(review, line, stop, when)
    begin, end = float(line.begin_s[stop.first]), float(line.end_s[stop.last])
    if not begin < second < end:
        raise CorrectionError(f"split: stop {stop.number} was not being sprayed at {when}")
    return split_at(review, stop, Place(*line.moment_of(second)))


def split_at(review: RouteReview, stop: Stop, at: Place) -> Split:
    """In two at a place that is known.

    Raises:
        CorrectionError: nothing was sprayed before or after it in this stop.
    """
    said = Split(at)
    spans = _spans(review)
    if not _inside(review, stop, at) or applied(review.columns, spans, said) == spans:
        raise CorrectionError(
            f"split: nothing was sprayed on one side of that moment in stop {stop.number}"
        )
    return said


def merged(stop: Stop) -> Merge:
    """With the stop before it."""
    if stop.number == 1:
        raise CorrectionError("merge: there is no stop before the first one")
    return Merge(place_of(stop))


def calibrated(
    review: RouteReview,
    known: Sequence[StoredCalibration],
    numbers: Sequence[int],
    in_use: InUse | None = None,
) -> UseCalibrations:
    """With these calibrations, by their numbers; none: with the rig file alone.

    Args:
        known: all of the rig.
        in_use: the rig with them applied, to tell which of them do not fit it.

    Raises:
        CorrectionError: no such calibration, two of one kind, or one that does not fit the rig.
    """
    by_number = {one.id: one for one in known}
    unknown = [number for number in numbers if number not in by_number]
    if unknown:
        raise CorrectionError(
            f"calibration: there is no number {unknown[0]} (flowlog calibrate RIGFILE history)"
        )
    chosen = [by_number[number] for number in dict.fromkeys(numbers)]
    kinds = [one.row.kind for one in chosen]
    twice = next((kind for kind in kinds if kinds.count(kind) > 1), None)
    if twice:
        raise CorrectionError(f"calibration: two of the kind {twice}; one is right")
    if not review.ended:
        raise CorrectionError("calibration: the route is still open (wait until it has ended)")
    if in_use is not None and in_use.passed_over:
        raise CorrectionError(in_use.passed_over[0])
    return UseCalibrations(tuple(one.row.uid for one in chosen))


def tips(note: str) -> NewTips:
    """Before this route tips were exchanged or cleaned."""
    shown = _line(note, LONGEST_TEXT, "tips")
    if not shown:
        raise CorrectionError("tips: say what was done, for instance 'all tips new'")
    return NewTips(shown)


def undone(review: RouteReview, number: int) -> Undo:
    """The correction of this number no longer holds (they count from 1).

    Raises:
        CorrectionError: there is none, or it does not hold any more.
    """
    if not 1 <= number <= len(review.corrections):
        count = len(review.corrections)
        raise CorrectionError(f"undo: route {review.number} has corrections 1 to {count}")
    one = review.corrections[number - 1]
    if one.undone:
        raise CorrectionError(f"undo: correction {number} was undone already")
    return Undo(one.row.uid)


def row_of(review: RouteReview, said: Correction, by: str, reason: str = "") -> CorrectionRow:
    """The row to hand over."""
    return CorrectionRow(
        uid=uuid.uuid4().hex,
        route_uid=review.route.uid,
        turn=next_turn(one.row for one in review.corrections),
        kind=kind_of(said),
        made_wall_us=time.time_ns() // 1000,
        made_by=_line(by, LONGEST_TEXT, "by") or "unknown",
        reason=_line(reason, LONGEST_REASON, "reason"),
        body=body_of(said),
    )


def pauses(
    review: RouteReview, stop: Stop, most: int = 12, line: TimeLine | None = None
) -> list[Pause]:
    """The longest pauses in the spraying of a stop, in their order: where it may be split.

    Args:
        line: the time line of the route, if it is known already.
    """
    columns = review.columns
    line = line or time_line(columns)
    part = {name: column[stop.first : stop.last + 1] for name, column in columns.items()}
    work = stop.first + at_work(part).nonzero()[0]
    away = line.begin_s[work[1:]] - line.end_s[work[:-1]]
    gaps = [(float(away[place]), int(work[place + 1])) for place in (away > 0.5).nonzero()[0]]
    longest = sorted(sorted(gaps, reverse=True)[:most], key=lambda gap: gap[1])
    found = []
    for seconds, index in longest:
        second = float(line.begin_s[index])
        at = Place(int(columns["segment"][index]), int(columns["t_us"][index]))
        wall = None if review.clock == "none" else line.wall_of(second)
        found.append(Pause(at, second, wall, seconds))
    return found


def _spans(review: RouteReview) -> list[Span]:
    return [Span(stop.first, stop.last, stop.name, stop.marked) for stop in review.summary.stops]


def _inside(review: RouteReview, stop: Stop, at: Place) -> bool:
    begin = (stop.begin.segment, stop.begin.t_us)
    return begin < tuple(at) <= (stop.end.segment, stop.end.t_us)


def _second(review: RouteReview, line: TimeLine, stop: Stop, when: str) -> float:
    text = when.strip()
    found = _CLOCK.fullmatch(text.removeprefix("+"))
    if found is None:
        raise CorrectionError(
            f"split: '{text[:40]}' is no time (13:40:05, or +0:12:30 since the beginning)"
        )
    wanted = timedelta(
        hours=int(found[1]), minutes=int(found[2]), seconds=int(found[3] or 0)
    ).total_seconds()
    if text.startswith("+"):
        return wanted
    began = utc(stop.begin_wall_us)
    if began is None or review.clock == "none":
        raise CorrectionError(
            "split: the computer's clock was not set on this route; say it since the beginning, "
            "for instance +0:12:30"
        )
    local = began.astimezone()
    of_day = local.hour * 3600 + local.minute * 60 + local.second + local.microsecond / 1e6
    # A stop over midnight goes on at small hours.
    return float(line.begin_s[stop.first]) + (wanted - of_day) % 86400


def _line(text: str, longest: int, what: str) -> str:
    shown = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if len(shown) > longest:
        raise CorrectionError(f"{what}: {len(shown)} characters, {longest} are enough")
    return shown

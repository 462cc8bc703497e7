"""Which alert a person means, and all that is known of what it rested on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import isclose
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.outputs import Event, Position
from flowlog.monitor.summary import Alert
from flowlog.review.explain_replay import Again, Floats, Ticks
from flowlog.review.explain_signs import Signs, signs_of
from flowlog.review.find import NotFoundError
from flowlog.review.places import TimeLine, time_line
from flowlog.review.route import RouteReview
from flowlog.rig.model import HealthyBoom
from flowlog.store.rows import EventRow

AROUND_S: Final = 60.0
"""Shown before the onset and after it was said."""
_LISTED: Final = 12

Kind = Literal["tests", "start", "level", "other"]
"""tests: the sequential tests of the boom said it. start: the route's beginning was held against a
calibration. level: the boom or its supply, but by slow averages. other: no judgement of the boom.
"""

_TESTED: Final = frozenset(
    {"tip_blocked", "boom_leak", "meter_low", "meter_double", "foam", "mix_changed"}
)
_LEVEL: Final = frozenset(
    {"boom_drift", "boom_unexpected", "supply_weak", "regulator_moved", "air_drawn"}
)


@dataclass(frozen=True, slots=True)
class Seconds:
    """Readings as columns, one a second; NaN where nothing was measured."""

    at_s: Floats
    """Middle of each, relative to the onset."""
    flow_m3_s: Floats
    pressure_pa: Floats
    settled: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Explanation:
    """One alert and what it rested on. Seconds count from its onset."""

    review: RouteReview
    source: str
    """Name of the recording; empty for a stored route."""
    alert: Alert
    number: int | None
    """In the review's list of alerts; None for what was only noted."""
    said: tuple[EventRow, ...]
    """Its events, in order, as they were logged."""
    again: tuple[Event, ...]
    """The same by this program's detector; empty if it does not say it."""
    instead: tuple[Event, ...]
    """What this program's detector opens about then, if it does not say this alert."""
    differs: bool
    """Whether this program's detector words or measures it otherwise."""
    gone: bool
    """The raw samples are not all there any more: there is nothing to run again."""
    kind: Kind
    begin_s: float
    end_s: float
    said_s: float
    cleared_s: float | None
    changes_s: tuple[float, ...]
    """When each event of `said` was said."""
    onset_of_route_s: float
    """The onset in seconds since the beginning of the route."""
    tick_s: Floats
    ticks: Ticks
    """Of the window, and where each lies."""
    seconds: Seconds
    signs: Signs | None
    """None where the boom was not judged."""

    @property
    def opened(self) -> Event:
        return self.said[0].event

    @property
    def last(self) -> Event:
        """What was said of it last, before it cleared."""
        told = [row.event for row in self.said if row.event.change != "cleared"]
        return told[-1]


def choose_alert(alerts: Sequence[Alert], wanted: str) -> tuple[Alert, int | None]:
    """The alert that `wanted` means, and its number in the review's list.

    Args:
        alerts: the route's, in the order of their opening.
        wanted: "last", a number as in the review's list, a name, or its beginning.

    Raises:
        NotFoundError: none, or several; says which there are.
    """
    real = [alert for alert in alerts if not alert.noted]
    if not alerts:
        raise NotFoundError("nothing was said on this route: there is no alert to explain")
    numbers = {alert.alert: number for number, alert in enumerate(real, 1)}
    if wanted == "last":
        found = (real or list(alerts))[-1]
        return found, numbers.get(found.alert)
    if wanted.isdecimal() and 1 <= int(wanted) <= len(real):
        return real[int(wanted) - 1], int(wanted)
    folded = wanted.casefold()
    same = [alert for alert in alerts if alert.alert == folded]
    begun = [alert for alert in alerts if folded and alert.alert.startswith(folded)]
    fitting = same or begun
    if len(fitting) == 1:
        return fitting[0], numbers.get(fitting[0].alert)
    if fitting:
        listed = _listed(fitting, numbers)
        raise NotFoundError(f"'{wanted}' means several alerts: {listed} (give the whole name)")
    raise NotFoundError(
        f"there is no alert '{wanted}' on this route (there are: {_listed(alerts, numbers)}; "
        "or 'last')"
    )


def explain(
    review: RouteReview,
    alert: Alert,
    number: int | None,
    again: Again,
    healthy: HealthyBoom | None,
    source: str = "",
    *,
    gone: bool = False,
) -> Explanation:
    """Put together what is known of one alert.

    Args:
        review: the route, with what was logged.
        again: the same stream through this program's detector, at least as far as `until_of`.
        healthy: the calibrated baseline, if there is one.
        source: name of the recording, if it is one.
        gone: whether raw samples are missing; what `again` holds is not shown then.
    """
    if gone:
        again = replace(again, events=(), ticks=again.ticks.part(slice(0)))
    said = tuple(row for row in review.events if row.event.alert == alert.alert)
    mine = tuple(event for event in again.events if event.alert == alert.alert)
    mine = mine[: len(said)] if len(mine) > len(said) and not review.ended else mine
    line = time_line(review.columns)
    onset_s = line.second_of(alert.since.segment, alert.since.t_us)
    said_s = _second(line, alert.opened, onset_s)
    begin_s, end_s = -AROUND_S, said_s + AROUND_S
    at_s = seconds_of(line, again.ticks.segment, again.ticks.t_us) - onset_s
    window = (at_s >= begin_s) & (at_s <= end_s)
    opened = said[0].event
    before = at_s < _second(line, opened.since, onset_s) - 1e-9
    kind = _kind_of(opened, judged_before=bool(before.any()))
    boom = kind != "other" and len(again.ticks) > 0
    return Explanation(
        review=review,
        source=source,
        alert=alert,
        number=number,
        said=said,
        again=mine,
        instead=() if mine else _instead(again.events, line, onset_s, said_s),
        gone=gone,
        differs=bool(mine) and not _alike(mine, [row.event for row in said]),
        kind=kind,
        begin_s=max(begin_s, -onset_s),
        end_s=min(end_s, line.length_s - onset_s),
        said_s=said_s,
        cleared_s=None if alert.cleared is None else _second(line, alert.cleared, onset_s),
        changes_s=tuple(_second(line, row.event.at, onset_s) for row in said),
        onset_of_route_s=onset_s,
        tick_s=at_s[window],
        ticks=again.ticks.part(window),
        seconds=_seconds(review, line, onset_s, begin_s, end_s),
        signs=signs_of(again.ticks, at_s, said_s, opened, review.rig, healthy) if boom else None,
    )


def until_of(review: RouteReview, alert: Alert) -> Position:
    """How far a replay must go: past the window, and past what was said of the alert last."""
    events = [row.event for row in review.events if row.event.alert == alert.alert]
    after_us = round((AROUND_S + 1.0) * 1e6)
    ends = [events[0].at._replace(t_us=events[0].at.t_us + after_us), events[-1].at]
    return max(ends, key=lambda at: (at.segment, at.t_us))


def seconds_of(line: TimeLine, segment: NDArray[np.int64], t_us: NDArray[np.int64]) -> Floats:
    """Seconds since the beginning of the route for many moments by the board's clock."""
    found = np.zeros(len(t_us))
    for one in np.unique(segment):
        here = segment == one
        low = int(np.searchsorted(line.segment, one, side="left"))
        high = int(np.searchsorted(line.segment, one, side="right"))
        if low == high:
            found[here] = line.second_of(int(one), 0)
            continue
        index = low + np.searchsorted(line.t_us[low:high], t_us[here], side="left")
        index = np.minimum(index, high - 1)
        found[here] = line.end_s[index] - (line.t_us[index] - t_us[here]) / 1e6
    return found


def _alike(some: Sequence[Event], others: Sequence[Event]) -> bool:
    """Whether all of `others` come again; `some` may go on."""
    pairs = zip(some, others, strict=False)
    return len(some) >= len(others) and all(same(one, other) for one, other in pairs)


def same(one: Event, other: Event) -> bool:
    """Equal but for the last figures of numbers, which another computer may round otherwise."""
    numbers = [(one.size, other.size), (one.size_low, other.size_low)]
    numbers += [(one.size_high, other.size_high)]
    numbers += [(value, other.details.get(name)) for name, value in one.details.items()]
    blank: dict[str, Any] = {"size": None, "size_low": None, "size_high": None, "details": {}}
    return (
        replace(one, **blank) == replace(other, **blank)
        and one.details.keys() == other.details.keys()
        and all(_close(*pair) for pair in numbers)
    )


def _close(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return isclose(one, other, rel_tol=1e-6, abs_tol=1e-9)


def _second(line: TimeLine, at: Position, onset_s: float) -> float:
    return line.second_of(at.segment, at.t_us) - onset_s


def _kind_of(opened: Event, *, judged_before: bool) -> Kind:
    if opened.code in _TESTED:
        return "tests" if judged_before else "start"
    return "level" if opened.code in _LEVEL else "other"


def _instead(
    events: Iterable[Event], line: TimeLine, onset_s: float, said_s: float
) -> tuple[Event, ...]:
    found = []
    for event in events:
        if event.change not in ("opened", "noted"):
            continue
        if -AROUND_S <= _second(line, event.at, onset_s) <= said_s + AROUND_S:
            found.append(event)
    return tuple(found)


def _seconds(
    review: RouteReview, line: TimeLine, onset_s: float, begin_s: float, end_s: float
) -> Seconds:
    middle = line.middle_s - onset_s
    here = (middle >= begin_s) & (middle <= end_s)
    columns = review.columns
    return Seconds(
        middle[here],
        np.asarray(columns["flow_m3_s"], dtype=np.float64)[here],
        np.asarray(columns["pressure_pa"], dtype=np.float64)[here],
        np.asarray(columns["phase"] == "spraying")[here],
    )


def _listed(alerts: Sequence[Alert], numbers: dict[str, int]) -> str:
    told = [
        f"{numbers[alert.alert]} {alert.alert}" if alert.alert in numbers else alert.alert
        for alert in alerts
    ]
    more = len(told) - _LISTED
    return ", ".join(told[:_LISTED]) + (f" and {more} more" if more > 0 else "")

"""What went where, at what rate: the figures of a route and of each of its stops.

Pure: readings as columns, events and marks in, figures out. Durations come from the board's
clock, wall times are carried along where the readings have them.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.accuracy import ASSUMED, Basis, Budget, Quantity, budget
from flowlog.monitor.outputs import Event, Position, Reading
from flowlog.monitor.stops import Columns, Mark, Span, at_work, find_stops, timeline
from flowlog.rig.model import Rig

Correct = Callable[[Columns, list[Span]], list[Span]]
"""Puts the stops right that were found: again in order, without overlap."""

GAP_S: Final = 2.0
"""A reading over more than this stands for a gap: it should cover one second."""


@dataclass(frozen=True, slots=True)
class Alert:
    """One alert from its opening to its clearing, or one thing that was noted."""

    alert: str
    code: str
    text: str
    """The newest sentence that told its size."""
    worst_text: str
    """The sentence that told its largest size."""
    checks: tuple[str, ...]
    since: Position
    opened: Position
    cleared: Position | None
    noted: bool
    """Noted only: there was nothing to clear."""
    size: float | None
    size_low: float | None
    size_high: float | None
    size_unit: str
    grew: int
    """How many times it grew, shrank or was named otherwise; not how often it was measured."""

    @property
    def open(self) -> bool:
        return self.cleared is None and not self.noted


@dataclass(frozen=True, slots=True)
class Figures:
    """Totals and statistics over a stretch of readings, in SI. None: not measured."""

    elapsed_s: float
    spraying_s: float
    """Boom open, the settling after it opened included."""
    area_m2: float
    """Counted, or given by a person: see `Stop.counted_area_m2`."""
    volume_m3: float
    """Through the meter, whatever the boom did."""
    pulses: int
    rate_m3_m2: float | None
    """All the volume over all the area."""
    judged_s: float
    """Settled spraying with a measured rate: the time that the two shares are parts of."""
    within_5_share: float | None
    """Part of `judged_s` in which the rate was within 5 % of the asked one."""
    within_10_share: float | None
    flow_m3_s: float | None
    """Mean while spraying, settled."""
    pressure_pa: float | None
    pressure_p5_pa: float | None
    """5 % of the settled seconds were below, 5 % above `pressure_p95_pa`."""
    pressure_p95_pa: float | None
    pressure_min_pa: float | None
    pressure_max_pa: float | None
    tank_m3: float | None
    """Left in the tank at the end."""
    samples: int
    lost: int
    """Samples that the board sent and that did not arrive."""
    gaps: int
    """Places where seconds are missing."""
    gap_s: float
    area_given: bool = False
    """A person gave the area: speed and width have no part in it."""


@dataclass(frozen=True, slots=True)
class Stop:
    number: int
    """Counts the stops of the route from 1."""
    name: str | None
    marked: bool
    first: int
    last: int
    """Its readings, both included."""
    begin: Position
    """The first reading in it."""
    end: Position
    begin_wall_us: int | None
    end_wall_us: int | None
    figures: Figures
    alerts: tuple[Alert, ...]
    """Those that began in it or before the next stop."""
    accuracy: Budget | None
    """Of the mean rate; None where there is no rate."""
    counted_area_m2: float | None = None
    """What was counted, where a person gave another area; None where the count holds."""


@dataclass(frozen=True, slots=True)
class Summary:
    """A whole route."""

    stops: tuple[Stop, ...]
    figures: Figures
    alerts: tuple[Alert, ...]
    accuracy: Budget | None
    volume_outside_m3: float
    """Went through the meter outside of all stops: flushing, or a leak."""
    begin_wall_us: int | None
    end_wall_us: int | None
    unused_marks: tuple[Mark, ...]
    """Marks to which no spraying belongs."""


def summarise(
    columns: Columns,
    events: Sequence[Event],
    marks: Sequence[Mark],
    rig: Rig,
    basis: Basis = ASSUMED,
    correct: Correct | None = None,
) -> Summary:
    """Sum up a route.

    Args:
        columns: all its readings, in order; see `flowlog.monitor.stops.Columns`.
        events: its events in order, those of the daemon may be among them.
        marks: the operator's marks.
        rig: the rig as it was on the route.
        basis: what of it was calibrated, and how well.
        correct: what a person put right about the stops afterwards.
    """
    spans, unused = find_stops(columns, marks, rig.thresholds.stop_pause_s)
    if correct is not None:
        spans = correct(columns, spans)
    alerts = alerts_of(events)
    ends = timeline(columns)
    whole = _figures(columns, ends, 0, len(ends) - 1, rig)
    stops = []
    for number, span in enumerate(spans, 1):
        until = spans[number].first if number < len(spans) else len(ends)
        stops.append(
            _stop(
                columns,
                ends,
                number=number,
                span=span,
                until=until,
                alerts=alerts,
                rig=rig,
                basis=basis,
            )
        )
    whole = _with_given_areas(whole, stops)
    return Summary(
        stops=tuple(stops),
        figures=whole,
        alerts=tuple(alerts),
        accuracy=_accuracy(rig, whole, basis),
        volume_outside_m3=whole.volume_m3 - sum(stop.figures.volume_m3 for stop in stops),
        begin_wall_us=_wall(columns, 0),
        end_wall_us=_wall(columns, -1),
        unused_marks=tuple(unused),
    )


def _with_given_areas(whole: Figures, stops: Sequence[Stop]) -> Figures:
    """The sums of the route, with the areas that a person gave in place of the counted ones."""
    added = [
        stop.figures.area_m2 - stop.counted_area_m2
        for stop in stops
        if stop.counted_area_m2 is not None
    ]
    return _with_area(whole, whole.area_m2 + sum(added)) if added else whole


def _with_area(figures: Figures, area_m2: float) -> Figures:
    rate = figures.volume_m3 / area_m2 if area_m2 > 0 else None
    return dataclasses.replace(figures, area_m2=area_m2, rate_m3_m2=rate)


def alerts_of(events: Sequence[Event]) -> list[Alert]:
    """Put the events of each alert together, in the order of their opening."""
    lives: dict[str, list[Event]] = {}
    for number, event in enumerate(events):
        # What is noted stands for itself, even if the same thing is noted twice.
        key = f"{event.alert} {number}" if event.change == "noted" else event.alert
        lives.setdefault(key, []).append(event)
    return [_alert(life) for life in lives.values()]


def _alert(life: Sequence[Event]) -> Alert:
    told = [event for event in life if event.change != "cleared"] or list(life)
    newest = told[-1]
    sizes = _sizes(told)
    # What it was taken for before may have been told in other units, which do not compare.
    same = [event for event in sizes if event.size_unit == newest.size_unit]
    worst = max(same, key=lambda event: abs(event.size or 0.0))
    cleared = life[-1].at if life[-1].change == "cleared" else None
    return Alert(
        alert=newest.alert,
        code=newest.code,
        text=newest.text,
        worst_text=worst.text,
        checks=newest.checks,
        since=newest.since,
        opened=life[0].at,
        cleared=cleared,
        noted=newest.change == "noted",
        size=newest.size,
        size_low=newest.size_low,
        size_high=newest.size_high,
        size_unit=newest.size_unit,
        grew=len(sizes) - 1,
    )


def _sizes(told: Sequence[Event]) -> list[Event]:
    """What an alert said of itself, without what was measured better afterwards."""
    sizes: list[Event] = []
    for event in told:
        if sizes and "surer" in event.details and event.code == sizes[-1].code:
            sizes[-1] = event
        else:
            sizes.append(event)
    return sizes


def _stop(
    columns: Columns,
    ends: NDArray[np.float64],
    *,
    number: int,
    span: Span,
    until: int,
    alerts: Sequence[Alert],
    rig: Rig,
    basis: Basis,
) -> Stop:
    figures = _figures(columns, ends, span.first, span.last, rig)
    counted = None
    if span.given_area_m2 is not None:
        counted = figures.area_m2
        figures = dataclasses.replace(_with_area(figures, span.given_area_m2), area_given=True)
    own = [alert for alert in alerts if span.first <= _reading_of(columns, alert.opened) < until]
    return Stop(
        number=number,
        name=span.name,
        marked=span.marked,
        first=span.first,
        last=span.last,
        begin=_position(columns, span.first),
        end=_position(columns, span.last),
        begin_wall_us=_wall(columns, span.first),
        end_wall_us=_wall(columns, span.last),
        figures=figures,
        alerts=tuple(own),
        accuracy=_accuracy(rig, figures, basis),
        counted_area_m2=counted,
    )


def _figures(
    columns: Columns, ends: NDArray[np.float64], first: int, last: int, rig: Rig
) -> Figures:
    part = slice(first, last + 1)
    cut = {name: column[part] for name, column in columns.items()}
    seconds = cut["seconds"]
    volume, area = float(cut["volume_m3"].sum()), float(cut["area_m2"].sum())
    settled = cut["phase"] == "spraying"
    rate = cut["rate_m3_m2"]
    judged = settled & np.isfinite(rate)
    judged_s = float(seconds[judged].sum())
    off = np.abs(rate[judged] / rig.work.rate_m3_m2 - 1.0)
    flow = cut["flow_m3_s"]
    metered = settled & np.isfinite(flow)
    pressure = cut["pressure_pa"][settled]
    pressure = pressure[np.isfinite(pressure)]
    tank = cut["tank_m3"]
    tank = tank[np.isfinite(tank)]
    missing = seconds[seconds > GAP_S]
    return Figures(
        elapsed_s=float(ends[last] - ends[first] + seconds[0]) if len(seconds) else 0.0,
        spraying_s=float(seconds[at_work(cut)].sum()),
        area_m2=area,
        volume_m3=volume,
        pulses=int(cut["pulses"].sum()),
        rate_m3_m2=volume / area if area > 0 else None,
        judged_s=judged_s,
        within_5_share=_share(seconds[judged], off <= 0.05),
        within_10_share=_share(seconds[judged], off <= 0.10),
        flow_m3_s=(
            float(np.average(flow[metered], weights=seconds[metered]))
            if seconds[metered].sum() > 0
            else None
        ),
        pressure_pa=float(pressure.mean()) if len(pressure) else None,
        pressure_p5_pa=_percentile(pressure, 5) if len(pressure) else None,
        pressure_p95_pa=_percentile(pressure, 95) if len(pressure) else None,
        pressure_min_pa=_extreme(cut["pressure_min_pa"][settled], -1),
        pressure_max_pa=_extreme(cut["pressure_max_pa"][settled], 1),
        tank_m3=float(tank[-1]) if len(tank) else None,
        samples=int(cut["samples"].sum()),
        lost=int(cut["lost"].sum()),
        gaps=len(missing),
        gap_s=float(missing.sum()) - len(missing),
    )


def _percentile(values: NDArray[np.float64], share: float) -> float:
    """As `numpy.percentile`, which loads the masked arrays (over 1 MB) to find its way."""
    place = (len(values) - 1) * share / 100
    low = int(place)
    high = min(low + 1, len(values) - 1)
    parted = np.partition(values, (low, high))
    return float(parted[low] + (place - low) * (parted[high] - parted[low]))


def _share(seconds: NDArray[np.float64], good: NDArray[np.bool_]) -> float | None:
    total = float(seconds.sum())
    return float(seconds[good].sum()) / total if total > 0 else None


def _extreme(values: NDArray[np.float64], sign: int) -> float | None:
    measured = values[np.isfinite(values)]
    return sign * float((sign * measured).max()) if len(measured) else None


def _accuracy(rig: Rig, figures: Figures, basis: Basis) -> Budget | None:
    if figures.rate_m3_m2 is None:
        return None
    return known(rig, figures, "rate", basis)


def known(rig: Rig, figures: Figures, quantity: Quantity, basis: Basis = ASSUMED) -> Budget | None:
    """How sure one of the totals is; None where the meter gave no pulse, or a person the area."""
    if quantity != "area" and figures.pulses <= 0:
        return None
    if figures.area_given:
        if quantity == "area":
            return None
        # The given area is taken as it was given: what is left is the volume's doubt.
        volume = budget(rig, figures.pulses, "volume", basis, figures.flow_m3_s)
        return dataclasses.replace(volume, quantity=quantity)
    return budget(rig, figures.pulses, quantity, basis, figures.flow_m3_s)


def _position(columns: Columns, index: int) -> Position:
    return Position(
        int(columns["segment"][index]), int(columns["seq"][index]), int(columns["t_us"][index])
    )


def _reading_of(columns: Columns, at: Position) -> int:
    """The reading in which `at` lies; the number of readings if it lies behind all of them."""
    low = int(np.searchsorted(columns["segment"], at.segment, side="left"))
    high = int(np.searchsorted(columns["segment"], at.segment, side="right"))
    return low + int(np.searchsorted(columns["t_us"][low:high], at.t_us, side="left"))


def _wall(columns: Columns, index: int) -> int | None:
    wall = columns.get("wall_us")
    return int(wall[index]) if wall is not None and len(wall) else None


def columns_of(readings: Sequence[Reading]) -> Columns:
    """Readings as they come from the pipeline, as columns; without `wall_us`."""
    columns: dict[str, NDArray[np.generic]] = {
        name: np.array([getattr(reading.at, name) for reading in readings], dtype=np.int64)
        for name in ("segment", "seq", "t_us")
    }
    columns["phase"] = np.array([reading.phase for reading in readings], dtype=np.str_)
    for name in ("pulses", "samples", "lost"):
        columns[name] = np.array([getattr(reading, name) for reading in readings], dtype=np.int64)
    for name in _MEASURED:
        # None becomes NaN.
        values = [getattr(reading, name) for reading in readings]
        columns[name] = np.array(values, dtype=np.float64)
    return columns


_MEASURED: Final = (
    "seconds",
    "volume_m3",
    "area_m2",
    "flow_m3_s",
    "pressure_pa",
    "pressure_min_pa",
    "pressure_max_pa",
    "rate_m3_m2",
    "speed_m_s",
    "conductance_share",
    "tank_m3",
)

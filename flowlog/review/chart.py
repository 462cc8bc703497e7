"""What a chart of a route shows in a window: rate, flow and pressure with their bands, the stops
and the alerts. Plain data; `flowlog.review.chart_svg` draws it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.codes import CODES
from flowlog.review.decimate import Trace, decimate
from flowlog.review.live_state import ON_RATE_SHARE
from flowlog.review.places import TimeLine, time_line
from flowlog.review.route import RouteReview
from flowlog.rig.model import Rig
from flowlog.units import Kind

Name = Literal["rate", "flow", "pressure"]
PANELS: Final[tuple[Name, ...]] = ("rate", "flow", "pressure")
SHORTEST_S: Final = 10.0
MOST_COLUMNS: Final = 2000


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity in SI."""

    name: Name
    trace: Trace
    low: float
    """The band in which it may be."""
    high: float
    target: float | None

    @property
    def kind(self) -> Kind:
        return self.name


@dataclass(frozen=True, slots=True)
class Strip:
    """A stop on the time line."""

    number: int
    name: str | None
    begin_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Flag:
    """An alert on the time line."""

    number: int
    """Counts the route's alerts from 1, as in its table."""
    title: str
    text: str
    urgent: bool
    since_s: float
    """Estimated onset."""
    said_s: float
    cleared_s: float | None


@dataclass(frozen=True, slots=True)
class Chart:
    """Times in seconds since the route's beginning."""

    begin_s: float
    end_s: float
    length_s: float
    """Of the whole route."""
    step_s: float
    """What a point stands for at least: a column of pixels, or one second, or half a one."""
    panels: tuple[Panel, ...]
    stops: tuple[Strip, ...]
    flags: tuple[Flag, ...]
    begin_wall_us: int | None
    """Wall time of `begin_s`; None where the computer's clock was not set."""
    note: str = ""


def chart_of(
    review: RouteReview,
    begin_s: float | None = None,
    end_s: float | None = None,
    columns: int = 600,
    fine: tuple[Trace, Trace, Trace] | None = None,
) -> Chart:
    """What lies in a window.

    Args:
        begin_s, end_s: seconds since the route's beginning; None for its ends. The window is
            moved and widened so that it lies in the route and is at least `SHORTEST_S` long.
        columns: points that can be drawn side by side.
        fine: rate, flow and pressure of the window in shorter steps than one second, if derived.
    """
    line = time_line(review.columns)
    begin, end = window(line.length_s, begin_s, end_s)
    columns = min(max(columns, 10), MOST_COLUMNS)
    traces = fine or _traces(review, line, begin, end, columns)
    step = (end - begin) / columns
    if fine or len(traces[1]) < columns:
        step = float(np.median(np.diff(traces[1].at_s))) if len(traces[1]) > 1 else 1.0
    panels = tuple(
        Panel(name, trace, *band(review.rig, name))
        for name, trace in zip(PANELS, traces, strict=True)
    )
    known = review.clock != "none"
    return Chart(
        begin_s=begin,
        end_s=end,
        length_s=line.length_s,
        step_s=step,
        panels=panels,
        stops=tuple(strip for strip in strips(review, line) if _meets(strip, begin, end)),
        flags=tuple(flag for flag in flags(review, line) if begin <= flag.since_s <= end),
        begin_wall_us=line.wall_of(begin) if known else None,
    )


def window(length_s: float, begin_s: float | None, end_s: float | None) -> tuple[float, float]:
    """A window that lies in the route as far as the route is long enough for it."""
    begin = 0.0 if begin_s is None else begin_s
    end = max(length_s, SHORTEST_S) if end_s is None else end_s
    width = min(max(end - begin, SHORTEST_S), max(length_s, SHORTEST_S))
    begin = min(max(begin, 0.0), max(length_s - width, 0.0))
    return begin, begin + width


def band(rig: Rig, name: Name) -> tuple[float, float, float | None]:
    """Lower end, upper end and target of a quantity in SI."""
    if name == "pressure":
        return rig.boom.pressure_low_pa, rig.boom.pressure_high_pa, None
    target = rig.work.rate_m3_m2 if name == "rate" else rig.expected_flow_m3_s
    return target * (1 - ON_RATE_SHARE), target * (1 + ON_RATE_SHARE), target


def strips(review: RouteReview, line: TimeLine) -> list[Strip]:
    """The stops of a route on its time line."""
    return [
        Strip(stop.number, stop.name, float(line.begin_s[stop.first]), float(line.end_s[stop.last]))
        for stop in review.summary.stops
    ]


def flags(review: RouteReview, line: TimeLine) -> list[Flag]:
    """The alerts of a route on its time line, in the order of their opening."""
    found = []
    real = [alert for alert in review.summary.alerts if not alert.noted]
    for number, alert in enumerate(real, 1):
        code = CODES.get(alert.code)
        cleared = alert.cleared
        found.append(
            Flag(
                number,
                code.title if code else alert.code.replace("_", " ").capitalize(),
                alert.worst_text,
                code is not None and code.urgency == "stop",
                line.second_of(alert.since.segment, alert.since.t_us),
                line.second_of(alert.opened.segment, alert.opened.t_us),
                None if cleared is None else line.second_of(cleared.segment, cleared.t_us),
            )
        )
    return found


def chart_dict(chart: Chart) -> dict[str, Any]:
    """The chart as plain data in SI; None where nothing was measured."""
    return {
        "begin_s": chart.begin_s,
        "end_s": chart.end_s,
        "length_s": chart.length_s,
        "step_s": chart.step_s,
        "begin_wall_us": chart.begin_wall_us,
        "panels": [
            {
                "name": panel.name,
                "unit": {"rate": "m3/m2", "flow": "m3/s", "pressure": "Pa"}[panel.name],
                "band": [panel.low, panel.high],
                "target": panel.target,
                "at_s": _plain(panel.trace.at_s),
                "low": _plain(panel.trace.low),
                "mean": _plain(panel.trace.mean),
                "high": _plain(panel.trace.high),
            }
            for panel in chart.panels
        ],
        "stops": [
            {
                "number": strip.number,
                "name": strip.name,
                "begin_s": strip.begin_s,
                "end_s": strip.end_s,
            }
            for strip in chart.stops
        ],
        "alerts": [
            {
                "number": flag.number,
                "title": flag.title,
                "text": flag.text,
                "since_s": flag.since_s,
                "said_s": flag.said_s,
                "cleared_s": flag.cleared_s,
            }
            for flag in chart.flags
        ],
    }


def _traces(
    review: RouteReview, line: TimeLine, begin: float, end: float, columns: int
) -> tuple[Trace, Trace, Trace]:
    readings = review.columns
    at, seconds = line.middle_s, np.asarray(readings["seconds"], dtype=np.float64)

    def trace(low: str, mean: str, high: str) -> Trace:
        values = [np.asarray(readings[name], dtype=np.float64) for name in (low, mean, high)]
        return decimate(at, seconds, values[0], values[1], values[2], begin, end, columns)

    return (
        trace("rate_m3_m2", "rate_m3_m2", "rate_m3_m2"),
        trace("flow_m3_s", "flow_m3_s", "flow_m3_s"),
        trace("pressure_min_pa", "pressure_pa", "pressure_max_pa"),
    )


def _meets(strip: Strip, begin: float, end: float) -> bool:
    return strip.end_s > begin and strip.begin_s < end


def _plain(values: NDArray[np.float64]) -> list[float | None]:
    return [float(f"{value:.7g}") if np.isfinite(value) else None for value in values]

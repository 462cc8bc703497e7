"""Charts, histograms, seasons and comparisons as CSV, in the rig's units, which columns name."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from typing import TextIO

import numpy as np

from flowlog.review.chart import Chart
from flowlog.review.export_csv import cell, named
from flowlog.review.histogram import Histogram
from flowlog.review.season import Season
from flowlog.review.sums import RouteSums
from flowlog.review.words import iso_times
from flowlog.units import Units, display_unit, number_in


def chart_csv(chart: Chart, units: Units, out: TextIO) -> None:
    """One line a point: least, mean and most of each quantity."""
    writer = csv.writer(out, lineterminator="\n")
    head = ["second", "time_local", "time_utc"]
    for panel in chart.panels:
        head += [
            f"{named(panel.name, panel.kind, units)}_{which}" for which in ("low", "mean", "high")
        ]
    writer.writerow(head)
    # The panels have the same readings in the same columns of pixels.
    for index, second in enumerate(chart.panels[1].trace.at_s.tolist()):
        wall = chart.begin_wall_us
        at = None if wall is None else wall + round((second - chart.begin_s) * 1e6)
        row: list[object] = [f"{second:.3f}", *(text or "" for text in iso_times(at))]
        for panel in chart.panels:
            factor = number_in(1.0, panel.kind, display_unit(panel.kind, units))
            trace = panel.trace
            row += [
                cell(float(values[index]) * factor)
                for values in (trace.low, trace.mean, trace.high)
            ]
        writer.writerow(row)


def histogram_csv(found: Histogram, out: TextIO) -> None:
    """One line a step; the two ends are open."""
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["deviation_from_percent", "deviation_to_percent", "seconds"])
    edges = np.round(100 * found.edges, 6).tolist()
    writer.writerow(["", edges[0], f"{found.below_s:.3f}"])
    for low, high, seconds in zip(edges[:-1], edges[1:], found.seconds.tolist(), strict=True):
        writer.writerow([low, high, f"{seconds:.3f}"])
    writer.writerow([edges[-1], "", f"{found.above_s:.3f}"])


def season_csv(found: Season, out: TextIO) -> None:
    """One line a quarter hour; a change stands in the first line of the route that it came with."""
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        [
            *("route", "hours_of_spraying", "time_utc", "seconds", "of_new_tips_percent"),
            *("of_healthy_percent", "log_conductance", "changed"),
        ]
    )
    told: set[int] = set()
    for point in found.points:
        changes = [one.text for one in found.changes if one.route == point.route]
        quarter = point.quarter
        writer.writerow(
            [
                point.route,
                f"{point.begin_h:.4f}",
                iso_times(quarter.wall_us)[1] or "",
                f"{quarter.seconds:.1f}",
                cell(None if quarter.of_new_tips is None else 100 * quarter.of_new_tips),
                cell(None if quarter.share is None else 100 * quarter.share),
                cell(quarter.log_conductance),
                "; ".join(changes) if point.route not in told else "",
            ]
        )
        told.add(point.route)


def routes_csv(routes: Sequence[RouteSums], units: Units, out: TextIO) -> None:
    """One line a route."""
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        [
            *("route", "name", "begin_local", "begin_utc", "end_utc", "clock", "ended"),
            "spraying_s",
            named("area", "area", units),
            named("volume", "volume", units),
            named("rate", "rate", units),
            named("asked_rate", "rate", units),
            *("within_5_percent_of_time", "stops", "alerts", "corrections", "derived_anew"),
        ]
    )
    for one in routes:
        begin = iso_times(one.begin_wall_us)
        writer.writerow(
            [
                one.number,
                one.route.name or "",
                begin[0] or "",
                begin[1] or "",
                iso_times(one.end_wall_us)[1] or "",
                one.clock,
                one.route.ended_wall_us is not None,
                f"{one.spraying_s:.1f}",
                cell(number_in(one.area_m2, "area", display_unit("area", units))),
                cell(number_in(one.volume_m3, "volume", display_unit("volume", units))),
                cell(
                    None
                    if one.rate_m3_m2 is None
                    else number_in(one.rate_m3_m2, "rate", display_unit("rate", units))
                ),
                cell(number_in(one.asked_rate_m3_m2, "rate", display_unit("rate", units))),
                cell(None if one.within_5_share is None else 100 * one.within_5_share),
                one.stops,
                one.alerts,
                one.corrections,
                one.derived,
            ]
        )

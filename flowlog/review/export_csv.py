"""A route as CSV, for spreadsheets: in the rig's own units, which every column names.

What was not measured is an empty cell. Times stand as local time and as UTC, ISO 8601; the column
`clock` says how far to trust them (`flowlog.review.route.clock_word`), while `board_s` and
`seconds` come from the board's clock and are right in any case.
"""

from __future__ import annotations

import csv
import math
from typing import Final, TextIO

from flowlog.monitor.summary import Stop
from flowlog.review.route import RouteReview, stop_numbers
from flowlog.review.words import iso_times
from flowlog.units import Kind, Units, display_unit, number_in

_SUFFIXES: Final[dict[str, str]] = {
    "gal/min": "gal_min",
    "L/min": "l_min",
    "psi": "psi",
    "bar": "bar",
    "gal/1000 ft2": "gal_1000ft2",
    "L/ha": "l_ha",
    "mph": "mph",
    "km/h": "km_h",
    "ft2": "ft2",
    "m2": "m2",
    "gal": "gal",
    "L": "l",
}
_MEASURED: Final[tuple[tuple[str, str, Kind], ...]] = (
    ("volume", "volume_m3", "volume"),
    ("area", "area_m2", "area"),
    ("flow", "flow_m3_s", "flow"),
    ("pressure", "pressure_pa", "pressure"),
    ("pressure_min", "pressure_min_pa", "pressure"),
    ("pressure_max", "pressure_max_pa", "pressure"),
    ("rate", "rate_m3_m2", "rate"),
    ("speed", "speed_m_s", "speed"),
    ("tank", "tank_m3", "volume"),
)
"""Name in a CSV, column of the readings, kind."""


def readings_csv(review: RouteReview, out: TextIO) -> None:
    """One line a reading, in the rig's units. Open `out` with newline=""."""
    writer = csv.writer(out, lineterminator="\n")
    units, columns = review.rig.units, review.columns
    measured = [(named(name, kind, units), column, kind) for name, column, kind in _MEASURED]
    begin = "time_local time_utc clock stop segment seq board_s seconds phase pulses"
    end = "boom_of_healthy_percent samples lost"
    writer.writerow([*begin.split(), *(name for name, _, _ in measured), *end.split()])
    stops = stop_numbers(review)
    factors = [1 / number_in(1.0, kind, display_unit(kind, units)) for _, _, kind in measured]
    for index in range(len(columns["seconds"])):
        wall_us = int(columns["wall_us"][index])
        values = [
            cell(float(columns[column][index]) / factor)
            for (_, column, _), factor in zip(measured, factors, strict=True)
        ]
        writer.writerow(
            [
                *iso_times(wall_us),
                review.clock,
                stops[index] or "",
                int(columns["segment"][index]),
                int(columns["seq"][index]),
                f"{int(columns['t_us'][index]) / 1e6:.6f}",
                cell(float(columns["seconds"][index])),
                str(columns["phase"][index]),
                int(columns["pulses"][index]),
                *values,
                cell(100 * float(columns["conductance_share"][index])),
                int(columns["samples"][index]),
                int(columns["lost"][index]),
            ]
        )


def summary_csv(review: RouteReview, out: TextIO) -> None:
    """One line a stop and one for the route, in the rig's units. Open `out` with newline=""."""
    rows = [_csv_row(review, None), *(_csv_row(review, stop) for stop in review.summary.stops)]
    writer = csv.DictWriter(out, fieldnames=list(rows[0]), lineterminator="\n")
    writer.writeheader()
    # The stops in their order, then the sum of all, as on paper.
    writer.writerows([*rows[1:], rows[0]])


def _csv_row(review: RouteReview, stop: Stop | None) -> dict[str, object]:
    units = review.rig.units
    figures = review.summary.figures if stop is None else stop.figures
    alerts = review.summary.alerts if stop is None else stop.alerts
    accuracy = review.summary.accuracy if stop is None else stop.accuracy
    begin = review.summary.begin_wall_us if stop is None else stop.begin_wall_us
    end = review.summary.end_wall_us if stop is None else stop.end_wall_us
    row: dict[str, object] = {
        "route": review.number,
        "stop": "all" if stop is None else stop.number,
        "name": (review.route.name if stop is None else stop.name) or "",
        "begin_local": iso_times(begin)[0],
        "begin_utc": iso_times(begin)[1],
        "end_local": iso_times(end)[0],
        "end_utc": iso_times(end)[1],
        "clock": review.clock,
        "elapsed_s": cell(figures.elapsed_s),
        "spraying_s": cell(figures.spraying_s),
    }
    measured: tuple[tuple[str, float | None, Kind], ...] = (
        ("area", figures.area_m2, "area"),
        ("volume", figures.volume_m3, "volume"),
        ("rate", figures.rate_m3_m2, "rate"),
        ("asked_rate", review.rig.work.rate_m3_m2, "rate"),
        ("flow", figures.flow_m3_s, "flow"),
        ("pressure", figures.pressure_pa, "pressure"),
        ("pressure_p5", figures.pressure_p5_pa, "pressure"),
        ("pressure_p95", figures.pressure_p95_pa, "pressure"),
        ("pressure_min", figures.pressure_min_pa, "pressure"),
        ("pressure_max", figures.pressure_max_pa, "pressure"),
        ("tank_at_end", figures.tank_m3, "volume"),
    )
    for name, value, kind in measured:
        unit = display_unit(kind, units)
        number = None if value is None else number_in(value, kind, unit)
        row[named(name, kind, units)] = cell(number)
    row |= {
        "rate_sure_to_percent": cell(None if accuracy is None else 100 * accuracy.expanded),
        "within_5_percent_of_time": cell(_percent(figures.within_5_share)),
        "within_10_percent_of_time": cell(_percent(figures.within_10_share)),
        "alerts": sum(not alert.noted for alert in alerts),
        "samples": figures.samples,
        "lost": figures.lost,
        "gaps": figures.gaps,
        "gap_s": cell(figures.gap_s),
    }
    return row


def named(name: str, kind: Kind, units: Units) -> str:
    """A column's name with the unit in it."""
    return f"{name}_{_SUFFIXES[display_unit(kind, units)]}"


def cell(value: float | None) -> str:
    """A number as a spreadsheet reads it; empty where nothing was measured."""
    return "" if value is None or not math.isfinite(value) else f"{value:.6g}"


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share

"""Two routes side by side: the same figures of both, and the difference."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, TextIO

from flowlog.review.export_csv import cell, named
from flowlog.review.export_json import finite
from flowlog.review.route import RouteReview
from flowlog.units import Kind, Units, display_unit, number_in


@dataclass(frozen=True, slots=True)
class Line:
    """One figure of both routes, in SI; None where it was not measured."""

    name: str
    unit: str
    """The SI unit as it ends a key in JSON; `share`, `s`, or empty for a number of things."""
    label: str
    kind: Kind | None
    one: float | None
    other: float | None

    @property
    def difference(self) -> float | None:
        """Of the second from the first."""
        if self.one is None or self.other is None:
            return None
        return self.other - self.one


_Of = Callable[[RouteReview], float | None]


def _figure(name: str) -> _Of:
    def look(review: RouteReview) -> float | None:
        value = getattr(review.summary.figures, name)
        return None if value is None else finite(float(value))

    return look


def _alerts(review: RouteReview) -> float:
    return float(sum(not alert.noted for alert in review.summary.alerts))


_LINES: Final[tuple[tuple[str, str, str, Kind | None, _Of], ...]] = (
    ("rate", "m3_m2", "Rate", "rate", _figure("rate_m3_m2")),
    ("asked_rate", "m3_m2", "Rate asked for", "rate", lambda one: one.rig.work.rate_m3_m2),
    ("within_5", "share", "Time within 5 %", None, _figure("within_5_share")),
    ("within_10", "share", "Time within 10 %", None, _figure("within_10_share")),
    ("area", "m2", "Area", "area", _figure("area_m2")),
    ("volume", "m3", "Volume", "volume", _figure("volume_m3")),
    ("flow", "m3_s", "Flow, mean", "flow", _figure("flow_m3_s")),
    ("pressure", "pa", "Pressure, mean", "pressure", _figure("pressure_pa")),
    ("pressure_p5", "pa", "Pressure, 5 % were below", "pressure", _figure("pressure_p5_pa")),
    ("pressure_p95", "pa", "Pressure, 5 % were above", "pressure", _figure("pressure_p95_pa")),
    ("spraying", "s", "Sprayed", None, _figure("spraying_s")),
    ("elapsed", "s", "Under way", None, _figure("elapsed_s")),
    ("stops", "", "Stops", None, lambda one: float(len(one.summary.stops))),
    ("alerts", "", "Alerts", None, _alerts),
)


def compared(one: RouteReview, other: RouteReview) -> list[Line]:
    """The figures of both."""
    return [
        Line(name, unit, label, kind, of(one), of(other)) for name, unit, label, kind, of in _LINES
    ]


def compared_dict(one: RouteReview, other: RouteReview) -> dict[str, Any]:
    """As plain data in SI."""
    return {
        "a": one.number,
        "b": other.number,
        "figures": [
            {
                "name": f"{line.name}_{line.unit}" if line.unit else line.name,
                "a": line.one,
                "b": line.other,
                "difference": line.difference,
            }
            for line in compared(one, other)
        ],
    }


def compared_csv(one: RouteReview, other: RouteReview, units: Units, out: TextIO) -> None:
    """One line a figure, in these units."""
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["figure", f"route_{one.number}", f"route_{other.number}", "difference"])
    for line in compared(one, other):
        if line.kind is None:
            name, factor = (f"{line.name}_{line.unit}" if line.unit else line.name), 1.0
        else:
            name = named(line.name, line.kind, units)
            factor = number_in(1.0, line.kind, display_unit(line.kind, units))
        values = (line.one, line.other, line.difference)
        writer.writerow([name, *(cell(None if v is None else v * factor) for v in values)])

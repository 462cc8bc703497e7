"""The sums of the route and of its newest stop, from as few columns as that takes.

The same figures as `flowlog.monitor.summary`, which wants all columns and sums up every stop: too
much for once a second on a small computer, all day long.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from flowlog.monitor.stops import Columns, Mark, Span, at_work, find_stops
from flowlog.review.live_state import Totals
from flowlog.rig.model import Rig

COLUMNS: Final = (
    *("segment", "seq", "t_us", "wall_us", "seconds", "phase"),
    *("volume_m3", "area_m2"),
)


def live_totals(columns: Columns, marks: Sequence[Mark], rig: Rig) -> tuple[Totals, Totals | None]:
    """Route and newest stop.

    Args:
        columns: at least `COLUMNS`, all readings of the route so far.
    """
    spans, _ = find_stops(columns, marks, rig.thresholds.stop_pause_s)
    given_m2 = sum(
        span.given_area_m2 - _area_m2(columns, _part(span))
        for span in spans
        if span.given_area_m2 is not None
    )
    route = _totals("ROUTE", columns, slice(None), added_m2=given_m2)
    if not spans:
        return route, None
    last, number = spans[-1], len(spans)
    added_m2 = 0.0
    if last.given_area_m2 is not None:
        added_m2 = last.given_area_m2 - _area_m2(columns, _part(last))
    stop = _totals(f"STOP {number}", columns, _part(last), last.name, number, added_m2)
    return route, stop


def _part(span: Span) -> slice:
    return slice(span.first, span.last + 1)


def _area_m2(columns: Columns, part: slice) -> float:
    return float(columns["area_m2"][part].sum())


def _totals(
    label: str,
    columns: Columns,
    part: slice,
    name: str | None = None,
    number: int | None = None,
    added_m2: float = 0.0,
) -> Totals:
    cut = {key: column[part] for key, column in columns.items()}
    area_m2, volume_m3 = _area_m2(columns, part) + added_m2, float(cut["volume_m3"].sum())
    return Totals(
        label,
        area_m2,
        volume_m3,
        volume_m3 / area_m2 if area_m2 > 0 else None,
        float(cut["seconds"][at_work(cut)].sum()),
        name,
        number,
    )

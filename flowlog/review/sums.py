"""A route in one line, and its boom in quarter hours, from the few columns that they need.

A list of a season's routes must not read two million readings whole.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.conductance import SQUARE_ROOT, Law, law_of
from flowlog.monitor.stops import Columns, Mark, find_stops
from flowlog.monitor.summary import alerts_of
from flowlog.review.corrected import Held, chosen_calibrations, corrected, held, new_tips
from flowlog.review.load import in_use_on, load_numbered
from flowlog.review.route import ClockWord, clock_word
from flowlog.rig.model import Rig
from flowlog.store.archive import Archive
from flowlog.store.rows import EventRow, RouteRow, StopMark

QUARTER_S: Final = 900.0
_SHORTEST_S: Final = 60.0
"""Of settled spraying: a shorter rest of a route is no point of its own."""
_NAMES: Final = (
    *("segment", "t_us", "wall_us", "seconds", "phase", "area_m2", "volume_m3"),
    *("flow_m3_s", "pressure_pa", "rate_m3_m2", "conductance_share"),
)


@dataclass(frozen=True, slots=True)
class Quarter:
    """A quarter of an hour of settled spraying (the last one of a route may be shorter)."""

    wall_us: int
    """Of its beginning."""
    seconds: float
    share: float | None
    """What the boom passed, of what it passed when healthy on that route; None if not judged."""
    log_conductance: float | None
    """Mean of ln(Q / P^0.5) of the whole boom, as of water; Q in m3/s, P in Pa at the gauge. By the
    calibrated law where there is one: as it would be at that law's pressure."""
    of_new_tips: float | None
    """The same as a share of what new tips pass by the rig file."""


@dataclass(frozen=True, slots=True)
class RouteSums:
    """A route, summed up. SI."""

    number: int
    route: RouteRow
    clock: ClockWord
    begin_wall_us: int
    end_wall_us: int | None
    spraying_s: float
    area_m2: float
    volume_m3: float
    rate_m3_m2: float | None
    asked_rate_m3_m2: float
    within_5_share: float | None
    stops: int
    stop_names: tuple[str, ...]
    alerts: int
    open_alerts: int
    corrections: int
    derived: bool
    underived: str
    quarters: tuple[Quarter, ...]
    calibration_ids: tuple[int, ...]
    calibration_names: tuple[str, ...]
    """`meter 3`, one each."""
    tips: tuple[int, float]
    """How many, and the coefficient of one, by the rig file."""
    new_tips: tuple[str, ...]
    """What a person said was done to the tips before this route."""


def sums_of(archive: Archive, number: int, route: RouteRow) -> RouteSums:
    """Sum up a route, corrections applied.

    A route whose readings are to come from other calibrations, and that nobody derived anew yet,
    is summed up as it was logged; `underived` then says so.
    """
    corrections = held(archive.corrections(route.uid))
    in_use = in_use_on(archive, route)
    columns: Columns
    if chosen_calibrations(corrections) is None:
        columns, derived, why = archive.readings(route.id, names=_NAMES), False, ""
        events, rig, marks = archive.events(route.id), in_use.rig, archive.stops(route.id)
    else:
        review = load_numbered(archive, number, route, derive=False)
        columns, derived, why = review.columns, review.derived, review.underived
        events, rig, marks = list(review.events), review.rig, archive.stops(route.id)
    names = tuple(f"{one.row.kind} {one.id}" for one in in_use.used)
    sums = _sums(
        number, route, rig, columns, events, marks, corrections, in_use.ids, names, derived, why
    )
    return replace(sums, quarters=tuple(quarters(columns, rig, law_of(in_use.baseline))))


def _sums(
    number: int,
    route: RouteRow,
    rig: Rig,
    columns: Columns,
    events: list[EventRow],
    marks: list[StopMark],
    corrections: tuple[Held, ...],
    ids: tuple[int, ...],
    names: tuple[str, ...],
    derived: bool,
    why: str,
) -> RouteSums:
    said = [Mark(mark.kind, mark.segment, mark.t_us, mark.name, mark.area_m2) for mark in marks]
    spans = find_stops(columns, said, rig.thresholds.stop_pause_s)[0]
    spans = corrected(columns, spans, corrections)
    area = float(columns["area_m2"].sum())
    for span in spans:
        if span.given_area_m2 is not None:
            area += span.given_area_m2 - float(columns["area_m2"][span.first : span.last + 1].sum())
    volume = float(columns["volume_m3"].sum())
    seconds, phase, rate = columns["seconds"], columns["phase"], columns["rate_m3_m2"]
    open_ = (phase == "spraying") | (phase == "settling") | (columns["area_m2"] > 0)
    judged = (phase == "spraying") & np.isfinite(rate)
    judged_s = float(seconds[judged].sum())
    near = judged & (np.abs(rate / rig.work.rate_m3_m2 - 1.0) <= 0.05)
    alerts = [alert for alert in alerts_of([row.event for row in events]) if not alert.noted]
    wall = columns["wall_us"]
    return RouteSums(
        number=number,
        route=route,
        clock=clock_word(columns, events),
        begin_wall_us=int(wall[0]) if len(wall) else route.began_wall_us,
        end_wall_us=int(wall[-1]) if len(wall) else None,
        spraying_s=float(seconds[open_].sum()),
        area_m2=area,
        volume_m3=volume,
        rate_m3_m2=volume / area if area > 0 else None,
        asked_rate_m3_m2=rig.work.rate_m3_m2,
        within_5_share=float(seconds[near].sum()) / judged_s if judged_s else None,
        stops=len(spans),
        stop_names=tuple(span.name for span in spans if span.name),
        alerts=len(alerts),
        open_alerts=sum(alert.open for alert in alerts),
        corrections=sum(one.holds for one in corrections),
        derived=derived,
        underived=why,
        quarters=(),
        calibration_ids=ids,
        calibration_names=names,
        tips=(rig.boom.tips, rig.boom.tip.coefficient),
        new_tips=tuple(new_tips(corrections)),
    )


def quarters(columns: Columns, rig: Rig, law: Law = SQUARE_ROOT) -> list[Quarter]:
    """The settled spraying of a route in quarter hours; `law` says how flow goes with pressure."""
    settled = columns["phase"] == "spraying"
    seconds = np.asarray(columns["seconds"], dtype=np.float64)[settled]
    if not len(seconds):
        return []
    passed = np.cumsum(seconds)
    place = ((passed - seconds / 2) / QUARTER_S).astype(np.int64)
    flow, pressure = columns["flow_m3_s"][settled], columns["pressure_pa"][settled]
    share, wall = columns["conductance_share"][settled], columns["wall_us"][settled]
    with np.errstate(invalid="ignore", divide="ignore"):
        # Of water: a denser carrier passes less at the same pressure.
        conductance = np.log(flow / (pressure**law.exponent * law.scale))
        conductance += 0.5 * np.log(rig.work.carrier_relative_density)
    # Below half of the tips' band the gauge's own error is as large as what is looked for.
    conductance[~(pressure > 0.5 * rig.boom.pressure_low_pa)] = np.nan
    new = np.log(rig.boom.tips * rig.boom.tip.coefficient)
    found = []
    for number in range(int(place[-1]) + 1):
        here = place == number
        long = float(seconds[here].sum())
        if long < _SHORTEST_S:
            continue
        mean = _mean(conductance[here], seconds[here])
        found.append(
            Quarter(
                wall_us=int(wall[here][0]),
                seconds=long,
                share=_mean(share[here], seconds[here]),
                log_conductance=mean,
                of_new_tips=None if mean is None else float(np.exp(mean - new)),
            )
        )
    return found


def _mean(values: NDArray[np.float64], seconds: NDArray[np.float64]) -> float | None:
    measured = np.isfinite(values)
    weight = float(seconds[measured].sum())
    if not weight:
        return None
    return float((values[measured] * seconds[measured]).sum()) / weight

"""The tables of a report: stops, alerts, calibrations."""

from __future__ import annotations

from typing import Final

from flowlog.calibrating.inuse import KINDS, result_of
from flowlog.calibrating.words import day, gist
from flowlog.calibration.baseline import BaselineResult
from flowlog.calibration.capped import CappedResult
from flowlog.calibration.course import CourseResult
from flowlog.calibration.faults import CalibrationError
from flowlog.calibration.gauge import GaugeResult
from flowlog.calibration.meter import MeterResult
from flowlog.daemon.codes import title_of
from flowlog.monitor.outputs import Event
from flowlog.monitor.summary import Alert, Figures, Stop
from flowlog.report.document import Block, Bullets, Paragraph, Table
from flowlog.report.gather import Source
from flowlog.review import words
from flowlog.rig.model import Rig
from flowlog.store.rows import EventRow, StoredCalibration
from flowlog.units import Kind, Units, display_unit, number_in, show


def stop_table(source: Source) -> list[Block]:
    """One line a stop, and all of them together."""
    stops, rig = source.stops, source.review.rig
    if not stops:
        return [Paragraph("Nothing was sprayed.")]
    units = rig.units
    head = (
        "Stop",
        "Began",
        "Sprayed h:mm:ss",
        f"Area {display_unit('area', units)}",
        f"Volume {display_unit('volume', units)}",
        f"Rate {display_unit('rate', units)}",
        "Off target",
        f"Pressure {display_unit('pressure', units)}",
        "Alerts",
    )
    rows = tuple(
        (
            f"{stop.number}" + (f" {stop.name}" if stop.name else ""),
            words.local_time(stop.begin_wall_us, second=False),
            *_figures(stop.figures, rig),
            f"{_count(stop) or ''}",
        )
        for stop in stops
    )
    whole = source.review.summary
    total = (
        "Route",
        "",
        *_figures(whole.figures, rig),
        f"{sum(not alert.noted for alert in whole.alerts) or ''}",
    )
    return [Table(head, rows, right=frozenset(range(2, 9)), total=total)]


def _figures(figures: Figures, rig: Rig) -> tuple[str, ...]:
    units = rig.units
    low = words.figure(figures.pressure_p5_pa, "pressure", units)
    high = words.figure(figures.pressure_p95_pa, "pressure", units)
    rate = figures.rate_m3_m2
    off = "--" if rate is None else words.percent(rate / rig.work.rate_m3_m2 - 1, signed=True)
    return (
        words.clock_style(figures.spraying_s),
        words.figure(figures.area_m2, "area", units) + (" given" if figures.area_given else ""),
        words.figure(figures.volume_m3, "volume", units),
        words.figure(rate, "rate", units),
        off,
        f"{low} to {high}" if figures.pressure_p5_pa is not None else "--",
    )


def _count(stop: Stop) -> int:
    return sum(not alert.noted for alert in stop.alerts)


def alert_table(source: Source) -> list[Block]:
    """One line an alert: what, where, from when to when, how large."""
    alerts = [alert for alert in source.alerts if not alert.noted]
    noted = len(source.alerts) - len(alerts)
    blocks: list[Block] = []
    if alerts:
        # As they are numbered in the chart: by the route's alerts.
        of_route = [alert for alert in source.review.summary.alerts if not alert.noted]
        rows = tuple((f"{of_route.index(alert) + 1}", *_alert(alert, source)) for alert in alerts)
        head = ("No.", "Alert", "Stop", "Began about", "Said", "Size", "Cleared")
        blocks.append(Table(head, rows, wide=frozenset({1})))
    else:
        blocks.append(Paragraph("None."))
    if noted:
        what = "thing was" if noted == 1 else "things were"
        blocks.append(
            Paragraph(f"Beside these, {noted} {what} noted; flowlog review --json lists them.")
        )
    return blocks


def _alert(alert: Alert, source: Source) -> tuple[str, ...]:
    events = [row for row in source.review.events if row.event.alert == alert.alert]
    where = next(
        (stop.number for stop in source.review.summary.stops if alert in stop.alerts), None
    )
    # Its name may change as more is known: what is called worst has the name that it had then.
    worst = next((row.event for row in events if row.event.text == alert.worst_text), None)
    said = f"{title_of(worst.code if worst else alert.code)}: {alert.worst_text}"
    if worst is not None and worst.code != alert.code:
        said += f" At last: {title_of(alert.code)}: {alert.text}"
    return (
        said,
        "" if where is None else f"{where}",
        words.local_time(events[0].since_wall_us) if events else "?",
        words.local_time(events[0].wall_us) if events else "?",
        _size(worst or alert, source.review.rig.units),
        _cleared(alert, events),
    )


def _cleared(alert: Alert, events: list[EventRow]) -> str:
    if alert.open:
        return "never"
    return next(
        (words.local_time(row.wall_us) for row in events if row.event.change == "cleared"), "?"
    )


_KINDS_OF: Final[dict[str, Kind]] = {"m3/s": "flow", "Pa": "pressure", "m3": "volume"}


def _size(alert: Alert | Event, units: Units) -> str:
    """With its range where it has one: `0.9 tips (0.7 to 1.1)`."""
    if alert.size is None:
        return ""
    if alert.size_unit in _KINDS_OF:
        return words.value(alert.size, _KINDS_OF[alert.size_unit], units)
    decimals = 1 if alert.size_unit == "tips" else 0
    factor, unit = (100, "%") if alert.size_unit in ("share", "") else (1, alert.size_unit)
    said = f"{factor * alert.size:.{decimals}f} {unit}"
    if alert.size_low is None or alert.size_high is None:
        return said
    low, high = factor * alert.size_low, factor * alert.size_high
    return f"{said} ({low:.{decimals}f} to {high:.{decimals}f})"


_NAMES: Final = {
    "course": "Ground speed (course)",
    "meter": "Flow sensor (meter)",
    "gauge": "Pressure sensor (gauge)",
    "baseline": "Healthy boom (baseline)",
    "capped": "Pressure's answer (capped tip)",
}


def calibration_table(source: Source) -> list[Block]:
    """Which calibration each part of the rig was watched with, how sure it is, and its date."""
    rig = source.review.rig
    by_kind = {one.row.kind: one for one in source.in_use.used}
    rows = tuple(
        _calibration(by_kind[kind], rig.units) if kind in by_kind else _by_file(kind, rig)
        for kind in KINDS
    )
    blocks: list[Block] = [
        Table(("Calibration", "Says (95 %)", "Made", "By", "No."), rows, wide=frozenset({0, 1}))
    ]
    if source.in_use.passed_over:
        blocks.append(Bullets(source.in_use.passed_over))
    return blocks


def _calibration(one: StoredCalibration, units: Units) -> tuple[str, ...]:
    row = one.row
    try:
        result = result_of(row)
        says = words.on_page(gist(result, units))
        if isinstance(result, GaugeResult):
            unit = display_unit("pressure", units)
            zero = number_in(2 * result.zero_u_pa, "pressure", unit)
            says += f" (±{zero:.2g} {unit} and ±{200 * result.gain_u:.2g} %)"
        elif isinstance(result, CourseResult | MeterResult | BaselineResult | CappedResult):
            says += f" ({_runs(result)})"
    except CalibrationError as fault:
        says = f"cannot be read: {fault}"
    return _NAMES[row.kind], says, day(row.made_wall_us), row.made_by, f"{one.id}"


def _runs(result: CourseResult | MeterResult | BaselineResult | CappedResult) -> str:
    match result:
        case CourseResult():
            count, what = len(result.seconds), "run"
        case MeterResult():
            count, what = len(result.runs), "run"
        case BaselineResult():
            count, what = len(result.steps), "pressure"
        case CappedResult():
            count, what = len(result.sprayings), "spraying"
    return f"{count} {what}{'' if count == 1 else 's'}"


def _by_file(kind: str, rig: Rig) -> tuple[str, ...]:
    match kind:
        case "course":
            says = show(rig.work.speed_m_s, "speed", rig.units)
        case "meter":
            says = show(rig.meter.pulses_per_m3, "pulses_per_volume", rig.units)
        case "gauge":
            says = f"span {show(rig.gauge.span_pa, 'pressure', rig.units)}"
        case "capped":
            return _NAMES[kind], "not checked: what pumps usually do is taken", "", "", ""
        case _:
            return _NAMES[kind], "learnt in the first minutes of the route", "", "", ""
    return _NAMES[kind], says, "as the rig file says", "", ""

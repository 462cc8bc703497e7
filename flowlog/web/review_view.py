"""What stands on the review's pages, in words and in the rig's units; templates only place it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from flowlog.calibrating.inuse import KINDS
from flowlog.calibrating.words import line_of
from flowlog.correcting.say import pauses
from flowlog.monitor.codes import CODES
from flowlog.monitor.outputs import Event
from flowlog.monitor.summary import Alert, Figures
from flowlog.review import words
from flowlog.review.chart import flags
from flowlog.review.compare import Line, compared
from flowlog.review.corrections_text import by_whom, told_corrections
from flowlog.review.live_state import pressure_verdict, rate_verdict, sure_words
from flowlog.review.places import time_line
from flowlog.review.route import CLOCK_SENTENCES, RouteReview
from flowlog.review.sums import RouteSums
from flowlog.store.correction import Undo
from flowlog.store.rows import StoredCalibration
from flowlog.units import Kind, Units, display_unit

_DAYS: Final = (*("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"),)
_AROUND_S: Final = 60.0


def day_groups(found: Sequence[RouteSums | None], units: Units) -> list[dict[str, Any]]:
    """The routes by day, the newest first."""
    days: list[dict[str, Any]] = []
    for number in range(len(found), 0, -1):
        sums = found[number - 1]
        day = "still adding up" if sums is None else _day(sums)
        if not days or days[-1]["day"] != day:
            days.append({"day": day, "routes": []})
        days[-1]["routes"].append({"number": number, **(_row(sums, units) if sums else _PENDING)})
    return days


_PENDING: Final = {
    **dict.fromkeys(("began", "ended", "name", "stop_names", "rate"), ""),
    **dict.fromkeys(("open", "corrected"), False),
}


def _day(sums: RouteSums) -> str:
    moment = words.utc(sums.begin_wall_us)
    if moment is None or sums.clock == "none":
        return "Day not known: the computer's clock was not set"
    local = moment.astimezone()
    return f"{_DAYS[local.weekday()]}, {local:%Y-%m-%d}"


def _row(sums: RouteSums, units: Units) -> dict[str, Any]:
    known = sums.clock != "none"
    rate = sums.rate_m3_m2
    share = None if rate is None else rate / sums.asked_rate_m3_m2
    return {
        "began": words.local_time(sums.begin_wall_us, second=False) if known else "",
        "ended": words.local_time(sums.end_wall_us, second=False) if known else "",
        "open": sums.route.ended_wall_us is None,
        "name": words.clean(sums.route.name or ""),
        "stops": sums.stops,
        "stop_names": ", ".join(words.clean(name) for name in sums.stop_names),
        "sprayed": words.clock_style(sums.spraying_s),
        "area": words.figure(sums.area_m2, "area", units),
        "volume": words.figure(sums.volume_m3, "volume", units),
        "rate": words.figure(rate, "rate", units),
        "off": "" if share is None else words.percent(share - 1, signed=True),
        "state": _state(share),
        "within": _share(sums.within_5_share),
        "alerts": sums.alerts,
        "corrected": sums.corrections > 0,
    }


def _state(share: float | None) -> str:
    """For the sign before a rate: none, good, low or high."""
    if share is None:
        return "none"
    verdict = rate_verdict(share)
    return "good" if verdict == "ON RATE" else "low" if "LOW" in verdict else "high"


def heading(review: RouteReview) -> dict[str, str]:
    """What names the route."""
    summary = review.summary
    known = review.clock != "none"
    begin = words.local_time(summary.begin_wall_us, with_date=True, second=False)
    end = words.local_time(summary.end_wall_us, second=False)
    return {
        "title": f"Route {review.number}",
        "name": words.clean(review.route.name or ""),
        "when": f"{begin} to {end}" if known else "day and time not known",
        "rig": words.clean(review.rig.name),
        "uid": review.route.uid,
    }


def figures_of(review: RouteReview) -> list[dict[str, str]]:
    """The few figures that matter, each with what to say about it."""
    figures, rig, units = review.summary.figures, review.rig, review.rig.units
    rate = figures.rate_m3_m2
    share = None if rate is None else rate / rig.work.rate_m3_m2
    asked = words.value(rig.work.rate_m3_m2, "rate", units)
    accuracy = review.summary.accuracy
    sure = "" if accuracy is None else f" ±{words.percent(accuracy.expanded)}"
    found = [
        {
            "label": "Rate",
            "value": words.value(rate, "rate", units) + sure,
            "state": _state(share),
            "verdict": "" if share is None else rate_verdict(share).lower(),
            "note": f"asked {asked}"
            + ("" if share is None else f", {words.percent(share - 1, signed=True)}"),
        },
        _plain("Area", words.value(figures.area_m2, "area", units)),
        _plain("Volume", words.value(figures.volume_m3, "volume", units)),
        _plain(
            "Sprayed",
            words.duration(figures.spraying_s),
            f"in {words.duration(figures.elapsed_s)}",
        ),
        _plain(
            "Time within 5 %",
            _share(figures.within_5_share),
            f"within 10 %: {_share(figures.within_10_share)}",
        ),
    ]
    if figures.pressure_pa is not None:
        low = words.figure(rig.boom.pressure_low_pa, "pressure", units)
        high = words.value(rig.boom.pressure_high_pa, "pressure", units)
        verdict = pressure_verdict(figures.pressure_pa, rig).lower()
        found.append(
            _plain(
                "Pressure",
                words.value(figures.pressure_pa, "pressure", units),
                f"mean, {verdict}; tips: {low} to {high}",
            )
        )
    if review.summary.volume_outside_m3 > 1e-6:
        outside = words.value(review.summary.volume_outside_m3, "volume", units)
        found.append(_plain("Outside of stops", outside, "flushing, or a leak"))
    return found


def _plain(label: str, value: str, note: str = "") -> dict[str, str]:
    return {"label": label, "value": value, "state": "", "verdict": "", "note": note}


def stop_rows(review: RouteReview) -> list[dict[str, Any]]:
    """The stops, with what a correction needs to mean each of them."""
    line, units = time_line(review.columns), review.rig.units
    rows = []
    for stop in review.summary.stops:
        figures = stop.figures
        share = (
            None if figures.rate_m3_m2 is None else figures.rate_m3_m2 / review.rig.work.rate_m3_m2
        )
        counted = stop.counted_area_m2
        rows.append(
            {
                "number": stop.number,
                "name": words.clean(stop.name or ""),
                "marked": stop.marked,
                "began": _moment(review, stop.begin_wall_us, float(line.begin_s[stop.first])),
                "sprayed": words.clock_style(figures.spraying_s),
                "area": words.figure(figures.area_m2, "area", units),
                "counted": "" if counted is None else words.figure(counted, "area", units),
                "volume": words.figure(figures.volume_m3, "volume", units),
                "rate": words.figure(figures.rate_m3_m2, "rate", units),
                "off": "" if share is None else words.percent(share - 1, signed=True),
                "state": _state(share),
                "within": _share(figures.within_5_share),
                "pressure": _pressure(figures, units),
                "alerts": sum(not alert.noted for alert in stop.alerts),
                "window": _window(float(line.begin_s[stop.first]), float(line.end_s[stop.last])),
                "segment": stop.begin.segment,
                "t_us": stop.begin.t_us,
                "pauses": [
                    {
                        "segment": pause.at.segment,
                        "t_us": pause.at.t_us,
                        "text": f"{_moment(review, pause.wall_us, pause.second)}, after "
                        f"{words.duration(pause.seconds)} without spraying",
                    }
                    for pause in pauses(review, stop, line=line)
                ],
            }
        )
    return rows


def _pressure(figures: Figures, units: Units) -> str:
    low = words.figure(figures.pressure_p5_pa, "pressure", units)
    high = words.figure(figures.pressure_p95_pa, "pressure", units)
    return "--" if low == "--" else f"{low} to {high}"


def units_of(units: Units) -> dict[str, str]:
    """What the heads of tables say."""
    kinds: tuple[Kind, ...] = ("rate", "area", "volume", "pressure")
    return {kind: display_unit(kind, units) for kind in kinds}


def _moment(review: RouteReview, wall_us: int | None, second: float) -> str:
    if wall_us is None or review.clock == "none":
        return f"+{words.clock_style(second)}"
    return words.local_time(wall_us)


def _window(begin_s: float, end_s: float) -> str:
    """Query of the chart's window around something, with a little before and after it."""
    edge = max(0.05 * (end_s - begin_s), 5.0)
    return f"from={max(begin_s - edge, 0):.1f}&to={end_s + edge:.1f}"


def alert_rows(review: RouteReview) -> list[dict[str, Any]]:
    """The alerts, numbered as on the chart."""
    line = time_line(review.columns)
    real = [alert for alert in review.summary.alerts if not alert.noted]
    rows = []
    for flag, alert in zip(flags(review, line), real, strict=True):
        worst = _worst(review, alert)
        code = CODES.get(worst.code)
        stop = next((one.number for one in review.summary.stops if alert in one.alerts), None)
        rows.append(
            {
                "number": flag.number,
                "title": code.title if code else flag.title,
                "urgent": flag.urgent,
                "text": words.clean(alert.worst_text),
                "last": "" if alert.text == alert.worst_text else words.clean(alert.text),
                "sure": "" if "(" in alert.text else sure_words(alert),
                "size": _size(worst),
                "since": _moment(review, line.wall_of(flag.since_s), flag.since_s),
                "said": words.duration(max(flag.said_s - flag.since_s, 0.0)),
                "lasted": "never cleared"
                if flag.cleared_s is None
                else words.duration(max(flag.cleared_s - flag.since_s, 0.0)),
                "stop": stop,
                "checks": alert.checks or (code.checks if code else ()),
                "window": _window(
                    flag.since_s - _AROUND_S, (flag.cleared_s or flag.said_s) + _AROUND_S
                ),
            }
        )
    return rows


def _worst(review: RouteReview, alert: Alert) -> Event:
    """The event that told its largest size."""
    own = [row.event for row in review.events if row.event.alert == alert.alert]
    return next(event for event in own if event.text == alert.worst_text)


def _size(event: Event) -> str:
    if event.size is None:
        return "--"
    if event.size_unit in ("share", ""):
        return words.percent(event.size)
    return f"{event.size:.1f} {event.size_unit}"


def sure_lines(review: RouteReview) -> list[str]:
    """How sure all that is, a sentence each."""
    figures = review.summary.figures
    lines = []
    if review.summary.accuracy is not None:
        lines.append(words.on_page(f"Mean {review.summary.accuracy.sentence()}."))
    for quantity in ("volume", "area"):
        known = review.known(figures, quantity)
        if known is not None:
            lines.append(words.on_page(f"{known.sentence().capitalize()}."))
    if any(stop.counted_area_m2 is not None for stop in review.summary.stops):
        lines.append("Areas that a person gave are taken as they were given.")
    sent = figures.samples + figures.lost
    if figures.lost or figures.gaps:
        share = 100 * figures.lost / sent if sent else 0.0
        lines.append(
            f"{figures.lost} of {sent} samples were lost ({share:.2f} %), in {figures.gaps} gaps "
            f"of {words.duration(figures.gap_s)} together; the volume is right all the same, "
            "since the board counts on."
        )
    lines.append(CLOCK_SENTENCES[review.clock])
    return lines


def correction_rows(review: RouteReview) -> list[dict[str, Any]]:
    """What was corrected, the newest first; an undoing is told at what it undoes.

    `button` is the number of the correction to undo for it: its own, or that of its undoing.
    """
    undoing: dict[str, int] = {}
    for number, one in enumerate(review.corrections, 1):
        if isinstance(one.said, Undo) and one.holds:
            undoing[one.said.undoes] = number
    told = told_corrections(review)
    rows = []
    for number, (one, text) in enumerate(zip(review.corrections, told, strict=True), 1):
        if isinstance(one.said, Undo):
            continue
        rows.append(
            {
                "number": number,
                "text": text[:1].upper() + text[1:],
                "by": by_whom(one),
                "undone": one.undone,
                "button": undoing.get(one.row.uid, number) if one.undone else number,
            }
        )
    return rows[::-1]


def choices(review: RouteReview, known: Sequence[StoredCalibration]) -> list[dict[str, Any]]:
    """For each kind of calibration those that could be chosen; the newest first."""
    # The lines of those in use are the very ones that name them.
    used = set(review.calibrations)
    found = []
    for kind in KINDS:
        options = [
            {
                "number": one.id,
                "text": words.on_page(line_of(one, review.rig.units)),
                "chosen": line_of(one, review.rig.units) in used,
            }
            for one in reversed(known)
            if one.row.kind == kind
        ]
        if options:
            found.append({"kind": kind, "options": options})
    return found


def compare_rows(one: RouteReview, other: RouteReview) -> list[dict[str, str]]:
    """The figures of two routes and what differs."""
    units = one.rig.units
    return [
        {
            "label": line.label + _unit(line, units),
            "a": _said(line, line.one, units),
            "b": _said(line, line.other, units),
            "difference": _difference(line, units),
        }
        for line in compared(one, other)
    ]


def _unit(line: Line, units: Units) -> str:
    return f", {display_unit(line.kind, units)}" if line.kind else ""


def _said(line: Line, value: float | None, units: Units) -> str:
    if value is None:
        return "--"
    if line.kind is not None:
        return words.figure(value, line.kind, units)
    if line.unit == "share":
        return _share(value)
    return words.clock_style(value) if line.unit == "s" else f"{value:.0f}"


def _difference(line: Line, units: Units) -> str:
    value = line.difference
    if value is None:
        return "--"
    sign = "+" if value > 0 else "−" if value < 0 else ""
    text = _said(line, abs(value), units)
    return f"{sign}{text}"


def _share(share: float | None) -> str:
    return "--" if share is None else words.percent(share)

"""A route as JSON, for programs: in SI, with the unit in every key.

What was not measured is null; NaN and infinities never reach JSON. Times stand as local time and
as UTC, ISO 8601; `clock` says how far to trust them (`flowlog.review.route.clock_word`).
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final, TextIO

from flowlog.monitor.accuracy import Budget, Quantity
from flowlog.monitor.outputs import Event, Position
from flowlog.monitor.summary import Alert, Figures, Stop
from flowlog.review.corrections_text import told_corrections
from flowlog.review.route import RouteReview, stop_numbers
from flowlog.review.words import iso_times
from flowlog.store.rows import EventRow

VERSION: Final = 1


def readings_json(review: RouteReview, out: TextIO) -> None:
    """Everything about a route in SI: its summary, its events, one object a reading."""
    head = summary_dict(review)
    head["format"] = "flowlog route"
    head["events"] = [_event(row) for row in review.events]
    text = _dump(head)
    # The readings of a day are written as they come, not gathered in memory first.
    out.write(text[: text.rindex("}")].rstrip())
    out.write(',\n  "readings": [')
    for number, reading in enumerate(_readings(review)):
        out.write(",\n    " if number else "\n    ")
        out.write(json.dumps(reading, ensure_ascii=False, allow_nan=False))
    out.write("\n  ]\n}\n")


def summary_json(review: RouteReview, out: TextIO) -> None:
    """The summary in SI, with the budgets of what is known how well."""
    out.write(_dump(summary_dict(review)) + "\n")


def summary_dict(review: RouteReview) -> dict[str, Any]:
    """The summary in SI as plain data; None where nothing was measured."""
    summary, route, rig = review.summary, review.route, review.rig
    return {
        "format": "flowlog summary",
        "version": VERSION,
        "rig": rig.name,
        "route": {
            "number": review.number,
            "uid": route.uid,
            "name": route.name,
            "ended": review.ended,
            "clock": review.clock,
            **_span(summary.begin_wall_us, summary.end_wall_us),
        },
        "asked": {
            "rate_m3_m2": finite(rig.work.rate_m3_m2),
            "speed_m_s": finite(rig.work.speed_m_s),
            "speed_measured": rig.wheel is not None,
            "pressure_low_pa": finite(rig.boom.pressure_low_pa),
            "pressure_high_pa": finite(rig.boom.pressure_high_pa),
            "tips": rig.boom.tips,
            "effective_width_m": finite(rig.boom.effective_width_m),
        },
        "figures": _figures(summary.figures),
        "accuracy": _accuracy(review, summary.figures),
        "volume_outside_stops_m3": finite(summary.volume_outside_m3),
        "stops": [_stop(review, stop) for stop in summary.stops],
        "alerts": [_alert(alert, review.events) for alert in summary.alerts],
        "derived_anew": review.derived,
        "raw_samples_gone": review.raw_gone,
        "calibrations": list(review.calibrations),
        "corrections": corrections_list(review),
        "unused_marks": [
            {"kind": mark.kind, "name": mark.name, "segment": mark.segment, "t_us": mark.t_us}
            for mark in summary.unused_marks
        ],
    }


def corrections_list(review: RouteReview) -> list[dict[str, Any]]:
    """What was said about a route afterwards, oldest first; those that were undone, too."""
    return [
        {
            "number": number,
            "kind": one.row.kind,
            "holds": one.holds,
            "text": text,
            "by": one.row.made_by,
            "made_utc": iso_times(one.row.made_wall_us)[1],
            "reason": one.row.reason,
            "body": one.row.body,
        }
        for number, (one, text) in enumerate(
            zip(review.corrections, told_corrections(review), strict=True), 1
        )
    ]


def _readings(review: RouteReview) -> Iterator[dict[str, Any]]:
    columns, stops = review.columns, stop_numbers(review)
    names = [name for name in columns if name not in ("wall_us", "phase")]
    for index in range(len(columns["seconds"])):
        local, utc = iso_times(int(columns["wall_us"][index]))
        reading: dict[str, Any] = {"time_local": local, "time_utc": utc}
        reading["stop"] = int(stops[index]) or None
        reading["phase"] = str(columns["phase"][index])
        for name in names:
            value = columns[name][index].item()
            reading[name] = value if isinstance(value, int) else finite(value)
        yield reading


def _figures(figures: Figures) -> dict[str, Any]:
    return {name: finite(getattr(figures, name)) for name in Figures.__slots__}


def _stop(review: RouteReview, stop: Stop) -> dict[str, Any]:
    return {
        "number": stop.number,
        "name": stop.name,
        "marked": stop.marked,
        **_span(stop.begin_wall_us, stop.end_wall_us),
        "begin": _position(stop.begin),
        "end": _position(stop.end),
        "figures": _figures(stop.figures),
        "counted_area_m2": finite(stop.counted_area_m2),
        "accuracy": _accuracy(review, stop.figures),
        "alerts": [alert.alert for alert in stop.alerts],
    }


def _accuracy(review: RouteReview, figures: Figures) -> dict[str, Any] | None:
    if figures.pulses <= 0:
        return None
    quantities: tuple[Quantity, ...] = ("rate", "volume", "area")
    known = {name: review.known(figures, name) for name in quantities}
    return {name: _budget(budget) for name, budget in known.items() if budget is not None}


def _budget(known: Budget) -> dict[str, Any]:
    return {
        "half_width_95_share": finite(known.expanded),
        "because": [
            {
                "cause": part.cause,
                "standard_share": finite(part.relative),
                "source": part.because,
                "own": part.own,
            }
            for part in known.contributions
        ],
    }


def _alert(alert: Alert, events: Sequence[EventRow]) -> dict[str, Any]:
    own = [row for row in events if row.event.alert == alert.alert]
    cleared = next((row.wall_us for row in own if row.event.change == "cleared"), None)
    return {
        "alert": alert.alert,
        "code": alert.code,
        "text": alert.text,
        "worst_text": alert.worst_text,
        "checks": list(alert.checks),
        "noted": alert.noted,
        "open": alert.open,
        "since": _position(alert.since),
        "since_utc": iso_times(own[0].since_wall_us if own else None)[1],
        "opened": _position(alert.opened),
        "opened_utc": iso_times(own[0].wall_us if own else None)[1],
        "cleared": None if alert.cleared is None else _position(alert.cleared),
        "cleared_utc": iso_times(cleared)[1],
        "size": finite(alert.size),
        "size_low": finite(alert.size_low),
        "size_high": finite(alert.size_high),
        "size_unit": alert.size_unit,
        "grew": alert.grew,
    }


def event_body(event: Event) -> dict[str, Any]:
    """What an event says, without its wall times."""
    return {
        "alert": event.alert,
        "code": event.code,
        "change": event.change,
        "at": _position(event.at),
        "since": _position(event.since),
        "text": event.text,
        "checks": list(event.checks),
        "size": finite(event.size),
        "size_low": finite(event.size_low),
        "size_high": finite(event.size_high),
        "size_unit": event.size_unit,
        "details": {name: finite(value) for name, value in event.details.items()},
    }


def _event(row: EventRow) -> dict[str, Any]:
    return {
        "uid": row.uid,
        "source": row.source,
        **event_body(row.event),
        "at_utc": iso_times(row.wall_us)[1],
        "since_utc": iso_times(row.since_wall_us)[1],
    }


def _position(position: Position) -> dict[str, int]:
    return {"segment": position.segment, "seq": position.seq, "t_us": position.t_us}


def _span(begin_us: int | None, end_us: int | None) -> dict[str, str | None]:
    begin, end = iso_times(begin_us), iso_times(end_us)
    return {
        "begin_local": begin[0],
        "begin_utc": begin[1],
        "end_local": end[0],
        "end_utc": end[1],
    }


def finite(value: float | int | None) -> float | int | None:
    """JSON knows no NaN and no infinity."""
    return None if value is None or not math.isfinite(value) else value


def _dump(body: Mapping[str, Any]) -> str:
    return json.dumps(body, indent=2, ensure_ascii=False, allow_nan=False)

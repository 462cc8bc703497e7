"""The live state as the pages and other programs read it. Pure: no clock, no database.

Numbers are in the rig's units with the unit beside them, and written out as text as well: a phone
that only shows them need not know how many decimals a rate has.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final

from flowlog.review import words
from flowlog.review.live_state import (
    ON_RATE_SHARE,
    LiveAlert,
    LiveState,
    OpenMark,
    Totals,
    pressure_verdict,
    rate_verdict,
)
from flowlog.rig.model import Rig
from flowlog.units import Kind, display_unit, number_in

_FRESH: Final = {"LIVE": "live", "LATE": "late", "NO DATA": "none"}
_LEAST_FLOW_SHARE: Final = 0.05
"""Of the expected flow: below it, minutes at the present flow say nothing."""


def alert_id(route_uid: str, alert: str) -> str:
    """Names an alert among those of all routes."""
    return f"{route_uid}:{alert}"


def state_json(state: LiveState, wall_us: int) -> dict[str, Any]:
    """See `SCHEMAS["Live"]`."""
    rig, reading = state.rig, state.reading
    rate = _finite(None if reading is None else reading.rate_m3_m2)
    flow = _finite(None if reading is None else reading.flow_m3_s)
    pressure = _finite(None if reading is None else reading.pressure_pa)
    settled = reading is not None and reading.phase == "spraying"
    asked, expected = rig.work.rate_m3_m2, rig.expected_flow_m3_s
    return {
        "server": {"time": _iso(wall_us)},
        "age_s": _round(state.age_s, 2),
        "freshness": _FRESH[state.freshness],
        "daemon": state.daemon,
        "advice": state.advice,
        "clock": state.clock,
        "rig": {"name": words.clean(rig.name), "slug": rig.slug, "units": rig.units},
        "phase": None if reading is None else reading.phase,
        "rate": {
            **_quantity(rate, "rate", rig),
            "target": _number(asked, "rate", rig),
            "low": _number(asked * (1 - ON_RATE_SHARE), "rate", rig),
            "high": _number(asked * (1 + ON_RATE_SHARE), "rate", rig),
            "off": None if rate is None else _round(rate / asked - 1, 4),
            "verdict": None if rate is None else rate_verdict(rate / asked).lower(),
            "speed": "assumed" if rig.wheel is None else "measured",
        },
        "flow": {
            **_quantity(flow, "flow", rig),
            "target": _number(expected, "flow", rig),
            "low": _number(expected * (1 - ON_RATE_SHARE), "flow", rig),
            "high": _number(expected * (1 + ON_RATE_SHARE), "flow", rig),
            "verdict": rate_verdict(flow / expected).lower() if settled and flow else None,
        },
        "pressure": {
            **_quantity(pressure, "pressure", rig),
            "low": _number(rig.boom.pressure_low_pa, "pressure", rig),
            "high": _number(rig.boom.pressure_high_pa, "pressure", rig),
            "verdict": (
                pressure_verdict(pressure, rig).lower()
                if settled and pressure is not None
                else None
            ),
        },
        "tank": _tank(state, flow),
        "stop": _stop(state),
        "route": _route(state),
        "mark": _mark(state.mark, rig),
        "alerts": [_alert(one, state.route_uid) for one in state.alerts],
        "cleared": [
            {
                "id": alert_id(state.route_uid, one.alert),
                "title": one.title,
                "text": one.text,
                "ago_s": _round(one.ago_s, 1),
            }
            for one in state.cleared
        ],
        "noted": state.noted,
    }


def _tank(state: LiveState, flow_m3_s: float | None) -> dict[str, Any] | None:
    rig, reading = state.rig, state.reading
    if rig.tank is None:
        return None
    left = _finite(None if reading is None else reading.tank_m3)
    held = None if left is None else max(left, 0.0)
    area = None if held is None else held / rig.work.rate_m3_m2
    expected = rig.expected_flow_m3_s
    present = flow_m3_s if flow_m3_s and flow_m3_s > _LEAST_FLOW_SHARE * expected else expected
    return {
        **_quantity(left, "volume", rig),
        "full": _number(rig.tank.volume_m3, "volume", rig),
        "low": left is not None and left <= rig.tank.low_m3,
        "area": _number(area, "area", rig),
        "area_unit": display_unit("area", rig.units),
        "area_text": words.value(area, "area", rig.units),
        "minutes": None if held is None else _round(held / present / 60, 1),
        "at": "present flow" if present is flow_m3_s else "expected flow",
    }


def _stop(state: LiveState) -> dict[str, Any] | None:
    if state.stop is None:
        return None
    return {
        **_sums(state.stop, state.rig),
        "number": state.stop.number,
        "name": state.stop.name and words.clean(state.stop.name),
        "marked": state.mark is not None,
    }


def _route(state: LiveState) -> dict[str, Any] | None:
    if state.route is None:
        return None
    number = state.route_number
    return {**_sums(state.route, state.rig), "id": state.route_uid, "number": number}


def _sums(totals: Totals, rig: Rig) -> dict[str, Any]:
    return {
        "area": words.value(totals.area_m2, "area", rig.units),
        "area_m2": _round(_finite(totals.area_m2), 2),
        "volume": words.value(totals.volume_m3, "volume", rig.units),
        "volume_m3": _round(_finite(totals.volume_m3), 6),
        "rate": words.figure(totals.rate_m3_m2, "rate", rig.units),
        "sprayed": words.duration(totals.spraying_s),
        "sprayed_s": _round(_finite(totals.spraying_s), 1),
    }


def _mark(mark: OpenMark | None, rig: Rig) -> dict[str, Any] | None:
    if mark is None:
        return None
    return {
        "name": mark.name and words.clean(mark.name),
        "area": None if mark.area_m2 is None else words.value(mark.area_m2, "area", rig.units),
        "since_s": _round(mark.since_s, 1),
    }


def _alert(alert: LiveAlert, route_uid: str) -> dict[str, Any]:
    return {
        "id": alert_id(route_uid, alert.alert),
        "code": alert.code,
        "title": alert.title,
        "urgency": alert.urgency,
        "text": words.clean(alert.text),
        "sure": alert.sure,
        "probability": _round(_finite(alert.probability), 3),
        "since_s": _round(alert.since_s, 1),
        "since": None if alert.since_wall_us is None else _iso(alert.since_wall_us),
        "checks": list(alert.checks),
        "acknowledged": alert.seen,
        "news": alert.news,
    }


def _quantity(value_si: float | None, kind: Kind, rig: Rig) -> dict[str, Any]:
    return {
        "value": _number(value_si, kind, rig),
        "text": words.figure(value_si, kind, rig.units),
        "unit": display_unit(kind, rig.units),
    }


def _number(value_si: float | None, kind: Kind, rig: Rig) -> float | None:
    if value_si is None:
        return None
    number = _finite(number_in(value_si, kind, display_unit(kind, rig.units)))
    return None if number is None else float(f"{number:.5g}")


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)


def _iso(wall_us: int) -> str | None:
    try:
        moment = datetime.fromtimestamp(wall_us / 1e6, UTC)
    except (OverflowError, ValueError, OSError):
        return None
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _maybe(kind: str) -> dict[str, Any]:
    return {"type": [kind, "null"]}


def _object(**properties: Mapping[str, Any]) -> dict[str, Any]:
    """All of these, and nothing else: what is sent and not described fails a test."""
    return {
        "type": "object",
        "required": list(properties),
        "properties": properties,
        "additionalProperties": False,
    }


_TEXT: Final = {"type": "string"}
_NUMBER: Final = _maybe("number")
_VALUE: Final = {"value": _NUMBER, "text": _TEXT, "unit": _TEXT}
_SUMS: Final = {
    "area": _TEXT,
    "area_m2": _NUMBER,
    "volume": _TEXT,
    "volume_m3": _NUMBER,
    "rate": _TEXT,
    "sprayed": _TEXT,
    "sprayed_s": _NUMBER,
}

SCHEMAS: Final[dict[str, Any]] = {
    "Live": _object(
        server=_object(time=_maybe("string")),
        age_s=_NUMBER,
        freshness={"enum": ["live", "late", "none"]},
        daemon={"type": "boolean", "description": "A daemon logs into the store now."},
        advice=_TEXT,
        clock=_TEXT,
        rig=_object(name=_TEXT, slug=_TEXT, units={"enum": ["us", "metric"]}),
        phase={"enum": ["off", "settling", "spraying", "draining", None]},
        rate=_object(
            **_VALUE,
            target=_NUMBER,
            low=_NUMBER,
            high=_NUMBER,
            off={**_NUMBER, "description": "Share off the target: 0.1 is 10 % too much."},
            verdict=_maybe("string"),
            speed={"enum": ["assumed", "measured"]},
        ),
        flow=_object(**_VALUE, target=_NUMBER, low=_NUMBER, high=_NUMBER, verdict=_maybe("string")),
        pressure=_object(**_VALUE, low=_NUMBER, high=_NUMBER, verdict=_maybe("string")),
        tank={
            "oneOf": [
                {"type": "null"},
                _object(
                    **_VALUE,
                    full=_NUMBER,
                    low={"type": "boolean"},
                    area=_NUMBER,
                    area_unit=_TEXT,
                    area_text=_TEXT,
                    minutes=_NUMBER,
                    at={"enum": ["present flow", "expected flow"]},
                ),
            ]
        },
        stop={
            "oneOf": [
                {"type": "null"},
                _object(
                    **_SUMS,
                    number=_maybe("integer"),
                    name=_maybe("string"),
                    marked={"type": "boolean"},
                ),
            ]
        },
        route={
            "oneOf": [
                {"type": "null"},
                _object(**_SUMS, id=_TEXT, number=_maybe("integer")),
            ]
        },
        mark={
            "oneOf": [
                {"type": "null"},
                _object(name=_maybe("string"), area=_maybe("string"), since_s=_NUMBER),
            ]
        },
        alerts={
            "type": "array",
            "items": _object(
                id=_TEXT,
                code=_TEXT,
                title=_TEXT,
                urgency={"enum": ["stop", "look", "note"]},
                text=_TEXT,
                sure=_TEXT,
                probability=_NUMBER,
                since_s=_NUMBER,
                since=_maybe("string"),
                checks={"type": "array", "items": _TEXT},
                acknowledged={"type": "boolean"},
                news={
                    "type": "integer",
                    "description": "Grows when the alert grew or turned out to be another thing: "
                    "who has seen it has to see it again.",
                },
            ),
        },
        cleared={
            "type": "array",
            "items": _object(id=_TEXT, title=_TEXT, text=_TEXT, ago_s=_NUMBER),
        },
        noted=_TEXT,
    )
}

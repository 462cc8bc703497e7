"""What goes over MQTT, as plain dicts: pure functions, no clock and no connection.

A payload explains itself: the unit stands in the key, metric and US customary side by side for
what a person watches, so that a receiver needs no rig file. What was not measured is null; NaN
and infinities never reach JSON. `schemas/` holds a JSON Schema for each kind.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib import resources
from typing import Any, Final, Literal

from flowlog.monitor.outputs import Event, Phase, Position, Reading

Clock = Literal["synced", "unconfirmed", "none"]
"""How far to trust `time`: set by a time source; read from a clock that nobody has confirmed
since power-up; no wall time at all (`time` is then null)."""
BoardState = Literal["connected", "away", "unknown"]
Payload = dict[str, Any]

KINDS: Final = ("status", "reading", "alert", "route")
VERSION: Final = 1
MOST_OPEN_ALERTS: Final = 20
"""A status names at most this many open alerts; `alerts_open` counts them all."""

# Exact by definition: gallon of 231 cubic inches, foot of 0.3048 m (NIST SP 811, appendix B).
M3_PER_GALLON: Final = 3.785411784e-3
M2_PER_1000_FT2: Final = 1000 * 0.3048**2
PA_PER_PSI: Final = 4.4482216152605 / 0.0254**2
M_S_PER_MPH: Final = 0.44704


@dataclass(frozen=True, slots=True)
class RouteTotals:
    """What a route came to. Totals in SI; None where nothing could be measured."""

    spraying_s: float
    volume_m3: float | None
    area_m2: float | None
    stops: int
    alerts: int
    samples: int
    lost: int


def reading(
    reading: Reading, *, rig: str, route: str | None, wall_us: int | None, clock: Clock
) -> Payload:
    """One second of measurement. `wall_us` is UTC in microseconds since 1970, or None."""
    return {
        **_head("reading", rig, route),
        **_place(reading.at),
        **_time(wall_us, clock),
        "seconds": _number(reading.seconds),
        "phase": reading.phase,
        "pulses": reading.pulses,
        "volume_l": _number(reading.volume_m3, 1e-3),
        "area_m2": _number(reading.area_m2),
        "flow_l_min": _number(reading.flow_m3_s, 1e-3 / 60),
        "flow_gal_min": _number(reading.flow_m3_s, M3_PER_GALLON / 60),
        "pressure_kpa": _number(reading.pressure_pa, 1e3),
        "pressure_psi": _number(reading.pressure_pa, PA_PER_PSI),
        "pressure_min_kpa": _number(reading.pressure_min_pa, 1e3),
        "pressure_max_kpa": _number(reading.pressure_max_pa, 1e3),
        **_rate(reading.rate_m3_m2),
        "speed_m_s": _number(reading.speed_m_s),
        "speed_mph": _number(reading.speed_m_s, M_S_PER_MPH),
        "conductance_share": _number(reading.conductance_share),
        "tank_l": _number(reading.tank_m3, 1e-3),
        "samples": reading.samples,
        "lost": reading.lost,
    }


def alert(
    event: Event,
    *,
    uid: str,
    rig: str,
    route: str | None,
    wall_us: int | None,
    since_wall_us: int | None = None,
    clock: Clock,
    source: Literal["monitor", "daemon"] = "monitor",
) -> Payload:
    """One change of one alert. `uid` is the same whenever this change is sent again.

    The `number` that gives the order is put in by `stamp` when the row is sent.
    """
    return {
        **_head("alert", rig, route),
        "id": _text(uid),
        "source": source,
        "alert": _text(event.alert),
        "code": _text(event.code),
        "change": event.change,
        "text": _text(event.text),
        "checks": [_text(check) for check in event.checks],
        **_place(event.at),
        **_time(wall_us, clock),
        "since": {**_place(event.since), "time": _iso(since_wall_us)},
        "size": _number(event.size),
        "size_low": _number(event.size_low),
        "size_high": _number(event.size_high),
        "size_unit": _text(event.size_unit),
        "details": {_text(name): _number(value) for name, value in event.details.items()},
    }


def route(
    change: Literal["began", "ended"],
    *,
    uid: str,
    rig: str,
    route: str,
    name: str | None,
    began_wall_us: int | None,
    ended_wall_us: int | None,
    clock: Clock,
    totals: RouteTotals | None = None,
) -> Payload:
    """The begin or the end of a route; the end carries the totals.

    The `number` that gives the order is put in by `stamp` when the row is sent.
    """
    rate = None
    if totals is not None and totals.volume_m3 is not None and totals.area_m2:
        rate = totals.volume_m3 / totals.area_m2
    sums = None
    if totals is not None:
        sums = {
            "spraying_s": _number(totals.spraying_s),
            "volume_l": _number(totals.volume_m3, 1e-3),
            "volume_gal": _number(totals.volume_m3, M3_PER_GALLON),
            "area_m2": _number(totals.area_m2),
            "area_1000ft2": _number(totals.area_m2, M2_PER_1000_FT2),
            **_rate(rate),
            "stops": totals.stops,
            "alerts": totals.alerts,
            "samples": totals.samples,
            "lost": totals.lost,
        }
    return {
        **_head("route", rig, route),
        "id": _text(uid),
        "change": change,
        "name": None if name is None else _text(name),
        "began": _iso(began_wall_us),
        "ended": _iso(ended_wall_us),
        "clock": clock,
        "totals": sums,
    }


def status(
    *,
    rig: str,
    version: str,
    wall_us: int | None = None,
    clock: Clock = "none",
    route: str | None = None,
    phase: Phase | None = None,
    board: BoardState = "unknown",
    open_alerts: Iterable[tuple[str, str]] = (),
    faults: Iterable[str] = (),
) -> Payload:
    """How the daemon stands now.

    `open_alerts` are pairs of code and sentence, `faults` plain sentences about the host (a
    disk that is full, a clock that is not set).
    """
    alerts = [{"code": _text(code), "text": _text(text)} for code, text in open_alerts]
    return {
        **_head("status", rig, route),
        "online": True,
        "why": "running",
        "version": _text(version),
        **_time(wall_us, clock),
        "board": board,
        "phase": phase,
        "alerts_open": len(alerts),
        "open_alerts": alerts[:MOST_OPEN_ALERTS],
        "faults": [_text(fault) for fault in faults],
    }


def offline(
    why: Literal["stopped", "connection lost"],
    *,
    rig: str,
    version: str,
    wall_us: int | None = None,
    clock: Clock = "none",
) -> Payload:
    """The status of a daemon that is not there: stopped on purpose, or the broker's will."""
    return {
        **status(rig=rig, version=version, wall_us=wall_us, clock=clock),
        "online": False,
        "why": why,
    }


def encode(payload: Mapping[str, Any]) -> bytes:
    """A payload as compact UTF-8 JSON. Raises ValueError for NaN and infinities."""
    text = json.dumps(payload, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    return text.encode("utf-8", "replace")


def stamp(payload: bytes, number: int | None) -> bytes:
    """Put the order `number` in front of an encoded payload that has none.

    The number is the row's id in the outbox, so it is known only after the row is stored, and
    the same at each repeat: a repeated message is the same bytes. None stands for a message that
    the store could not take and that is told all the same.
    """
    if not payload.startswith(b"{"):
        return payload
    rest = payload[1:]
    comma = b"" if rest.lstrip().startswith(b"}") else b","
    order = b"null" if number is None else b"%d" % number
    return b'{"number":' + order + comma + rest


def schema(kind: str) -> dict[str, Any]:
    """The JSON Schema (2020-12) of one of `KINDS`."""
    file = resources.files("flowlog.publish") / "schemas" / f"{kind}.json"
    loaded: dict[str, Any] = json.loads(file.read_text("utf-8"))
    return loaded


def _head(kind: str, rig: str, route: str | None) -> Payload:
    return {
        "schema": f"flowlog.{kind}.{VERSION}",
        "rig": _text(rig),
        "route": None if route is None else _text(route),
    }


def _place(at: Position) -> Payload:
    return {"segment": at.segment, "seq": at.seq, "board_us": at.t_us}


def _time(wall_us: int | None, clock: Clock) -> Payload:
    time = _iso(wall_us)
    return {"time": time, "clock": "none" if time is None else clock}


def _rate(rate_m3_m2: float | None) -> Payload:
    return {
        "rate_l_ha": _number(rate_m3_m2, 1e-3 / 1e4),
        "rate_gal_1000ft2": _number(rate_m3_m2, M3_PER_GALLON / M2_PER_1000_FT2),
    }


def _number(value: float | None, unit: float = 1.0) -> float | None:
    """`value` in multiples of `unit`, to 6 significant digits: finer than any sensor here."""
    if value is None:
        return None
    scaled = float(value) / unit
    return float(f"{scaled:.6g}") if math.isfinite(scaled) else None


def _iso(wall_us: int | None) -> str | None:
    """UTC to the millisecond, or None for no time or one that no calendar holds."""
    if wall_us is None:
        return None
    try:
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=int(wall_us))
    except OverflowError:
        return None
    return moment.replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


def _text(text: str) -> str:
    """Text that UTF-8 can carry: a lone surrogate (from a file name, say) becomes '?'."""
    return text.encode("utf-8", "replace").decode("utf-8")

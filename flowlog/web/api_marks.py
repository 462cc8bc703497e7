"""What a person at the rig says from a phone: a stop begins or ends, the tank is full, alert seen.

It is left in the daemon's letterbox, durable before the answer goes out, as `flowlog stop` does:
these pages never write the database, and a daemon that is away takes it when it comes back.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from flowlog.daemon.inbox import LARGEST_AREA_M2, LONGEST_NAME, Mark, leave, new_uid
from flowlog.daemon.left_seen import leave_seen
from flowlog.store.lock import is_locked
from flowlog.store.rows import SeenRow, StopKind
from flowlog.units import Kind, UnitError, parse
from flowlog.web.api_live import follower_of
from flowlog.web.openapi import operation, ref
from flowlog.web.posts import read_json
from flowlog.web.site import site_of

_LONGEST_QUANTITY: Final = 40
_MOST_WAITING: Final = 200
"""Marks that may wait for a daemon that is away. Nobody marks more; a loop would fill the disk."""
_KINDS: Final[tuple[StopKind, ...]] = ("begin", "end", "name")


async def mark_stop(request: Request) -> Response:
    body = await _only(request, {"kind", "name", "area"})
    kind = body.get("kind")
    if kind not in _KINDS:
        raise HTTPException(400, "kind has to be 'begin', 'end' or 'name'.")
    name = _name(body.get("name"))
    area_m2 = _quantity(body, "area", "area", LARGEST_AREA_M2, "12000 ft2")
    if kind == "end" and name is not None:
        raise HTTPException(400, "The end of a stop takes no name: name it before it ends.")
    if kind == "name" and name is None and area_m2 is None:
        raise HTTPException(400, "A name or an area is missing.")
    mark = Mark("stop", _now_us(), new_uid(), kind=kind, name=name, area_m2=area_m2)
    return await _left(request, lambda folder: leave(folder, mark))


async def fill(request: Request) -> Response:
    body = await _only(request, {"volume"})
    volume_m3 = _quantity(body, "volume", "volume", 1000.0, "60 gal")
    if volume_m3 is None and not await _has_tank(request):
        raise HTTPException(400, "The rig file has no [tank]: say how much the tank holds now.")
    mark = Mark("fill", _now_us(), new_uid(), volume_m3=volume_m3)
    return await _left(request, lambda folder: leave(folder, mark))


async def acknowledge(request: Request) -> Response:
    """Nobody needs to know of an alert that is not open, so only those can be seen."""
    body = await _only(request, {"alert"})
    wanted = body.get("alert")
    seen = await follower_of(request).now()
    known = [] if seen.state is None else [alert["id"] for alert in seen.state["alerts"]]
    if not isinstance(wanted, str) or wanted not in known:
        raise HTTPException(404, "There is no such alert open now.")
    route_uid, _, alert = wanted.partition(":")
    row = SeenRow(new_uid(), route_uid, alert, _now_us())
    return await _left(request, lambda folder: leave_seen(folder, row))


async def _left(request: Request, put: Any) -> Response:
    folder = site_of(request).folder
    running = await run_in_threadpool(_put, folder, put)
    return JSONResponse({"left": True, "daemon": running}, 202)


def _put(folder: Path, put: Any) -> bool:
    waiting = folder / "inbox"
    if waiting.is_dir() and sum(1 for _ in waiting.iterdir()) > _MOST_WAITING:
        raise HTTPException(503, "Too much waits for the daemon already: is it running?")
    put(folder)
    return is_locked(folder)


async def _only(request: Request, names: set[str]) -> dict[str, Any]:
    body = await read_json(request)
    unknown = body.keys() - names
    if unknown:
        raise HTTPException(400, f"Only these can be said here: {', '.join(sorted(names))}.")
    return body


def _name(value: object) -> str | None:
    if value is None:
        return None
    text = value.strip() if isinstance(value, str) else ""
    # Half a surrogate pair is text for JSON and not printable: no file and no database takes it.
    if not 0 < len(text) <= LONGEST_NAME or not text.isprintable():
        raise HTTPException(400, f"A name is one line of 1 to {LONGEST_NAME} characters.")
    return text


def _quantity(
    body: dict[str, Any], key: str, kind: Kind, largest: float, example: str
) -> float | None:
    value = body.get(key)
    if value is None:
        return None
    if not isinstance(value, str) or len(value) > _LONGEST_QUANTITY:
        raise HTTPException(400, f'{key}: write it with its unit, for instance "{example}".')
    try:
        found = parse(value, kind)
    except UnitError as error:
        raise HTTPException(400, f"{key}: {error}.") from None
    if not 0 < found <= largest:
        raise HTTPException(400, f"{key}: this cannot be right.")
    return found


async def _has_tank(request: Request) -> bool:
    seen = await follower_of(request).now()
    return seen.state is not None and seen.state["tank"] is not None


def _now_us() -> int:
    return time.time_ns() // 1000


_LEFT_ANSWER: Final = ref("Left")
_MAYBE_TEXT: Final = {"type": ["string", "null"], "maxLength": LONGEST_NAME}

SCHEMAS: Final[dict[str, Any]] = {
    "Left": {
        "type": "object",
        "required": ["left", "daemon"],
        "properties": {
            "left": {"const": True, "description": "It is on the disk."},
            "daemon": {
                "type": "boolean",
                "description": "A daemon runs and takes it within a second or two; otherwise it "
                "is taken when one starts.",
            },
        },
        "additionalProperties": False,
    },
    "StopSaid": {
        "type": "object",
        "required": ["kind"],
        "properties": {
            "kind": {"enum": list(_KINDS)},
            "name": _MAYBE_TEXT,
            "area": {
                "type": ["string", "null"],
                "maxLength": _LONGEST_QUANTITY,
                "description": "The stop's area where it is known, with its unit.",
                "examples": ["12000 ft2"],
            },
        },
        "additionalProperties": False,
    },
    "FillSaid": {
        "type": "object",
        "properties": {
            "volume": {
                "type": ["string", "null"],
                "maxLength": _LONGEST_QUANTITY,
                "description": "What the tank holds now, with its unit; null: it is full.",
                "examples": ["60 gal"],
            }
        },
        "additionalProperties": False,
    },
    "AlertSeen": {
        "type": "object",
        "required": ["alert"],
        "properties": {"alert": {"type": "string", "description": "The alert's id."}},
        "additionalProperties": False,
    },
}


def _post(path: str, endpoint: Any, summary: str, body: str) -> Route:
    return operation(
        path,
        endpoint,
        summary,
        _LEFT_ANSWER,
        tag="live",
        method="POST",
        body=ref(body),
        status=202,
    )


ROUTES: Final[list[Route]] = [
    _post(
        "/api/live/stop",
        mark_stop,
        "A stop begins here, ends here, or is called so and has this area.",
        "StopSaid",
    ),
    _post("/api/live/fill", fill, "The tank was filled.", "FillSaid"),
    _post(
        "/api/live/acknowledge",
        acknowledge,
        "Somebody at the rig knows of an open alert: the buzzer is quiet, the lamp stays on.",
        "AlertSeen",
    ),
]

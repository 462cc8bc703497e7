"""The live state for programs: once, or as a stream."""

from __future__ import annotations

from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from flowlog.web import live_json
from flowlog.web.follow import MOST_CLIENTS, Follower
from flowlog.web.openapi import operation, ref

SCHEMAS: Final = live_json.SCHEMAS


def follower_of(request: Request) -> Follower:
    found: Follower = request.app.state.follower
    return found


async def live(request: Request) -> Response:
    seen = await follower_of(request).now()
    if seen.state is None:
        raise HTTPException(503, seen.why)
    return Response(seen.text(), media_type="application/json")


async def stream(request: Request) -> Response:
    follower = follower_of(request)
    if follower.clients >= MOST_CLIENTS:
        raise HTTPException(503, "Too many screens follow already: close one of them.")
    return StreamingResponse(
        follower.messages(),
        media_type="text/event-stream",
        headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
    )


ROUTES: Final[list[Route]] = [
    operation("/api/live", live, "What the rig does now.", ref("Live"), tag="live"),
    operation(
        "/api/live/stream",
        stream,
        "The same whenever it changes, as server-sent events: `state` with the whole of it, "
        "`beat` at least every two seconds.",
        {"type": "string"},
        tag="live",
        media="text/event-stream",
    ),
]

"""The pages of one rig, put together."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Final

import anyio.to_thread
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.routing import Route

from flowlog.web import (
    api_charts,
    api_corrections,
    api_live,
    api_marks,
    api_routes,
    code,
    openapi,
    reports,
    review_pages,
    spraying,
    static,
)
from flowlog.web.door import Door
from flowlog.web.errors import HANDLERS
from flowlog.web.follow import Follower
from flowlog.web.headers import SecurityHeaders
from flowlog.web.memory import GiveBack
from flowlog.web.site import Site

FEATURES: Final = (
    *(static, code, openapi, spraying, api_live, api_marks, reports),
    *(review_pages, api_routes, api_charts, api_corrections),
)
"""Each has `ROUTES`, and `SCHEMAS` (name to JSON Schema) if its answers have shared parts."""

THREADS: Final = 3
"""Requests worked on at a time: more would only take memory from the daemon's neighbour."""


def create_app(site: Site) -> Starlette:
    """The application, for a server or a test."""
    routes: list[Route] = [route for feature in FEATURES for route in feature.ROUTES]
    schemas = {
        name: schema
        for feature in FEATURES
        for name, schema in getattr(feature, "SCHEMAS", {}).items()
    }
    app = Starlette(
        routes=routes,
        middleware=[
            Middleware(GiveBack),
            Middleware(SecurityHeaders),
            Middleware(Door, site=site),
        ],
        exception_handlers=HANDLERS,
        lifespan=_lifespan,
    )
    app.state.site = site
    app.state.openapi = openapi.document(routes, schemas)
    return app


@asynccontextmanager
async def _lifespan(app: Starlette) -> AsyncIterator[None]:
    anyio.to_thread.current_default_thread_limiter().total_tokens = THREADS
    app.state.follower = follower = Follower(app.state.site.folder)
    yield
    await follower.close()

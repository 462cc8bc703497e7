"""The page while spraying."""

from __future__ import annotations

from typing import Final

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from flowlog.web.render import page


def spraying(request: Request) -> Response:
    return page(request, "spraying.html")


ROUTES: Final = [Route("/", spraying)]

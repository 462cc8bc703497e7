"""Before anything else is looked at: by what name, from where, and with the code or without.

Three checks, in this order, of every request:

1. The name in `Host` must be one of ours. A page elsewhere can let its own name point at this
   machine (DNS rebinding); the browser then says that name.
2. What changes something must come from our own pages: browsers say with `Sec-Fetch-Site` and
   `Origin` where a request was made. A program that is no browser sends neither, and no page can
   make it do anything.
3. Where others can reach the pages, a session is needed for all but the code page and its parts.
"""

from __future__ import annotations

import ipaddress
import time
from typing import Final

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from flowlog.web import static
from flowlog.web.errors import answer, sentence_of
from flowlog.web.site import Site

_SAFE: Final = frozenset({"GET", "HEAD", "OPTIONS"})
CODE_PATH: Final = "/code"


class Door:
    """Middleware; see the module."""

    def __init__(self, app: ASGIApp, site: Site) -> None:
        self._app = app
        self._site = site

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return  # no web sockets here: let the server refuse
        request = Request(scope)
        refused = self._refused(request)
        await (self._app if refused is None else refused)(scope, receive, send)

    def _refused(self, request: Request) -> Response | None:
        if not known_host(request.headers.getlist("host"), self._site):
            return answer(request, 421, sentence_of(421))
        if request.method not in _SAFE and not same_site(request):
            return answer(request, 403, sentence_of(403))
        if self._open_to_all(request) or self._is_inside(request):
            return None
        if request.method in _SAFE and not request.scope["path"].startswith("/api/"):
            return RedirectResponse(CODE_PATH, 303)
        return answer(request, 401, sentence_of(401))

    def _open_to_all(self, request: Request) -> bool:
        path = request.scope["path"]
        if self._site.access is None or path == CODE_PATH:
            return True
        return (
            bool(path.startswith("/static/"))
            and path.count("/") == 3
            and (path.rpartition("/")[2] in static.OPEN_FILES)
        )

    def _is_inside(self, request: Request) -> bool:
        access = self._site.access
        return access is None or access.holds(request.cookies.get(access.cookie), time.time())


def known_host(hosts: list[str], site: Site) -> bool:
    """Whether `Host`, said exactly once, is a name or an address of these pages."""
    if len(hosts) != 1:
        return False
    name = host_name(hosts[0])
    if name is None:
        return False
    return name in site.names or (site.any_address and _is_address(name))


def host_name(host: str) -> str | None:
    """The name without its port, lower case; None if it is no host at all."""
    text = host.strip().lower()
    if text.startswith("["):
        name, bracket, port = text[1:].partition("]")
        if not bracket or not _is_address(name):
            return None
    else:
        name, colon, port = text.partition(":")
        port = colon + port
        if not name or any(not (c.isascii() and (c.isalnum() or c in ".-_")) for c in name):
            return None
    if port and not (port.startswith(":") and port[1:].isdecimal()):
        return None
    return name.rstrip(".")


def same_site(request: Request) -> bool:
    """Whether the request was made by a page of ours, or by no page at all."""
    site = request.headers.get("sec-fetch-site")
    if site is not None and site != "same-origin":
        return False
    origins = request.headers.getlist("origin")
    if not origins:
        return True
    return origins == [f"{request.scope['scheme']}://{request.headers['host'].strip()}"]


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True

"""The code page: the only one that is shown to somebody who has not given the code."""

from __future__ import annotations

import asyncio
import time
from typing import Final

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from flowlog.web.access import SESSION_S, Access
from flowlog.web.posts import read_form
from flowlog.web.render import page
from flowlog.web.site import site_of

_WRONG_TAKES_S: Final = 0.3


async def show(request: Request) -> Response:
    access = site_of(request).access
    if access is None or access.holds(request.cookies.get(access.cookie), time.time()):
        return RedirectResponse("/", 303)
    return page(request, "code.html", message="")


async def enter(request: Request) -> Response:
    """The right code is exchanged for a session; a wrong one is counted."""
    access = site_of(request).access
    if access is None:
        return RedirectResponse("/", 303)
    address = request.client.host if request.client else ""
    wait_s = access.tries.wait_s(address, time.monotonic())
    if wait_s > 0:
        return _wait(request, wait_s)
    given = (await read_form(request)).get("code", "")
    if access.is_code(given):
        access.tries.right(address)
        return _let_in(access)
    # Counted before the pause, so that tries side by side count as well as those in a row.
    access.tries.wrong(address, time.monotonic())
    await asyncio.sleep(_WRONG_TAKES_S)
    message = "This is not the code. It stands where flowlog serve was started."
    return page(request, "code.html", 403, message=message)


def _let_in(access: Access) -> Response:
    made = RedirectResponse("/", 303)
    # Not `secure`: these pages are plain HTTP on the rig's own network, see INSTALL.md.
    made.set_cookie(
        access.cookie,
        access.begin(time.time()),
        max_age=SESSION_S,
        path="/",
        httponly=True,
        samesite="strict",
    )
    return made


def _wait(request: Request, wait_s: float) -> Response:
    seconds = int(wait_s) + 1
    message = f"Too many wrong codes. Wait {seconds} s, then try again."
    made = page(request, "code.html", 429, message=message)
    made.headers["Retry-After"] = str(seconds)
    return made


ROUTES: Final = [
    Route("/code", show, methods=["GET"]),
    Route("/code", enter, methods=["POST"]),
]

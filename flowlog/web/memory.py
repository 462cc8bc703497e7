"""Giving memory back: these pages stand beside the daemon on a small computer.

A day's readings pass through memory for one answer. The C library keeps what is freed for later,
in a pool for each thread; here later is hours away and the neighbour needs it now.
"""

from __future__ import annotations

import asyncio
import ctypes
from collections.abc import Callable
from typing import Any, Final

from starlette.types import ASGIApp, Receive, Scope, Send

_M_ARENA_MAX: Final = -8
_M_MMAP_THRESHOLD: Final = -3
_LARGE: Final = 128 * 1024
_AFTER_S: Final = 1.0


def settle() -> None:
    """Once, before threads are started: one pool for all, and large blocks outside of it."""
    mallopt = _function("mallopt")
    if mallopt is not None:
        mallopt(_M_ARENA_MAX, 1)
        # Set, it stays where it is; unset, it grows with the largest block that was ever freed.
        mallopt(_M_MMAP_THRESHOLD, _LARGE)


def give_back() -> None:
    """Return what is free to the system; takes a few milliseconds."""
    trim = _function("malloc_trim")
    if trim is not None:
        trim(0)


class GiveBack:
    """Middleware: some time after an answer was made, what making it took is given back."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app
        self._due: asyncio.TimerHandle | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await self._app(scope, receive, send)
        finally:
            if scope["type"] == "http" and (self._due is None or self._due.when() < _now()):
                loop = asyncio.get_running_loop()
                self._due = loop.call_later(_AFTER_S, loop.run_in_executor, None, give_back)


def _now() -> float:
    return asyncio.get_running_loop().time()


def _function(name: str) -> Callable[..., Any] | None:
    """A function of the C library; None where it is another library that has none of it."""
    try:
        found: Callable[..., Any] = getattr(ctypes.CDLL(None), name)
    except (OSError, AttributeError):
        return None
    return found

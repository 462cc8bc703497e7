"""Runs a coroutine in an event loop of its own thread.

The browser's driver keeps a loop running in the main thread for the whole session, and no second
one may run there.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

import anyio

Result = TypeVar("Result")


def run(function: Callable[..., Awaitable[Result]], *arguments: Any) -> Result:
    """What `function(*arguments)` gives when awaited."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(anyio.run, function, *arguments).result()

"""Memory that was needed for a moment goes back to the system at once.

The C library keeps what is freed for the next time; on a small computer others need it before.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from functools import cache


def give_back() -> None:
    """Where the C library can do it; elsewhere nothing happens."""
    trim = _trim()
    if trim is not None:
        trim(0)


@cache
def _trim() -> Callable[[int], int] | None:
    try:
        found: Callable[[int], int] = ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError):
        return None
    return found

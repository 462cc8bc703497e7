"""How far something is, for who waits at a terminal longer than a second."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Final

_QUIET_S: Final = 1.0
_STEP_S: Final = 0.1


def at_terminal(what: str) -> Callable[[float], None]:
    """Something to tell the share that is done, 0 to 1; it says nothing where nobody looks.

    Args:
        what: what is being done, as `deriving anew`.
    """
    began_s = time.monotonic()
    said_s: float | None = None

    def tell(share: float) -> None:
        nonlocal said_s
        now_s = time.monotonic()
        if not sys.stderr.isatty() or now_s - began_s < _QUIET_S:
            return
        if share >= 1.0:
            if said_s is not None:
                _write("\r\033[K")
            said_s = None
        elif said_s is None or now_s - said_s >= _STEP_S:
            said_s = now_s
            _write(f"\r{what}: {100 * share:3.0f} %")

    return tell


def _write(text: str) -> None:
    sys.stderr.write(text)
    sys.stderr.flush()

"""Sums of routes in a file of their own, so that a season is summed up once and not at each start.

Each stands there with the stamp of its route: sums of a route that has changed since are not used.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, TextIO

from flowlog import __version__
from flowlog.calibration.stored import plain, shaped
from flowlog.review.files import WriteError, write_whole
from flowlog.review.sums import RouteSums

FILE: Final = "sums.json"
_VERSION: Final = f"2, {__version__}"

Stamped = tuple[str, RouteSums]


def load_sums(path: Path) -> dict[int, Stamped]:
    """What was kept, by the routes' ids; nothing if there is no such file, or none of ours."""
    try:
        body = json.loads(path.read_text(encoding="utf-8"))
        if body["version"] != _VERSION:
            return {}
        return {
            int(key): (str(stamp), shaped(RouteSums, sums))
            for key, (stamp, sums) in body["routes"].items()
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def keep_sums(path: Path, known: Mapping[int, Stamped]) -> None:
    """Keep them, whole or not at all; where nothing can be written nothing is kept."""
    body: dict[str, Any] = {
        "version": _VERSION,
        "routes": {key: [stamp, plain(sums)] for key, (stamp, sums) in known.items()},
    }

    def write(out: TextIO) -> None:
        json.dump(body, out, allow_nan=False)

    with contextlib.suppress(WriteError, OSError):
        path.parent.mkdir(exist_ok=True)
        write_whole(path, write)

"""Word that somebody at the rig knows of an alert, left for the daemon beside the marks.

The daemon keeps it, so that all screens show it, and quiets the buzzer on the machine.
"""

from __future__ import annotations

from dataclasses import asdict, fields
from pathlib import Path
from typing import Final

from flowlog.daemon.letterbox import MarkError, leave_file, read_file, waiting_files
from flowlog.store.rows import SeenRow

SUFFIX: Final = ".seen"
LONGEST: Final = 200
_LARGEST: Final = 4096
_MOST_AT_ONCE: Final = 50


def leave_seen(folder: Path, row: SeenRow) -> Path:
    """Leave the word in a rig's data folder.

    Raises:
        MarkError: the folder cannot be written.
    """
    return leave_file(folder, f"{row.wall_us:017d}-{row.uid}{SUFFIX}", asdict(row), "a word")


def waiting_seen(folder: Path) -> list[Path]:
    """What waits in a rig's data folder, oldest first."""
    return waiting_files(folder, SUFFIX, _MOST_AT_ONCE)


def understand_seen(path: Path) -> SeenRow:
    """Read one.

    Raises:
        MarkError: it is none.
    """
    body = read_file(path, _LARGEST, "word of an alert")
    names = {field.name for field in fields(SeenRow)}
    if not isinstance(body, dict) or set(body) != names:
        raise MarkError(f"{path.name}: not word of an alert")
    for name in ("uid", "route_uid", "alert"):
        text = body[name]
        if not isinstance(text, str) or not 0 < len(text) <= LONGEST or not text.isprintable():
            raise MarkError(f"{path.name}: {name} is not a text of 1 to {LONGEST} characters")
    wall_us = body["wall_us"]
    if not isinstance(wall_us, int) or isinstance(wall_us, bool) or abs(wall_us) >= 2**63:
        raise MarkError(f"{path.name}: wall_us {wall_us!r} is not a whole number")
    return SeenRow(**body)

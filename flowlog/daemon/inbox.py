"""Marks that other commands leave for the daemon: a stop begins or ends, the tank is filled."""

from __future__ import annotations

import math
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from flowlog.daemon.letterbox import MarkError, leave_file, read_file, waiting_files
from flowlog.store.rows import StopKind

LONGEST_NAME: Final = 120
_SUFFIX: Final = ".json"
_LARGEST: Final = 4096
_MOST_AT_ONCE: Final = 100


@dataclass(frozen=True, slots=True)
class Mark:
    """What the operator says: a stop begins, ends or is called something; the tank is filled."""

    what: Literal["stop", "fill"]
    wall_us: int
    uid: str
    kind: StopKind = "begin"
    name: str | None = None
    volume_m3: float | None = None
    """For a fill: what the tank holds from here on; None for its full volume."""


def leave(folder: Path, mark: Mark) -> Path:
    """Leave a mark in a rig's data folder.

    Raises:
        MarkError: the folder cannot be written.
    """
    body: dict[str, Any] = {"what": mark.what, "wall_us": mark.wall_us, "uid": mark.uid}
    if mark.what == "stop":
        body |= {"kind": mark.kind, "name": mark.name}
    else:
        body |= {"volume_m3": mark.volume_m3}
    return leave_file(folder, f"{mark.wall_us:017d}-{mark.uid}{_SUFFIX}", body, "a mark")


def new_uid() -> str:
    return uuid.uuid4().hex


def waiting(folder: Path) -> list[Path]:
    """Marks that wait in a rig's data folder, oldest first."""
    return waiting_files(folder, _SUFFIX, _MOST_AT_ONCE)


def understand(path: Path) -> Mark:
    """Read a mark.

    Raises:
        MarkError: it is not one.
    """
    body = read_file(path, _LARGEST, "a mark")
    if not isinstance(body, dict):
        raise MarkError(f"{path.name}: not a JSON object")
    return _mark(path.name, body)


def _mark(place: str, body: dict[str, Any]) -> Mark:
    wall_us, uid = body.get("wall_us"), body.get("uid")
    if not isinstance(wall_us, int) or isinstance(wall_us, bool) or abs(wall_us) >= 2**63:
        raise MarkError(f"{place}: wall_us {wall_us!r} is not a whole number of microseconds")
    if not isinstance(uid, str) or not (8 <= len(uid) <= 64 and uid.isascii() and uid.isalnum()):
        raise MarkError(f"{place}: uid {uid!r} is not 8 to 64 letters and digits")
    match body.get("what"):
        case "stop":
            kind, name = body.get("kind"), body.get("name")
            if kind not in ("begin", "end", "name"):
                raise MarkError(f"{place}: kind {kind!r} is not 'begin', 'end' or 'name'")
            return Mark("stop", wall_us, uid, kind=kind, name=_name(place, name, kind))
        case "fill":
            volume = body.get("volume_m3")
            if volume is not None:
                number = isinstance(volume, (int, float)) and not isinstance(volume, bool)
                if not (number and math.isfinite(volume) and 0 <= volume <= 1000):
                    raise MarkError(f"{place}: volume_m3 {volume!r} is not a volume")
                volume = float(volume)
            return Mark("fill", wall_us, uid, volume_m3=volume)
        case other:
            raise MarkError(f"{place}: what {other!r} is not 'stop' or 'fill'")


def _name(place: str, name: object, kind: str) -> str | None:
    if name is None and kind != "name":
        return None
    if not isinstance(name, str) or not name.strip() or len(name) > LONGEST_NAME:
        raise MarkError(f"{place}: a name is text of 1 to {LONGEST_NAME} characters")
    return name.strip()

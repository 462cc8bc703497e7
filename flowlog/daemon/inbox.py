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
LARGEST_AREA_M2: Final = 1e7
"""A thousand hectares: nobody's stop with a small boom."""
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
    area_m2: float | None = None
    """For a stop: its area, where it is known."""


def leave(folder: Path, mark: Mark) -> Path:
    """Leave a mark in a rig's data folder.

    Raises:
        MarkError: the folder cannot be written.
    """
    body: dict[str, Any] = {"what": mark.what, "wall_us": mark.wall_us, "uid": mark.uid}
    if mark.what == "stop":
        body |= {"kind": mark.kind, "name": mark.name, "area_m2": mark.area_m2}
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
            if kind == "name" and name is None and body.get("area_m2") is not None:
                checked = None  # only the area is said
            else:
                checked = _name(place, name, kind)
            area_m2 = _number(place, body, "area_m2", LARGEST_AREA_M2)
            return Mark("stop", wall_us, uid, kind=kind, name=checked, area_m2=area_m2)
        case "fill":
            volume = _number(place, body, "volume_m3", 1000.0)
            return Mark("fill", wall_us, uid, volume_m3=volume)
        case other:
            raise MarkError(f"{place}: what {other!r} is not 'stop' or 'fill'")


def _number(place: str, body: dict[str, Any], key: str, largest: float) -> float | None:
    value = body.get(key)
    if value is None:
        return None
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not (number and math.isfinite(value) and 0 <= value <= largest):
        raise MarkError(f"{place}: {key} {value!r} is not between 0 and {largest:g}")
    return float(value)


def _name(place: str, name: object, kind: str) -> str | None:
    if name is None and kind != "name":
        return None
    if not isinstance(name, str) or not name.strip() or len(name) > LONGEST_NAME:
        raise MarkError(f"{place}: a name is text of 1 to {LONGEST_NAME} characters")
    return name.strip()

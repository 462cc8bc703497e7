"""Marks that other commands leave for the daemon: one small JSON file each.

A mark is written beside its final name, synced and renamed, so the daemon never sees half of
one. It is deleted only after the store has it: a power cut between the two brings it a second
time under the same uid, which the store takes once. Nobody needs to run when a mark is left.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from flowlog.errors import FlowlogError
from flowlog.store.rows import StopKind

FOLDER: Final = "inbox"
REFUSED_FOLDER: Final = "refused"
LONGEST_NAME: Final = 120
_LARGEST: Final = 4096
_MOST_AT_ONCE: Final = 100


class MarkError(FlowlogError):
    """A mark that cannot be left or understood."""


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
    inbox = folder / FOLDER
    body: dict[str, Any] = {"what": mark.what, "wall_us": mark.wall_us, "uid": mark.uid}
    if mark.what == "stop":
        body |= {"kind": mark.kind, "name": mark.name}
    else:
        body |= {"volume_m3": mark.volume_m3}
    final = inbox / f"{mark.wall_us:017d}-{mark.uid}.json"
    begun = final.with_suffix(".part")
    try:
        inbox.mkdir(parents=True, exist_ok=True)
        with begun.open("w", encoding="utf-8") as out:
            json.dump(body, out, ensure_ascii=False)
            out.flush()
            os.fsync(out.fileno())
        begun.replace(final)
        _sync_folder(inbox)
    except OSError as error:
        raise MarkError(f"{inbox}: cannot leave a mark there: {error.strerror}") from error
    return final


def new_uid() -> str:
    return uuid.uuid4().hex


def waiting(folder: Path) -> list[Path]:
    """Marks that wait in a rig's data folder, oldest first."""
    try:
        found = sorted(path for path in (folder / FOLDER).iterdir() if path.suffix == ".json")
    except OSError:
        return []
    return found[:_MOST_AT_ONCE]


def understand(path: Path) -> Mark:
    """Read a mark.

    Raises:
        MarkError: it is not one.
    """
    try:
        with path.open("rb") as source:
            text = source.read(_LARGEST + 1)
    except OSError as error:
        raise MarkError(f"{path.name}: cannot be read: {error.strerror}") from error
    if len(text) > _LARGEST:
        raise MarkError(f"{path.name}: larger than {_LARGEST} bytes, not a mark")
    try:
        body = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise MarkError(f"{path.name}: not JSON") from error
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


def set_aside(path: Path) -> None:
    """Move what is no mark out of the way, so that it is looked at once and can be read later."""
    refused = path.parent / REFUSED_FOLDER
    try:
        refused.mkdir(exist_ok=True)
        path.replace(refused / path.name)
    except OSError:
        # A read-only inbox; the caller remembers the name and does not look at it again.
        return


def remove(path: Path) -> None:
    """Delete a mark that the store has taken. What can't be deleted is taken no second time."""
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

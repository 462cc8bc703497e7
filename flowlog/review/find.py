"""Which folder, and which route, a person means."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from flowlog.errors import FlowlogError
from flowlog.rig.folders import data_root, resolve_data_folder
from flowlog.rig.reader import read_rig
from flowlog.store.engine import database
from flowlog.store.lock import is_locked
from flowlog.store.rows import RouteRow

_LEAST_OF_UID = 6
"""Digits; a season has fewer routes than numbers that are shorter."""


class NotFoundError(FlowlogError):
    """There is no such folder or route, or several that could be meant."""


def rig_folders(root: Path) -> list[Path]:
    """The rigs' data folders in or at `root`, by name; none if there is no such folder."""
    if database(root).exists():
        return [root]
    try:
        return sorted(entry for entry in root.iterdir() if database(entry).exists())
    except OSError:
        return []


def choose_folder(rig_file: Path | None, data: Path | None) -> Path:
    """The data folder that `--rig`, `--data` or neither of them means.

    Without either, or with a folder that holds several rigs: the only one there is, or the only
    one into which a daemon logs now.

    Raises:
        NotFoundError: none, or several.
        RigFileError: the rig file cannot be read.
    """
    if rig_file is not None:
        return resolve_data_folder(read_rig(rig_file))
    root = data if data is not None else data_root()
    found = rig_folders(root)
    if not found:
        missing = "" if root.is_dir() else ", there is not even such a folder"
        raise NotFoundError(
            f"{root}: no rig has logged here{missing} (start one with: flowlog run RIGFILE; "
            "or name its folder with --data, or its rig file with --rig)"
        )
    running = [folder for folder in found if is_locked(folder)]
    if len(running) == 1:
        return running[0]
    if len(found) == 1:
        return found[0]
    names = ", ".join(folder.name for folder in found)
    raise NotFoundError(
        f"{root}: several rigs log here: {names} (name one, for instance --data {found[0]})"
    )


def choose_route(routes: Sequence[RouteRow], wanted: str) -> int:
    """Index into `routes` of the one that `wanted` means.

    Args:
        routes: all of the rig's, oldest first.
        wanted: "last", a number counted from 1, the beginning of a uid, or a name.

    Raises:
        NotFoundError: none, or several.
    """
    if not routes:
        raise NotFoundError("no route was recorded yet (flowlog run records one)")
    if wanted == "last":
        return len(routes) - 1
    if wanted.isdecimal() and 1 <= int(wanted) <= len(routes):
        return int(wanted) - 1
    folded = wanted.casefold()
    named = [i for i, route in enumerate(routes) if route.name and route.name.casefold() == folded]
    # A short number that there is no route of is a slip, not the beginning of another one's uid.
    meant = len(folded) >= _LEAST_OF_UID if folded.isdecimal() else bool(folded)
    begun = [i for i, route in enumerate(routes) if meant and route.uid.startswith(folded)]
    found = named or begun
    if len(found) == 1:
        return found[0]
    if found:
        numbers = ", ".join(str(index + 1) for index in found)
        raise NotFoundError(f"'{wanted}' means several routes: {numbers} (give the number)")
    raise NotFoundError(
        f"there is no route '{wanted}' (give 'last', a number from 1 to {len(routes)}, the "
        "beginning of an id, or a name; flowlog review lists them)"
    )

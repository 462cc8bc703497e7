"""How other commands leave something for the daemon: a JSON file each, in one folder.

A file is written beside its final name, synced and renamed, so the daemon never sees half of one.
It is deleted only after the store has it: a power cut between the two brings it a second time under
the same uid, which the store takes once. Nobody needs to run when something is left.

What is left differs by suffix (marks, records, calibrations, corrections): a daemon that does not
know one of them lets it lie.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from flowlog.errors import FlowlogError

FOLDER: Final = "inbox"
REFUSED_FOLDER: Final = "refused"


class MarkError(FlowlogError):
    """Something that cannot be left or understood."""


def leave_file(folder: Path, name: str, body: Mapping[str, Any], what: str) -> Path:
    """Leave one file in a rig's data folder; durable when this returns.

    Args:
        name: with its suffix; files are taken in the order of their names.
        what: what it is, with its article, for the error.

    Raises:
        MarkError: the folder cannot be written.
    """
    inbox = folder / FOLDER
    final = inbox / name
    begun = final.with_suffix(".part")
    try:
        inbox.mkdir(parents=True, exist_ok=True)
        with begun.open("w", encoding="utf-8") as out:
            json.dump(body, out, ensure_ascii=False, allow_nan=False)
            out.flush()
            os.fsync(out.fileno())
        begun.replace(final)
        _sync_folder(inbox)
    except OSError as error:
        raise MarkError(f"{inbox}: cannot leave {what} there: {error.strerror}") from error
    return final


def waiting_files(folder: Path, suffix: str, most: int) -> list[Path]:
    """What waits in a rig's data folder under a suffix, oldest first."""
    try:
        found = sorted(path for path in (folder / FOLDER).iterdir() if path.suffix == suffix)
    except OSError:
        return []
    return found[:most]


def read_file(path: Path, largest: int, what: str) -> object:
    """The JSON of one file of at most `largest` bytes.

    Raises:
        MarkError: it cannot be read, is larger, or is no JSON.
    """
    try:
        with path.open("rb") as source:
            text = source.read(largest + 1)
    except OSError as error:
        raise MarkError(f"{path.name}: cannot be read: {error.strerror}") from error
    if len(text) > largest:
        raise MarkError(f"{path.name}: larger than {largest} bytes, not {what}")
    try:
        body: object = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise MarkError(f"{path.name}: not JSON") from error
    return body


def set_aside(path: Path) -> None:
    """Move what is not understood out of the way: looked at once, there to be read later."""
    refused = path.parent / REFUSED_FOLDER
    try:
        refused.mkdir(exist_ok=True)
        path.replace(refused / path.name)
    except OSError:
        # A read-only inbox; the caller remembers the name and does not look at it again.
        return


def remove(path: Path) -> None:
    """Delete what the store has taken. What can't be deleted is taken no second time."""
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
